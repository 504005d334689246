"""The command line: one file a verb. Here is only the way in and out; everything slow is imported by the verb that needs it."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

WORLD = 2
INTERRUPTED = 128 + 2
PIPE_CLOSED = 128 + 13


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command, with the process's own arguments when none are given, and return its exit status."""
    # The networks here are small: threads of the linear algebra library only cost the time it takes to start them (0.07 s of 0.6 s).
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        from loopwright.cli.command import run

        _lenient()
        status = run(list(sys.argv[1:] if arguments is None else arguments))
        sys.stdout.flush()
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        _let_go_of_output()
        return PIPE_CLOSED
    except OSError as error:
        _let_go_of_output()
        sys.stderr.write(f"loopwright: {error.filename or 'standard output'}: {error.strerror or error}.\n")
        return WORLD
    return status


def _lenient() -> None:
    """Write what the terminal's character set cannot show as an escape, and to nowhere when there is no place to write to."""
    if sys.stdout is None:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")
    for stream in (sys.stdout, sys.stderr):
        change = getattr(stream, "reconfigure", None)
        if change is not None:
            change(errors="backslashreplace")


def _let_go_of_output() -> None:
    """Point standard output at nothing: it cannot take what is left, and Python would complain of that once more at exit."""
    try:
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, sys.stdout.fileno())
        os.close(nothing)
    except (OSError, ValueError):
        return
