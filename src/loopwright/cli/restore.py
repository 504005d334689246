"""``loopwright restore``: a copy of a history put back, or a revision's document written out of one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
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
    """Put a copy back: a job with all that goes with it, or a history; or write a revision's document out of a history.

    Where FROM is a folder that `loopwright backup` or `serve --backup` has made, TO is the document, and all that the folder holds is
    put back beside it. Where FROM is a history and TO ends in .yaml, a revision's document is written out of it.

    The copy is looked through first, and put back only when everything in it is what was put there. What is written over is
    kept beside under another name. A document is also written out of a damaged history, from what can
    still be read of it.

    For example:

        loopwright restore backups/shop.yaml.000012.20260302T120000Z shop.yaml
        loopwright restore backups/shop.db shop.yaml.history.db
        loopwright restore shop.yaml.history.db shop.yaml
        loopwright restore shop.yaml.history.db before.yaml --revision 12
        loopwright restore postgresql://ada@db.example/office shop.yaml --job shop

    Parameters
    ----------
    source
        The copy, or the history; for a document also the postgresql:// address of a server.
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

    try:
        if Path(source).is_dir():
            words = _copy(Path(source), to, job, revision, force=force)
        elif to.endswith(DOCUMENTS):
            words = _document(source, Path(to), job, revision, force=force)
        elif job is not None or revision is not None:
            raise Refusal("--job and --revision: choose what is written into a document; TO must end in .yaml.")
        else:
            words = _history(history_file(source), Path(to), force=force)
    except StoreError as error:
        raise Refusal(str(error)) from None
    say(plain(words))
    return DONE


def _copy(path: Path, to: str, job: str | None, revision: int | None, *, force: bool) -> str:
    from loopwright.store.copies import is_copy, restored_copy

    if not is_copy(path):
        raise Refusal(f"{path}: is a folder, but no copy of a job.")
    if job is not None or revision is not None or not to.endswith(DOCUMENTS):
        raise Refusal("a copy of a job is put back as a whole: TO is the document, ending in .yaml, without --job and --revision.")
    aside = restored_copy(path, Path(to), over=force)
    kept = f" What was there is kept as {', '.join(each.name for each in aside)}." if aside else ""
    return f"{to} is put back with all that went with it, and is sound.{kept}"


def _history(path: Path, to: Path, *, force: bool) -> str:
    from loopwright.store.backup import restored
    from loopwright.store.copies import sound

    aside = restored(path, to, lambda draft: sound(draft, path.name), over=force)
    return f"{to} is put back, and is sound." + (f" What was there is kept as {aside}." if aside else "")


def _document(source: str, to: Path, job: str | None, revision: int | None, *, force: bool) -> str:
    from loopwright.cli.file import put
    from loopwright.cli.server import chosen

    store, note = _readable(source)
    try:
        name = chosen(store.jobs(), job)
        number = store.head(name).number if revision is None else revision
        put(to, store.text_at(name, number).encode("utf-8"), over=force)
    finally:
        store.close()
    return f"{to} is written: revision {number} of {name}.{note}"


def _readable(source: str) -> tuple[SqlStore, str]:
    from loopwright.cli.history import history_file
    from loopwright.cli.server import on_server, opened
    from loopwright.store.salvage import salvage
    from loopwright.store.sql import open_store
    from loopwright.store.store import Damaged

    if on_server(source):
        return opened(source, read_only=True), ""
    path = history_file(source)
    try:
        return open_store(path, read_only=True), ""
    except Damaged as error:
        found = salvage(path)
        return found.store, f" {error} {found.sentence}"
