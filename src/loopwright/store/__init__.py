"""The job on disk."""
