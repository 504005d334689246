"""``loopwright explain``: what is seen against what should be seen, and where to put the meter next."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rich.console import Console

    from loopwright.explain.explanation import Answer, Cause, Explanation, NextCheck
    from loopwright.explain.learned import Weights
    from loopwright.explain.observation import Observations
    from loopwright.job.document import Job

WIDEST, NARROWEST = 110, 40
MOST_CAUSES = 4
MOST_MOVED = 5


def explain(file: File, /, *, seen: File, json: Flag = False, catalogue_alone: Flag = False) -> int:
    """Say why what is seen is not what should be seen, and which check is worth doing next.

    The file holds readings, what the keypad shows and answers, as docs/observations.md describes. Printed are the faults
    that explain it, the likeliest first, with what mends them and what to mind; readings that were probably mistakes;
    the check that tells most a minute; and, when no check would change what to do, that.

    Cases of the Desk that were closed in the folder of the job move how common each cause is taken to be; which ones is said.

    For example:

        loopwright explain shop.yaml --seen visit.yaml
        loopwright explain shop.yaml --seen visit.yaml --json

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    seen
        The file of what was seen.
    json
        Print everything as JSON: answers, causes with expected readings and working, next checks; units in the keys.
    catalogue_alone
        Leave closed cases out: every cause is as common as the catalogue has it.
    """
    from loopwright.cli.file import STDIN, read_job
    from loopwright.cli.terminal import console, say_json

    if file == STDIN == seen:
        raise Refusal("The job and what was seen cannot both come from standard input.")
    job = read_job(file)
    observed = observations(job, seen)
    from loopwright.explain.explain import Inquiry
    from loopwright.explain.learned import CATALOGUE, moved

    weights = CATALOGUE if catalogue_alone or file == STDIN else _learned(file)
    found = Inquiry(job, weights=weights).explain(observed)
    charging = _charging(job, found)
    if json:
        learned = [{"fault": row.fault, "seen": row.seen, "weight": row.before, "weight_now": row.now} for row in moved(weights)]
        say_json(
            {"file": file, "seen": seen, "title": job.title, "closed_cases": weights.closed, "moved": learned, "charging": charging}
            | found.as_data()
        )
    else:
        show(console(), job, found, charging)
        _show_moved(console(), weights)
    return DONE


def _charging(job: Job, found: Explanation) -> dict[str, tuple[str, ...]]:
    """Return by the key of a cause how long a battery that recovers still needs; the job is appraised only where one does."""
    from loopwright.appraisal.appraise import appraise
    from loopwright.explain.expected.charging import RECOVERING, charging_words

    causes = [cause for answer in found.answers for cause in answer.causes[:1] if cause.fault == RECOVERING and cause.working]
    if not causes:
        return {}
    standby = appraise(job).standby
    return {cause.key: charging_words(job, standby, cause.fault, cause.place) for cause in causes}


def _learned(file: str) -> Weights:
    """Return what the closed cases in the folder of a job have taught."""
    from pathlib import Path

    from loopwright.explain.learned import learned_weights
    from loopwright.store.case_file import Closings

    return learned_weights(closed.cause for closed in Closings(Path(file).resolve().parent).all())


def _show_moved(out: Console, weights: Weights) -> None:
    from loopwright.explain.learned import moved

    if not weights.closed:
        return
    rows = [f"{row.words} [{row.fault}] {row.before:g} to {row.now:g} ({row.seen} of them)" for row in moved(weights)[:MOST_MOVED]]
    out.print()
    told = f": {'; '.join(rows)}" if rows else ", none with a cause of the catalogue"
    cases = "case" if weights.closed == 1 else "cases"
    _lines(out, f"Weights moved by {weights.closed} closed {cases} in this folder{told}. Without them: --catalogue-alone.", 0)


def observations(job: Job, seen: str) -> Observations:
    """Return what was seen. Raises Refusal when the file is no list of observations at all."""
    from loopwright.cli.file import name_of, read_source
    from loopwright.explain.observation import read_observations
    from loopwright.values.error import JobError

    try:
        source = read_source(seen)
    except Refusal as refusal:
        # The verb that makes job documents makes none of these.
        raise Refusal(*(line.partition(" `loopwright new")[0] for line in refusal.lines)) from None
    try:
        return read_observations(job, source)
    except JobError as error:
        raise Refusal(*(f"{name_of(seen)}: {problem}" for problem in error.problems)) from None


def show(out: Console, job: Job, found: Explanation, charging: Mapping[str, Sequence[str]]) -> None:
    """Print an explanation for people; ``charging`` has the hours of batteries that recover, by the key of their cause."""
    from rich.text import Text

    from loopwright.cli.terminal import plain

    out.print(Text(plain(job.title), "bold"), soft_wrap=True)
    for words in found.left_out:
        _lines(out, f"Left out: {words}", 0)
    for check, first, second in found.contradictions:
        _lines(out, f"These two cannot both be so: {first} and {second} ({check}). Both are weighed; neither is averaged.", 0)
    out.print()
    _lines(out, found.verdict, 0)
    if not found.used:
        return
    out.print()
    _lines(out, f"Nothing wrong with what was read: {_chance(found.nothing)}.", 0)
    for answer in found.answers:
        _answer(out, answer, charging)
    if found.others > 0.01:
        out.print()
        _lines(out, f"Other faults, each less likely: {_chance(found.others)}.", 0)
    if found.two_faults > 0.01:
        _lines(out, f"Two faults at once: {_chance(found.two_faults)}.", 0)
        for probability, first_cause, second_cause in found.pairs[:3]:
            _lines(
                out,
                f"{first_cause.words} ({first_cause.where}) with {second_cause.words} ({second_cause.where}): {_chance(probability)}",
                4,
            )
    _lines(out, f"None of these: {_chance(found.none_of_these)}.", 0)
    for doubt in found.doubts:
        _lines(out, f"Doubtful: {doubt.read} ({doubt.check}): {doubt.kind}, {_chance(doubt.probability)}. Read it again.", 0)
    if found.next_checks and not found.stop:
        out.print()
        out.print(Text("Next", "bold"))
    for check_ in found.next_checks if not found.stop else ():
        _next(out, check_)
    for halving in found.halving:
        plan = halving.plan
        if plan.start is not None:
            out.print()
            out.print(Text(f"Where along circuit {halving.circuit}", "bold"))
            point = plan.points[plan.start.at - 1]
            told = f"{len(plan.places)} places, {plan.expected_visits:.1f} readings and {plan.expected_min:.0f} minutes to be expected"
            _lines(out, f"{told}. First: {point.words}; sound beyond is {point.sound}.", 2)
            _lines(out, f"The whole plan: loopwright locate FILE {halving.circuit} --seen FILE", 2)


def _answer(out: Console, answer: Answer, charging: Mapping[str, Sequence[str]]) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import plain

    out.print()
    lead = answer.causes[0]
    out.print(
        Text(f"  {_chance(answer.probability)}  ") + Text(plain(f"{lead.words}, {lead.where}"), "bold") + Text(f"  [{lead.fault}]", "dim")
    )
    if len(answer.causes) > 1:
        _lines(out, "No check at hand tells these apart:", 4)
        for cause in answer.causes[1:MOST_CAUSES]:
            _lines(out, f"{cause.words}, {cause.where} [{cause.fault}], {_chance(cause.probability)}", 6)
    _cause(out, lead, charging.get(lead.key, ()))


def _cause(out: Console, cause: Cause, charging: Sequence[str]) -> None:
    from loopwright.values.source import source

    parts = f" Parts: {', '.join(cause.parts)}." if cause.parts else ""
    _lines(out, f"Do: {cause.fix}.{parts}", 4)
    for words in charging:
        _lines(out, words, 4)
    _mind(out, cause.caution)
    for step in cause.working:
        _lines(out, f"{step.check.rstrip('?')}: read {step.read}; with this {step.here}, sound {step.sound}", 4)
    _lines(out, f"Why it is thought of: {cause.reason} ({'; '.join(str(source(key)) for key in cause.source)}).", 4)


def _next(out: Console, check: NextCheck) -> None:
    needs = f" Needs: {', '.join(check.needs)}." if check.needs else ""
    _lines(out, f"{check.words} ({check.minutes:g} min, {check.bits:.2f} bit).{needs}", 2)
    _mind(out, check.caution)
    for each in check.outlook[:4]:
        _lines(out, f"{each.shows} ({each.chance:.0%}): then {each.leads} ({each.leads_chance:.0%})", 4)
    _lines(out, "Write it down as {" + ", ".join(f"{key}: {value}" for key, value in check.entry.items()) + "}", 4)


def _mind(out: Console, caution: str) -> None:
    from loopwright.explain.caution import in_full

    for sentence in in_full(caution):
        _lines(out, f"Mind: {sentence}", 4)


def _chance(probability: float) -> str:
    from loopwright.explain.explanation import chance_words

    return f"{probability:.1%} ({chance_words(probability)})"


def _lines(out: Console, text: str, indent: int) -> None:
    """Print a text indented; in a pipe on one line, so that it can be searched."""
    from rich.text import Text

    from loopwright.cli.terminal import plain

    width = max(min(out.width, WIDEST), NARROWEST) if out.is_terminal else out.width * 10
    lead = " " * indent
    body = textwrap.fill(plain(text), width, initial_indent=lead, subsequent_indent=lead, break_long_words=False, break_on_hyphens=False)
    out.print(Text(body), soft_wrap=True)
