"""What the verbs on a history have in common: the file."""

from __future__ import annotations

from pathlib import Path

from loopwright.cli.refusal import Refusal
from loopwright.store.address import is_address, shown_address


def history_file(file: str) -> Path:
    """Return the path of a history that is there. Raises Refusal."""
    path = Path(file)
    if is_address(file):
        raise Refusal(f"{shown_address(file)}: is on a server; its own pg_dump and pg_restore copy it.")
    if path.is_dir():
        raise Refusal(f"{file}: is a folder, not a history.")
    if not path.is_file():
        raise Refusal(f"{file}: there is no such file.")
    return path
