"""The troubles that should show now, as a list for people: by the step that clears them, with what must not be done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from loopwright.cli.refusal import Refusal, either
from loopwright.cli.terminal import plain
from loopwright.values.duration import duration_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from loopwright.explain.expected.expect import Expectation
    from loopwright.explain.expected.situation import Situation, Step
    from loopwright.explain.expected.trouble import Trouble
    from loopwright.job.document import Job

MOST_LINES = 4
"""Troubles of one kind listed under a step before the rest are counted."""


def situation_with(job: Job, done: Sequence[str], not_done: Sequence[str]) -> Situation:
    """Return the document's situation with steps said to be done or not, each ``step`` or ``step@place``.

    Raises Refusal for a word that is no step.
    """
    from loopwright.explain.expected.situation import situation_of

    situation = situation_of(job)
    for words, value in ((done, True), (not_done, False)):
        for word in words:
            step, _, place = word.partition("@")
            situation = situation.with_step(_step(step.strip(), value), place.strip(), done=value)
    return situation


def _step(word: str, value: bool) -> Step:
    from loopwright.explain.expected.situation import Step

    try:
        return Step(word.replace("-", " "))
    except ValueError:
        raise Refusal(f"--{'done' if value else 'not-done'} {word}: there is no such step. Accepted: {either(Step)}.") from None


def show(out: Console, expectation: Expectation) -> None:
    """Print what should show now."""
    troubles = expectation.troubles
    out.print()
    out.print(Text("Troubles that should show now", "bold"))
    if not troubles:
        out.print("None: every step is done, and nothing has to be waited for.")
        return
    odd = sum(1 for trouble in troubles if not trouble.normal)
    told = "all normal at this stage" if not odd else f"{odd} of them not normal at this stage"
    out.print(Text(f"{len(troubles)}, {told}. They are best cleared in this order."), soft_wrap=not out.is_terminal)
    for heading, group in _groups(expectation):
        out.print(Text(f"\n{heading}", "bold"))
        _list(out, group)


def _groups(expectation: Expectation) -> list[tuple[str, list[Trouble]]]:
    steps = dict.fromkeys(trouble.step for trouble in expectation.troubles if trouble.step is not None)
    groups = [(f"{step[0].upper()}{step[1:]}", list(expectation.cleared_by(step))) for step in steps]
    waiting = [("Waiting", list(expectation.waiting))] if expectation.waiting else []
    rest = [trouble for trouble in expectation.troubles if trouble.step is None and trouble.wait_s is None]
    return groups + waiting + ([("No step of the work clears these", rest)] if rest else [])


def _list(out: Console, troubles: Sequence[Trouble]) -> None:
    for kind in dict.fromkeys(trouble.kind for trouble in troubles):
        same = [trouble for trouble in troubles if trouble.kind is kind]
        for trouble in same[:MOST_LINES]:
            mark = "" if trouble.normal else " (not normal now)"
            wait = "" if trouble.wait_s is None else f" Goes by itself in {_wait(trouble.wait_s)}."
            out.print(Text(plain(f"  {trouble.sentence}{wait}{mark}"), "" if trouble.normal else "bold"), soft_wrap=True)
        if len(same) > MOST_LINES:
            out.print(Text(f"  … and {len(same) - MOST_LINES} more of the kind ‘{kind}’."), soft_wrap=True)
        lore = same[0].lore
        out.print(Text(f"    {lore.clears} {lore.never}", "dim"), soft_wrap=True)


def _wait(wait_s: tuple[float, float]) -> str:
    shortest, longest = (duration_words(seconds) for seconds in wait_s)
    return shortest if shortest == longest else f"{shortest} to {longest}"
