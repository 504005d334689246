"""Copies of a job with all that goes with it (history, vault, visit, cases, what was received), each in a folder of its own.

The folder holds the files under their own names and ``SHA256SUMS``, which ``sha256sum --check`` reads. Copies follow each other by number,
not by the clock, so that a clock that goes back neither hides a copy nor has a good one thrown away.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from loopwright.store.backup import backed_up, free_name, set_aside
from loopwright.store.case_file import cases_path, not_on_file, trail_of
from loopwright.store.file import StoreError, words_of
from loopwright.store.kept import history_path
from loopwright.store.photo_file import photo_path
from loopwright.store.proof_file import proof_path
from loopwright.store.store import sha256_of
from loopwright.store.vault import trail_path, vault_path
from loopwright.store.visit import visit_path
from loopwright.store.whole import settle, write_whole

SUMS = "SHA256SUMS"
MOST_NAMED = 20
MOST_TRIES = 5
OURS_ALONE = 0o700
_COPY = re.compile(r"\.(\d{6,12})\.(\d{8}T\d{6}Z)")
_SUM = re.compile(r"([0-9a-f]{64})  ([^/\0\n]+)")


class Copy(NamedTuple):
    """One copy: where it is, its number, and what the clock said."""

    path: Path
    number: int
    at: datetime


def beside(job: Path) -> dict[str, Path]:
    """Return where each file of a job is, the job itself first, by what its name ends in after the job's."""
    real = Path(os.path.realpath(job))
    cases = cases_path(real)
    found = (
        real, *databases(real), vault_path(real), trail_path(real), visit_path(real), proof_path(real), photo_path(real), cases,
        trail_of(cases),
    )  # fmt: skip
    return {path.name.removeprefix(real.name): path for path in found}


def databases(job: Path) -> tuple[Path, ...]:
    """Return what of a job may be written to while it is copied: its history, and what a receiver acknowledged."""
    # Only here: the codec is start-up for whoever copies nothing.
    from loopwright.store.received import received_path

    return history_path(job), received_path(job)


def shared(folder: Path) -> tuple[Path, ...]:
    """Return what the jobs of a folder have in common and every copy takes along: the cases of callers nobody has on file."""
    cases = not_on_file(folder)
    return cases, trail_of(cases)


def copies(job: Path, folder: Path) -> list[Copy]:
    """Return the copies of a job in a folder, the oldest first. Raises StoreError when it cannot be read."""
    name = Path(os.path.realpath(job)).name
    found = []
    with _told(folder):
        for entry in os.scandir(folder):
            place = _COPY.fullmatch(entry.name.removeprefix(name)) if entry.name.startswith(f"{name}.") else None
            if place and entry.is_dir(follow_symlinks=False):
                with contextlib.suppress(ValueError):
                    at = datetime.strptime(place[2], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
                    found.append(Copy(Path(entry.path), int(place[1]), at))
    return sorted(found, key=lambda each: each.number)


def copied(job: Path, folder: Path, *, at: datetime, keep: int | None = None) -> Copy | None:
    """Copy a job and what goes with it into a folder of its own inside ``folder``; None when nothing has changed since the last copy.

    The databases may be in use. One that is not sound is not copied. With ``keep`` only so many copies stay, the latest. Raises
    StoreError; the copies there were are then untouched.
    """
    real = Path(os.path.realpath(job))
    with _told(folder):
        folder.mkdir(parents=True, exist_ok=True)
        there = copies(real, folder)
        with _draft(folder) as draft:
            _fill(real, draft)
            sums = _sums(draft)
            write_whole(draft / SUMS, sums, over=False)
            check_copy(draft)
            if there and _read(there[-1].path / SUMS) == sums:
                return None
            number = there[-1].number + 1 if there else 1
            made = Copy(folder / f"{real.name}.{number:06d}.{at.astimezone(UTC):%Y%m%dT%H%M%SZ}", number, at)
            os.rename(draft, made.path)
        settle(folder)
        for old in [*there, made][: -max(keep, 1)] if keep is not None else []:
            shutil.rmtree(old.path)
        return made


def restored_copy(copy: Path, job: Path, *, over: bool = False) -> list[Path]:
    """Put back everything a copy holds, under the name of ``job``; return the names under which what was there is kept.

    What the jobs of a folder share is put back only where there is none: it belongs to the other jobs too. Raises StoreError when the copy
    is not what was put there, when something is there and ``over`` was not said, or when a database is open; everything is then as it was.
    """
    check_copy(copy)
    places = beside(job)
    cases = not_on_file(places[""].parent)
    common = {to.name: to for to in shared(places[""].parent)}
    names = [name for name in _names(copy) if name not in common]
    own = min(names, key=len)
    wanted = {copy / name: places[name.removeprefix(own)] for name in names if name.removeprefix(own) in places}
    if not os.path.lexists(cases):
        wanted |= {copy / name: to for name, to in common.items() if (copy / name).is_file() and not os.path.lexists(to)}
    taken = [to for to in places.values() if os.path.lexists(to)]
    if taken and not over:
        raise StoreError(f"{taken[0].name} is there already, and is left as it is. --force puts it aside.")
    aside: dict[Path, Path] = {}
    with _told(places[""].parent):
        try:
            # The databases first: while another program has one open, nothing is touched.
            inner = databases(places[""])
            for to in sorted(taken, key=lambda path: path not in inner):
                aside[to] = set_aside(to) if to in inner else _aside(to)
            for source, to in wanted.items():
                write_whole(to, _read(source), over=False, mode=source.stat().st_mode & 0o777)
        except BaseException:
            for to in wanted.values():
                if to in aside or to not in taken:
                    to.unlink(missing_ok=True)
            for to, old in aside.items():
                os.replace(old, to)
            raise
    return list(aside.values())


def check_copy(copy: Path) -> None:
    """Raise StoreError when a copy is not what was put there."""
    said = dict(_said(copy))
    for name in said:
        if sha256_of(_read(copy / name)) != said[name]:
            raise StoreError(f"{copy.name}: {name} is not what was put there.")
    if missing := set(_names(copy)) ^ set(said):
        raise StoreError(f"{copy.name}: {min(missing)} is not what {SUMS} says is there.")
    for name in said:
        if name.endswith(".history.db"):
            sound(copy / name, name)
        elif name.endswith(".received.db"):
            from loopwright.store.received import look_through

            look_through(copy / name)


def sound(path: Path, name: str) -> None:
    """Raise StoreError that names what is wrong with a history, when something is."""
    from loopwright.store.sql import open_store

    store = open_store(path, read_only=True, name=name)
    try:
        troubles = [str(each) for each in store.verify()]
    finally:
        store.close()
    if troubles:
        more = f" And {len(troubles) - MOST_NAMED} more." if len(troubles) > MOST_NAMED else ""
        raise StoreError(f"{name} is not what was put there. {' '.join(troubles[:MOST_NAMED])}{more}")


def is_copy(path: Path) -> bool:
    """Return whether a folder is a copy."""
    return (path / SUMS).is_file()


def _fill(job: Path, draft: Path) -> None:
    """Put the files of a job into a folder: of one moment where nobody writes all the time."""
    places = beside(job)
    inner = databases(job)
    for _ in range(MOST_TRIES):
        before = _read(job)
        for each in inner:
            if each.exists():
                backed_up(each, draft / each.name, lambda copy: None, over=True)
        if _read(job) == before:
            break
    write_whole(draft / job.name, before, over=False, mode=job.stat().st_mode & 0o777)
    for path in (*places.values(), *shared(job.parent)):
        if path not in (job, *inner) and path.is_file():
            write_whole(draft / path.name, _read(path), over=False, mode=path.stat().st_mode & 0o777)


def _aside(path: Path) -> Path:
    to = free_name(path, "replaced")
    os.rename(path, to)
    return to


@contextmanager
def _draft(folder: Path) -> Iterator[Path]:
    made = Path(tempfile.mkdtemp(prefix=".loopwright-", dir=folder))
    os.chmod(made, OURS_ALONE)
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _names(copy: Path) -> list[str]:
    with _told(copy):
        return sorted(entry.name for entry in os.scandir(copy) if entry.name != SUMS)


def _sums(draft: Path) -> bytes:
    return "".join(f"{sha256_of(_read(draft / name))}  {name}\n" for name in _names(draft)).encode("utf-8")


def _said(copy: Path) -> Iterator[tuple[str, str]]:
    for line in _read(copy / SUMS).decode("utf-8", "replace").splitlines():
        found = _SUM.fullmatch(line)
        if found is None:
            raise StoreError(f"{copy.name}: {SUMS} cannot be read.")
        yield found[2], found[1]


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise StoreError(f"{path.name} cannot be read: {words_of(error)}.") from error


@contextmanager
def _told(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise StoreError(f"{folder} cannot be used: {words_of(error)}.") from error
