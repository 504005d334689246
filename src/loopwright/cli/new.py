"""``loopwright new``: a job document to start from."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal, either
from loopwright.cli.words import File, Flag


def new(
    file: File,
    /,
    *,
    demo: Annotated[str | None, Parameter(show_default=False)] = None,
    synthetic: Annotated[int | None, Parameter(show_default=False)] = None,
    seed: int = 1,
    force: Flag = False,
) -> int:
    """Write a job document to start from.

    Without an option it is a short one with comments that explain what to fill in. A file that is there is left as it is.

    For example:

        loopwright new house.yaml
        loopwright new shop.yaml --demo business
        loopwright new large.yaml --synthetic 200 --seed 7

    Parameters
    ----------
    file
        The file to write; - prints the document instead.
    demo
        An example job, of invented kit, premises and people: business or dwelling.
    synthetic
        A made-up job with this many devices, 1 to 2000; the same for the same number and seed.
    seed
        Seed of the made-up job.
    force
        Write over a file that is there.
    """
    from loopwright.cli.file import STDIN, put
    from loopwright.cli.terminal import plain, say, say_bytes

    text = _text(demo, synthetic, seed)
    if file == STDIN:
        say_bytes(text)
        return DONE
    # Forced, a link leads to the file that is written over; unforced, a link is a name that is taken.
    put(Path(os.path.realpath(file) if force else file), text.encode("utf-8"), over=force)
    say(f"{plain(file)} is written. `loopwright check {plain(file)}` says what is wrong with it.")
    return DONE


def _text(demo: str | None, synthetic: int | None, seed: int) -> str:
    if demo is not None and synthetic is not None:
        raise Refusal("--demo and --synthetic: only one of them can be written.")
    if demo is not None:
        return demo_text(demo)
    if synthetic is None:
        from loopwright.job.starter import starter

        return starter()
    from loopwright.demo import synthetic as generator

    if not 1 <= synthetic <= generator.MOST_DEVICES:
        raise Refusal(f"--synthetic {synthetic}: out of bounds. Accepted: 1 to {generator.MOST_DEVICES}.")
    return generator.synthetic(synthetic, seed)


def demo_text(name: str) -> str:
    """Return the text of an example job. Raises Refusal when there is none of that name."""
    from loopwright import demo

    try:
        return demo.text(name)
    except KeyError:
        raise Refusal(f"{name}: there is no such example job. Accepted: {either(demo.names())}.") from None
