"""Files that are read and written: never half of one, never over another one unasked."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.refusal import Refusal, world_words

if TYPE_CHECKING:
    from loopwright.job.document import Job
    from loopwright.values.error import Problem

STDIN = "-"


def read_source(file: str) -> bytes:
    """Return the bytes of a file, or of standard input for ``-``. Raises Refusal when it cannot be read.

    One byte more than the reader takes is read at most, so that a device without an end is refused by its size.
    """
    from loopwright.job.tree import MOST_BYTES

    try:
        if file == STDIN:
            return _standard_input(MOST_BYTES + 1)
        with open(file, "rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except IsADirectoryError:
        raise Refusal(f"{file}: is a folder, not a job document.") from None
    except FileNotFoundError:
        raise Refusal(f"{file}: there is no such file. `loopwright new {file}` makes one.") from None
    except OSError as error:
        raise Refusal(f"{name_of(file)}: cannot be read: {world_words(error)}.") from None
    except ValueError as error:
        raise Refusal(f"{name_of(file)}: cannot be a file name: {error}.") from None


def _standard_input(most: int) -> bytes:
    if sys.stdin is None or sys.stdin.closed:
        raise Refusal("standard input is closed, so there is nothing to read.")
    buffer = getattr(sys.stdin, "buffer", None)
    return sys.stdin.read(most).encode("utf-8", "surrogateescape") if buffer is None else buffer.read(most)


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
    from loopwright.store.whole import write_whole

    try:
        if over and os.path.lexists(path) and not _replaceable(path):
            raise Refusal(f"{path}: is not a file that can be written over.")
        write_whole(path, data, over=over)
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
