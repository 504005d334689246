"""``loopwright restore``: a copy of a history put back, or a revision's document written out of one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal, either
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.store.sql import SqlStore

DOCUMENTS = (".yaml", ".yml")


def restore(
    source: File,
    to: File,
    /,
    *,
    revision: Annotated[int | None, Parameter(show_default=False)] = None,
    job: Annotated[str | None, Parameter(show_default=False)] = None,
    force: Flag = False,
) -> int:
    """Put a copy of a history back; or, where TO ends in .yaml, write a revision's document out of it.

    The copy is looked through first, and put back only when everything in it is what was put there. A history that is
    written over is kept beside under another name. A document is also written out of a damaged history, from what can
    still be read of it.

    For example:

        loopwright restore backups/shop.db shop.yaml.history.db
        loopwright restore shop.yaml.history.db shop.yaml
        loopwright restore shop.yaml.history.db before.yaml --revision 12

    Parameters
    ----------
    source
        The copy, or the history.
    to
        The history to write, or a document.
    revision
        The revision whose document is written, instead of the last.
    job
        The job whose document is written, where the history keeps several.
    force
        Write over a file that is there.
    """
    from loopwright.cli.history import history_file
    from loopwright.cli.terminal import plain, say
    from loopwright.store.file import StoreError

    path = history_file(source)
    try:
        if to.endswith(DOCUMENTS):
            words = _document(path, Path(to), job, revision, force=force)
        elif job is not None or revision is not None:
            raise Refusal("--job and --revision: choose what is written into a document; TO must end in .yaml.")
        else:
            words = _history(path, Path(to), force=force)
    except StoreError as error:
        raise Refusal(str(error)) from None
    say(plain(words))
    return DONE


def _history(path: Path, to: Path, *, force: bool) -> str:
    from loopwright.cli.history import sound
    from loopwright.store.backup import restored

    aside = restored(path, to, lambda draft: sound(draft, path.name), over=force)
    return f"{to} is put back, and is sound." + (f" What was there is kept as {aside}." if aside else "")


def _document(path: Path, to: Path, job: str | None, revision: int | None, *, force: bool) -> str:
    from loopwright.cli.file import put

    store, note = _readable(path)
    try:
        name = _chosen(store.jobs(), job)
        number = store.head(name).number if revision is None else revision
        put(to, store.text_at(name, number).encode("utf-8"), over=force)
    finally:
        store.close()
    return f"{to} is written: revision {number} of {name}.{note}"


def _readable(path: Path) -> tuple[SqlStore, str]:
    from loopwright.store.salvage import salvage
    from loopwright.store.sql import open_store
    from loopwright.store.store import Damaged

    try:
        return open_store(path, read_only=True), ""
    except Damaged as error:
        found = salvage(path)
        return found.store, f" {error} {found.sentence}"


def _chosen(jobs: tuple[str, ...], job: str | None) -> str:
    if job is not None and job in jobs:
        return job
    if job is None and len(jobs) == 1:
        return jobs[0]
    if not jobs:
        raise Refusal("the history keeps no job yet.")
    raise Refusal(f"--job {job or ''}: choose one of the jobs it keeps. Accepted: {either(jobs)}.")
