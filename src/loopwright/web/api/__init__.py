"""The HTTP API: what the workbench does, for other programs, under ``/api``."""
