"""What the verbs on a history have in common: the file, and what is said when it is not sound."""

from __future__ import annotations

from pathlib import Path

from loopwright.cli.refusal import Refusal

ADDRESS = "postgresql"
MOST_NAMED = 20


def history_file(file: str) -> Path:
    """Return the path of a history that is there. Raises Refusal."""
    path = Path(file)
    if file.startswith(f"{ADDRESS}:") or file.startswith(f"{ADDRESS}+"):
        raise Refusal(f"{file.partition('@')[2] or 'a server'}: is on a server; its own pg_dump and pg_restore copy it.")
    if path.is_dir():
        raise Refusal(f"{file}: is a folder, not a history.")
    if not path.is_file():
        raise Refusal(f"{file}: there is no such file.")
    return path


def sound(path: Path, name: str) -> None:
    """Raise StoreError that names what is wrong with a history, when something is."""
    from loopwright.store.file import StoreError
    from loopwright.store.sql import open_store

    store = open_store(path, read_only=True, name=name)
    try:
        troubles = [str(each) for each in store.verify()]
    finally:
        store.close()
    if troubles:
        more = f" And {len(troubles) - MOST_NAMED} more." if len(troubles) > MOST_NAMED else ""
        raise StoreError(f"{name} is not what was put there. {' '.join(troubles[:MOST_NAMED])}{more}")
