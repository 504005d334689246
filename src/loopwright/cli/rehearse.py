"""``loopwright rehearse``: every course of events the programme allows, searched for the ones that must not happen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from loopwright.cli.refusal import BROKEN_MUST, DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from rich.console import Console

    from loopwright.rehearse.rehearsal import Rehearsal


def rehearse(file: File, /, *, json: Flag = False) -> int:
    """Search what the programme lets happen, and tell which promise it breaks, with the shortest story.

    How the search is simplified and what was not covered is said. What the customer expects is read from the job, apart from the
    programme. Exit status: 0; 1 when a promise is broken; 2 when the document cannot be read.

    For example:

        loopwright rehearse shop.yaml
        loopwright rehearse shop.yaml --json

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    json
        Print promises, stories and what was not covered as JSON.
    """
    from loopwright.cli.file import read_job

    job = read_job(file)
    from loopwright.appraisal.law import law_of
    from loopwright.rehearse.rehearsal import rehearse as searched
    from loopwright.rehearse.search import TooManyStatesError

    try:
        found = searched(job, law_of(job))
    except TooManyStatesError as reason:
        raise Refusal(f"{file}: the search would not fit: {reason}.") from None
    if json:
        from dataclasses import asdict

        from loopwright.cli.terminal import say_json

        say_json({"file": file, **asdict(found)})
    else:
        from loopwright.cli.terminal import console

        _show(console(), job.title, found)
    return BROKEN_MUST if found.broken else DONE


def _show(out: Console, title: str, found: Rehearsal) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import plain
    from loopwright.rehearse.promise import PROMISES

    out.print(Text(plain(f"{title}: rehearsal"), "bold"), soft_wrap=True)
    for promise, sentence in PROMISES.items():
        broken = [each for each in found.broken if each.promise == promise]
        why = found.untried.get(promise)
        verdict = f"Not put to the test: {why}." if why else "Broken." if broken else "Not found broken."
        out.print(Text(f"\n{sentence} {verdict}", "bold"), soft_wrap=True)
        for each in broken:
            out.print(Text(plain(f"  {each.sentence}")), soft_wrap=True)
            for line in each.lines:
                out.print(Text(plain(f"    {line}"), "dim"), soft_wrap=True)
    out.print(Text(f"\nSearched: {found.states} states in {found.searches} searches."), soft_wrap=True)
    for line in found.simplified:
        out.print(Text(line, "dim"), soft_wrap=True)
    for line in found.not_covered:
        out.print(Text(plain(f"Not covered: {line}")), soft_wrap=True)
