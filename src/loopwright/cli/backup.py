"""``loopwright backup``: a copy of a job with all that goes with it, or of a history, taken while it is in use."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

DOCUMENTS = (".yaml", ".yml")


def backup(file: File, to: File, /, *, keep: Annotated[int | None, Parameter(show_default=False)] = None, force: Flag = False) -> int:
    """Copy a job with its history and vault as they are at this moment, while the workbench may go on writing.

    Where FILE is a document, TO is a folder: a numbered folder is made in it with the document, its history, its vault with the trail
    of that, and with SHA256SUMS, which `sha256sum --check` reads. Nothing is made when nothing has changed since the last.
    Where FILE is a history, TO is a file: the copy is one file by itself.

    A copy is looked through before it gets its name: every revision, text and kept file must be what was put there. A
    damaged history is not copied over a good copy. `loopwright serve --backup FOLDER` makes such copies by itself.

    For example:

        loopwright backup shop.yaml backups/
        loopwright backup shop.yaml backups/ --keep 30
        loopwright backup shop.yaml.history.db backups/shop.db

    Parameters
    ----------
    file
        The job document; or a history alone, a database file.
    to
        The folder of copies; for a history alone the file to write.
    keep
        How many copies stay in the folder, the latest; left out, all do.
    force
        Write over a file that is there.
    """
    from loopwright.cli.terminal import say
    from loopwright.store.file import StoreError

    try:
        say(_job(Path(file), to, keep) if file.endswith(DOCUMENTS) else _history(file, to, keep, force=force))
    except StoreError as error:
        raise Refusal(str(error)) from None
    return DONE


def _job(path: Path, to: str, keep: int | None) -> str:
    from datetime import UTC, datetime

    from loopwright.cli.terminal import plain
    from loopwright.store.copies import copied

    if keep is not None and keep < 1:
        raise Refusal(f"--keep {keep}: out of bounds. Accepted: 1 or more.")
    if not path.is_file():
        raise Refusal(f"{path}: there is no such file.")
    made = copied(path, Path(to), at=datetime.now(UTC), keep=keep)
    if made is None:
        return f"Nothing has changed since the last copy in {plain(to)}, so there is no further one."
    return (
        f"{plain(str(made.path))} is written, and is sound. `loopwright restore {plain(str(made.path))} {plain(str(path))}` puts it back."
    )


def _history(file: str, to: str, keep: int | None, *, force: bool) -> str:
    from loopwright.cli.history import history_file
    from loopwright.cli.terminal import plain
    from loopwright.store.backup import backed_up
    from loopwright.store.copies import sound

    path = history_file(file)
    if keep is not None:
        raise Refusal("--keep is for copies of a job; a history alone is copied into one file.")
    backed_up(path, Path(to), lambda draft: sound(draft, path.name), over=force)
    return f"{plain(to)} is written, and is sound. `loopwright restore {plain(to)} {plain(file)}` puts it back."
