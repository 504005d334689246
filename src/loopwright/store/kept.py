"""A job file with its history beside it: every text the file ever held here, with who, when and why.

The file stays what counts. It is written before a revision counts, and when it turns out to hold something else, that is taken into
the history as a revision of its own.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from loopwright.store.beside import path_beside
from loopwright.store.file import ChangedOnDisk, JobFile, StoreError
from loopwright.store.in_store import InStore
from loopwright.store.store import Change, Conflict, Damaged, Head, Revision, Store
from loopwright.store.trail import BEGINS, FOUND, OUTSIDE

SUFFIX = ".history.db"
MOST_TRIES = 20


class KeptJob(InStore):
    """A job file and its history in a store: a trail that outlasts the program."""

    def __init__(self, file: JobFile, store: Store, *, by: str, clock: Callable[[], datetime]) -> None:
        """Take the file and a store that can be written; ``by`` is who works on the job, ``clock`` says when."""
        super().__init__(store, file.name, by=by, clock=clock)
        self._file = file

    @property
    def name(self) -> str:
        """Return the file's own name."""
        return self._file.name

    @property
    def path(self) -> Path:
        """Return where the file is."""
        return self._file.path

    def load(self) -> str:
        """Return the text in the file. Raises StoreError."""
        return self._file.load()

    def reload(self, take: Callable[[str], None]) -> None:
        """Hand over the text that is in the file now. When it is not taken, the file still counts as changed. Raises StoreError."""
        self._file.reload(take)

    def changed_elsewhere(self) -> bool:
        """Return whether the file is no longer what was last read or written here. Raises StoreError."""
        return self._file.changed_on_disk()

    def start(self, text: str) -> None:
        """Begin with the text of the file, going on from the history there is. Raises StoreError."""
        jobs = self._store.jobs()
        if len(jobs) == 1:
            # The file may have been given another name since, and its history with it.
            self._job = jobs[0]
        elif self._job not in jobs:
            self._store.create(self._job, text, self._change(BEGINS))
        self._at = self._store.head(self._job)
        if self._head.text != text:
            self._take(text, OUTSIDE)

    def taken(self, text: str, *, by: str = "") -> None:
        """Count what was read from the file as the last revision, one of its own where it is none yet. Raises StoreError."""
        self._at = self._store.head(self._job)
        if self._head.text != text:
            self._take(text, OUTSIDE, by)

    def alone(self) -> contextlib.AbstractContextManager[None]:
        """Do nothing: who comes first is found out when the file is written."""
        return contextlib.nullcontext()

    def _change(self, why: str, by: str = "") -> Change:
        return Change(by=by or self.by, at=self._clock(), why=why)

    def _take(self, text: str, why: str, by: str = "") -> None:
        """Append a text the file holds already, after whatever else has been appended meanwhile."""
        for _ in range(MOST_TRIES):
            done = self._store.append(self._job, text, self._change(why, by), expected=self._head.number)
            self._at = done.theirs if isinstance(done, Conflict) else Head(revision=done, text=text)
            if self._head.text == text:
                return
        raise StoreError(f"the history of {self.name} is being written by others all the time; try again.")

    def _append(self, text: str, change: Change) -> None:
        """Append a text and write it to the file: both or neither."""
        for _ in range(MOST_TRIES):
            known = self._head.text
            done = self._write(text, change)
            if isinstance(done, Revision):
                self._at = Head(revision=done, text=text)
                return
            if self._file.changed_on_disk():
                raise ChangedOnDisk(
                    f"{self.name} was not saved: another program has changed it since it was read here, and that change stays. "
                    "Read the file again to work on from it."
                )
            # The file is as it was, so the history alone went on; it is to say what the file says before it goes on from there.
            self._at = done.theirs
            if self._head.text != known:
                self._take(known, FOUND)
        raise StoreError(f"the history of {self.name} is being written by others all the time; try again.")

    def _write(self, text: str, change: Change) -> Revision | Conflict:
        """Append a text, and write it to the file before that counts. The file's old text is held until it does."""
        held = self.path.with_name(f".{self.name}.before")
        written = False

        def alongside() -> None:
            nonlocal written
            _hold(self.path, held)
            self._file.save(text)
            written = True

        try:
            return self._store.append(self._job, text, change, expected=self._head.number, alongside=alongside)
        except StoreError as error:
            if written:
                self._put_back(held, error)
            raise
        finally:
            with contextlib.suppress(OSError):
                held.unlink(missing_ok=True)

    def _put_back(self, held: Path, error: StoreError) -> None:
        """Give the file its old text again after the history could not be written."""
        try:
            if held.exists():
                # By name alone: where a full disk was the trouble, there is no room to write the old text once more.
                os.replace(held, self.path)
                self._file.load()
            else:
                self._file.save(self._head.text)
        except (OSError, StoreError):
            raise StoreError(f"{error} The change stands in {self.name}, but not in its history.") from error


def _hold(path: Path, held: Path) -> None:
    """Give the file another name too, so that its text stays when the first name goes to a new file; not every disk can."""
    with contextlib.suppress(OSError):
        held.unlink(missing_ok=True)
        os.link(path, held)


def history_path(path: Path) -> Path:
    """Return where the history of a job file is.

    >>> history_path(Path("/jobs/shop.yaml")).name
    'shop.yaml.history.db'
    """
    return path_beside(path, SUFFIX)


def keep(path: Path, *, by: str, clock: Callable[[], datetime]) -> tuple[JobFile | KeptJob, str]:
    """Return a job file with its history beside it; without one, and a sentence that says why, when there can be none now."""
    file = JobFile(path)
    where = history_path(path)
    # Only here: the database's library is 0.2 s of start-up.
    from loopwright.store.sql import open_store

    try:
        _made_like(where, file.path)
        return KeptJob(file, open_store(where), by=by, clock=clock), ""
    except Damaged as error:
        return file, f"{error} {_what_is_left(where)} No history is kept now; the job file is saved as ever."
    except StoreError as error:
        return file, f"{error} No history is kept now; the job file is saved as ever."


def _made_like(where: Path, file: Path) -> None:
    """Make an empty history that may be read by whom the job file may be read by."""
    with contextlib.suppress(OSError):
        mode = file.stat().st_mode & 0o666
        handle = os.open(where, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            os.fchmod(handle, mode)
        finally:
            os.close(handle)


def _what_is_left(where: Path) -> str:
    from loopwright.store.salvage import salvage

    try:
        found = salvage(where)
    except StoreError as error:
        return str(error)
    found.store.close()
    return found.sentence
