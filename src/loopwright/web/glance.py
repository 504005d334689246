"""What the list of premises says of each: where its work stands, read from the file once for each state of it."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path
from time import monotonic

from loopwright.job.read import read
from loopwright.store.file import JobFile, StoreError
from loopwright.store.folder import Entry, JobFolder
from loopwright.values.error import JobError

LONGEST_S = 1.5
"""So long [s] one asking for the list reads files; what is left is read at the next."""
Stamp = tuple[int, int, int]


@dataclass(frozen=True, kw_only=True, slots=True)
class Glance:
    """One of the premises as the list shows it; ``looked`` is whether its file was read by now."""

    entry: Entry
    title: str
    called: str = ""
    stage: str = ""
    trouble: str = ""
    looked: bool = True


class Glances:
    """Looks at the files of a folder, each again when it has changed."""

    def __init__(self, folder: JobFolder) -> None:
        """Take the folder."""
        self._folder = folder
        self._seen: dict[str, tuple[Stamp, Glance]] = {}
        self._one_at_a_time = threading.Lock()

    def all(self) -> tuple[Glance, ...]:
        """Return what is in the folder, by title; for long folders some is not looked at yet. Raises StoreError."""
        until = monotonic() + LONGEST_S
        entries = self._folder.entries()
        with self._one_at_a_time:
            self._seen = {entry.file: self._seen[entry.file] for entry in entries if entry.file in self._seen}
            return tuple(self._of(entry, until) for entry in entries)

    def _of(self, entry: Entry, until: float) -> Glance:
        if entry.trouble:
            return Glance(entry=entry, title=entry.title, trouble=entry.trouble)
        path = self._folder.path / entry.file
        try:
            now = path.stat()
        except OSError:
            return Glance(entry=entry, title=entry.title, trouble="It is not there any more.")
        stamp = (now.st_ino, now.st_mtime_ns, now.st_size)
        held = self._seen.get(entry.file)
        if held is None or held[0] != stamp:
            if monotonic() > until:
                return Glance(entry=entry, title=entry.title, looked=False)
            held = self._seen[entry.file] = (stamp, looked_at(entry, path))
        return held[1]


def looked_at(entry: Entry, path: Path) -> Glance:
    """Return what a file says, or why it says nothing."""
    try:
        job = read(JobFile(path).load()).job
    except (JobError, StoreError) as error:
        return Glance(entry=entry, title=entry.title, trouble=_first(error))
    return Glance(entry=entry, title=job.title, called=job.premises.name, stage=str(job.stage))


def _first(error: JobError | StoreError) -> str:
    if isinstance(error, StoreError):
        return str(error)
    first, more = error.problems[0], len(error.problems) - 1
    place = f"Line {first.line}: " if first.line else ""
    return f"{place}{first.message}" + (f" And {more} more." if more else "")
