"""The ground: figures that can show their working, findings, sources, errors."""
