"""``loopwright verify``: whether a history is what was put there."""

from __future__ import annotations

from loopwright.cli.refusal import BROKEN_MUST, DONE, Refusal
from loopwright.cli.words import File, Flag


def verify(file: File, /, *, json: Flag = False) -> int:
    """Say whether a history is what was put there, and name every revision that was changed or is missing.

    Each revision carries a hash of its text, of everything recorded of it, and of the revision before. Nothing is written.
    Exit status: 0; 1 when something is not as it was put there; 2 when the history cannot be read.

    For example:

        loopwright verify shop.yaml.history.db

    Parameters
    ----------
    file
        The history, a database file or a postgresql:// address.
    json
        Print what was found as JSON.
    """
    from loopwright.cli.history import history_file
    from loopwright.cli.server import on_server
    from loopwright.cli.terminal import plain, say, say_json
    from loopwright.store.file import StoreError
    from loopwright.store.sql import open_store
    from loopwright.store.store import Damaged

    where = file if on_server(file) else str(history_file(file))
    try:
        store = open_store(where, read_only=True)
        troubles = [each._asdict() | {"words": str(each)} for each in store.verify()]
        counted = {job: store.head(job).number if not troubles else None for job in store.jobs()}
        store.close()
    except Damaged as error:
        troubles, counted = [{"job": "", "revision": None, "sentence": str(error), "words": f"{error}{_left(where)}"}], {}
    except StoreError as error:
        raise Refusal(str(error)) from None
    if json:
        say_json({"file": file, "sound": not troubles, "jobs": counted, "problems": troubles})
        return BROKEN_MUST if troubles else DONE
    for trouble in troubles:
        say(plain(str(trouble["words"])))
    for job, number in counted.items():
        if number is not None:
            say(f"{plain(job)}: {number} revision{'' if number == 1 else 's'}, each as it was put there.")
    return BROKEN_MUST if troubles else DONE


def _left(where: str) -> str:
    """Return a sentence on what can be read from a damaged file."""
    from pathlib import Path

    from loopwright.store.file import StoreError
    from loopwright.store.salvage import salvage

    try:
        found = salvage(Path(where))
    except StoreError as error:
        return f" {error}"
    found.store.close()
    return f" {found.sentence}"
