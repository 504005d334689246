"""``loopwright backup``: a copy of a history, taken while it is in use."""

from __future__ import annotations

from pathlib import Path

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag


def backup(file: File, to: File, /, *, force: Flag = False) -> int:
    """Copy a job's history as it is at this moment, while the workbench may go on writing it.

    The copy is one file by itself, looked through before it gets its name: every revision, text and kept file must be what
    was put there. A damaged history is not copied over a good copy.

    For example:

        loopwright backup shop.yaml.history.db backups/shop.db

    Parameters
    ----------
    file
        The history, a database file.
    to
        The file to write the copy to.
    force
        Write over a file that is there.
    """
    from loopwright.cli.history import history_file, sound
    from loopwright.cli.terminal import plain, say
    from loopwright.store.backup import backed_up
    from loopwright.store.file import StoreError

    path = history_file(file)
    try:
        backed_up(path, Path(to), lambda draft: sound(draft, path.name), over=force)
    except StoreError as error:
        raise Refusal(str(error)) from None
    say(f"{plain(to)} is written, and is sound. `loopwright restore {plain(to)} {plain(file)}` puts it back.")
    return DONE
