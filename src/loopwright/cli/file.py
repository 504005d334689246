"""Files that are read and written: never half of one, never over another one unasked."""

from __future__ import annotations

import os
import secrets
import stat
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.refusal import Refusal, world_words

if TYPE_CHECKING:
    from loopwright.job.document import Job
    from loopwright.values.error import Problem

STDIN = "-"
MORE_THAN_ANY_JOB = 2_000_001
"""Bytes read at most: one more than the reader takes, so that a device without an end is refused by its size."""


def read_source(file: str) -> bytes:
    """Return the bytes of a file, or of standard input for ``-``. Raises Refusal when it cannot be read."""
    try:
        if file == STDIN:
            return _standard_input()
        with open(file, "rb") as stream:
            return stream.read(MORE_THAN_ANY_JOB)
    except IsADirectoryError:
        raise Refusal(f"{file}: is a folder, not a job document.") from None
    except FileNotFoundError:
        raise Refusal(f"{file}: there is no such file. `loopwright new {file}` makes one.") from None
    except OSError as error:
        raise Refusal(f"{name_of(file)}: cannot be read: {world_words(error)}.") from None
    except ValueError as error:
        raise Refusal(f"{name_of(file)}: cannot be a file name: {error}.") from None


def _standard_input() -> bytes:
    if sys.stdin is None or sys.stdin.closed:
        raise Refusal("standard input is closed, so there is nothing to read.")
    buffer = getattr(sys.stdin, "buffer", None)
    return sys.stdin.read(MORE_THAN_ANY_JOB).encode("utf-8", "surrogateescape") if buffer is None else buffer.read(MORE_THAN_ANY_JOB)


def name_of(file: str) -> str:
    """Return how a file is called in a message."""
    return "standard input" if file == STDIN else file


def read_job(file: str) -> Job:
    """Return the job in a file. Raises Refusal when there is none."""
    return job_in(read_source(file), file)


def job_in(source: bytes, file: str) -> Job:
    """Return the job in the text of a file. Raises Refusal with every problem, on a line of its own and in machine form."""
    from loopwright.job.read import read
    from loopwright.values.error import JobError

    try:
        return read(source).job
    except JobError as error:
        found = error.problems
    raise Refusal(
        *(_line(file, problem) for problem in found), machine={"file": file, "problems": [_machine(file, problem) for problem in found]}
    )


def _line(file: str, problem: Problem) -> str:
    """Return a problem as compilers write theirs, so that editors find the place."""
    place = f":{problem.line}:{problem.column}" if problem.line else ""
    where = f" {problem.path}:" if problem.path else ""
    accepted = f" Accepted: {problem.accepted}." if problem.accepted else ""
    return f"{name_of(file)}{place}:{where} {problem.message}{accepted}"


def _machine(file: str, problem: Problem) -> dict[str, str | int]:
    return {
        "file": file,
        "line": problem.line,
        "column": problem.column,
        "path": problem.path,
        "message": problem.message,
        "accepted": problem.accepted,
    }


def put(path: Path, data: bytes, *, over: bool = False) -> None:
    """Write a file whole or not at all; a link of that name is replaced, not followed.

    Raises Refusal when it cannot be written, or when the name is taken and ``over`` was not said.
    """
    try:
        if over and os.path.lexists(path) and not _replaceable(path):
            raise Refusal(f"{path}: is not a file that can be written over.")
        draft = _draft(path, data)
        try:
            _move(draft, path, over=over)
        finally:
            draft.unlink(missing_ok=True)
    except FileExistsError:
        raise Refusal(f"{path}: is there already, and is left as it is. --force writes over it.") from None
    except FileNotFoundError:
        raise Refusal(f"{path}: its folder does not exist.") from None
    except OSError as error:
        raise Refusal(f"{path}: cannot be written: {world_words(error)}.") from None
    except ValueError as error:
        raise Refusal(f"{path}: cannot be a file name: {error}.") from None


def _replaceable(path: Path) -> bool:
    """Return whether a plain file or a link stands there, and not a folder, a device or a pipe."""
    mode = path.lstat().st_mode
    return stat.S_ISREG(mode) or stat.S_ISLNK(mode)


def _draft(target: Path, data: bytes) -> Path:
    """Write the data to a new file beside the target, down to the disk."""
    draft = target.parent / f".loopwright-{secrets.token_hex(8)}"
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
    except BaseException:
        draft.unlink(missing_ok=True)
        raise
    return draft


def _move(draft: Path, target: Path, *, over: bool) -> None:
    """Give the draft its name. Without ``over`` this fails, rather than looks first, when the name is taken."""
    if over:
        draft.replace(target)
        return
    try:
        os.link(draft, target)
    except FileExistsError:
        raise
    except OSError:
        # A file system without hard links: the name is taken by making the file, which fails as well when it is there.
        os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        draft.replace(target)
