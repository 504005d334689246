"""The open cases of every premises of a folder, read from their files without opening a job."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from loopwright.desk.case import Case, open_of
from loopwright.store.case_file import SUFFIX, CaseFile, not_on_file
from loopwright.store.file import StoreError
from loopwright.store.folder import SUFFIXES
from loopwright.web.within import place_of


class Elsewhere(NamedTuple):
    """An open case of premises that are on file, and the address it is gone on with at."""

    job: str
    case: Case
    address: str


def open_cases(folder: Path, now: str) -> list[Elsewhere]:
    """Return the open cases of the jobs of a folder in which something was said, the latest first; a file that cannot be read adds none."""
    found = []
    for path in sorted(folder.iterdir()):
        job = path.name.removesuffix(SUFFIX)
        if path == not_on_file(folder) or job == path.name or not job.endswith(SUFFIXES):
            continue
        name = job.rpartition(".")[0]
        try:
            cases = CaseFile(path).load()
        except StoreError:
            continue
        found += [Elsewhere(name, case, f"{place_of(name)}desk?case={case.id}") for case in open_of(cases, now)]
    return sorted(found, key=lambda row: row.case.at, reverse=True)
