"""A folder of job files: which premises there are, and a new one among them. No name leads out of the folder."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from loopwright.store.file import StoreError
from loopwright.store.whole import write_whole

SUFFIXES = (".yaml", ".yml")
MOST_FILES = 2000
"""Job files listed of one folder, in the order of their names."""
HEAD_BYTES = 4096
"""How much of a file is looked at for its title."""
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")
_TITLE = re.compile(r"^title:[ \t]*([^ \t\n].*)$", re.MULTILINE)
_LOOKS_LIKE_A_JOB = re.compile(r"^format:[ \t]*\d", re.MULTILINE)
LONGEST_STEM = 40
UNFIT_NAME = "A file's name may hold letters, digits, dots, hyphens and underlines here; rename it."


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One job file of the folder: ``name`` is the file's without its ending; ``changed_at`` is when it was last written.

    ``trouble`` says why it cannot be opened, where that is seen without reading it through.
    """

    name: str
    file: str
    title: str
    changed_at: datetime | None
    trouble: str = ""


class JobFolder:
    """The job files of one folder; folders inside it are not looked into."""

    def __init__(self, path: Path) -> None:
        """Take the folder. Raises StoreError when it is none that can be read."""
        self.path = Path(os.path.realpath(path))
        if not self.path.is_dir():
            raise StoreError(f"{path.name or path} is no folder.")

    def entries(self) -> tuple[Entry, ...]:
        """Return the job files, by title. What does not look like a job is left out. Raises StoreError."""
        try:
            with os.scandir(self.path) as found:
                names = sorted(entry.name for entry in found if entry.name.endswith(SUFFIXES) and entry.is_file())[:MOST_FILES]
        except OSError as error:
            raise StoreError(f"The folder {self.path.name} cannot be read: {(error.strerror or str(error)).lower()}.") from error
        entries = [made for name in names if (made := self._entry(name, names)) is not None]
        return tuple(sorted(entries, key=lambda entry: entry.title.casefold()))

    def path_of(self, name: str) -> Path:
        """Return the job file called ``name``. Raises StoreError when the folder has none of that name."""
        if _NAME.fullmatch(name):
            for suffix in SUFFIXES:
                path = self.path / f"{name}{suffix}"
                # A link may lead anywhere; who put it into the folder may have meant it, and who asks by name learns nothing else.
                if path.is_file():
                    return path
        raise StoreError("There are no premises of that name in this folder.")

    def put(self, title: str, text: str) -> str:
        """Write a new job file and return its name, made from the title; no file is written over. Raises StoreError."""
        stem = stem_of(title)
        for number in range(1, MOST_FILES):
            name = stem if number == 1 else f"{stem}-{number}"
            if any((self.path / f"{name}{suffix}").exists() for suffix in SUFFIXES):
                continue
            try:
                write_whole(self.path / f"{name}{SUFFIXES[0]}", text.encode("utf-8"), over=False, mode=0o644)
            except FileExistsError:
                continue
            except OSError as error:
                raise StoreError(f"{name} was not written: {(error.strerror or str(error)).lower()}.") from error
            return name
        raise StoreError(f"There are too many premises called {title} in this folder.")

    def _entry(self, name: str, names: Sequence[str]) -> Entry | None:
        stem = name.rpartition(".")[0]
        path = self.path / name
        shown = "".join(letter if letter.isprintable() else "?" for letter in stem)
        try:
            with path.open("rb") as source:
                head = source.read(HEAD_BYTES).decode("utf-8", "replace")
            changed_at = datetime.fromtimestamp(path.stat().st_mtime, UTC)
        except OSError as error:
            why = f"It cannot be read: {(error.strerror or str(error)).lower()}."
            return Entry(name=stem, file=name, title=shown, changed_at=None, trouble=why)
        if not _LOOKS_LIKE_A_JOB.search(head):
            return None
        title = _TITLE.search(head)
        trouble = "" if _NAME.fullmatch(stem) else UNFIT_NAME
        if not trouble and name != f"{stem}{SUFFIXES[0]}" and f"{stem}{SUFFIXES[0]}" in names:
            trouble = f"{stem}{SUFFIXES[0]} has the same name; rename one of them."
        return Entry(name=stem, file=name, title=_plain(title[1].rstrip(" \t")) if title else shown, changed_at=changed_at, trouble=trouble)


def _plain(title: str) -> str:
    """Return a title as it stands in a file without the marks YAML puts round it; only a list shows it, the reader reads it properly."""
    for mark in ("'", '"'):
        if len(title) > 1 and title.startswith(mark) and title.endswith(mark):
            return title[1:-1]
    return title


def stem_of(title: str) -> str:
    """Return a title as the name of a file.

    >>> stem_of("Fennimarch Bindery, Überhaus"), stem_of("../../etc"), stem_of("…")
    ('fennimarch-bindery-uberhaus', 'etc', 'premises')
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode("ascii").lower()
    return re.sub(r"[^a-z0-9]+", "-", plain)[:LONGEST_STEM].strip("-") or "premises"
