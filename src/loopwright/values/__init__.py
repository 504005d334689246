"""The ground: figures that can show their working, intervals, findings, sources, errors."""
