"""``loopwright desk``: the open cases of the desk, and what is asked next in each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from rich.console import Console

    from loopwright.appraisal.appraise import Appraisal
    from loopwright.desk.case import Case
    from loopwright.desk.course import Course
    from loopwright.explain.learned import Weights

MOST_CAUSES = 3


def desk(file: File, /, *, json: Flag = False) -> int:
    """Print the open cases of the desk about a job, and the next question of each.

    The cases are those kept beside the job file by the room Desk. What callers are called and where they are rung back is
    not printed with --json. As in the room, who was identified is so for an hour after the last word, and a case in which
    nothing was said is not listed. Closed cases of the whole folder move how common each cause is taken to be.

    For example:

        loopwright desk shop.yaml
        loopwright desk shop.yaml --json

    Parameters
    ----------
    file
        The job document, a file.
    json
        Print the cases as JSON.
    """
    from loopwright.appraisal.appraise import appraise
    from loopwright.cli.file import STDIN, read_job
    from loopwright.cli.papers import moment
    from loopwright.cli.terminal import console, say_json
    from loopwright.desk.case import open_of

    if file == STDIN:
        raise Refusal("The cases stand beside a job file, so a file is needed here.")
    appraisal = appraise(read_job(file))
    cases, weights = _kept(Path(file))
    rows = [(case, _course(case, appraisal, weights)) for case in open_of(cases, moment().isoformat())]
    if json:
        say_json({"file": file, "open": [_form(case, found) for case, found in rows], "closed_in_folder": weights.closed})
    else:
        _show(console(), appraisal.job.title, rows, weights)
    return DONE


def _kept(file: Path) -> tuple[tuple[Case, ...], Weights]:
    """Return the cases beside a job, and what the closed ones of its folder have taught. Raises Refusal."""
    from loopwright.explain.learned import learned_weights
    from loopwright.store.case_file import CaseFile, Closings, cases_path
    from loopwright.store.file import StoreError

    path = cases_path(file)
    try:
        cases = CaseFile(path).load()
    except StoreError as error:
        raise Refusal(str(error)) from None
    return cases, learned_weights(closed.cause for closed in Closings(path.parent).all())


def _course(case: Case, appraisal: Appraisal, weights: Weights) -> Course:
    from loopwright.desk.course import course
    from loopwright.explain.explain import Inquiry

    inquiry = Inquiry(appraisal.job, appraisal.power.network, weights)
    return course(case, appraisal, lambda observed, may: inquiry.explain(observed, may=may))


def _next(found: Course) -> str:
    """Return what is asked or done next, in words."""
    if found.question is not None:
        return found.question.words
    steps = {"danger": "Ask whether anybody or anything is in danger.", "caller": "Identify the caller.", "complaint": "What is it about?"}
    if found.danger is not None:
        return f"Stopped: {found.danger.words}."
    return steps.get(found.step, found.done)


def _form(case: Case, found: Course) -> dict[str, object]:
    causes = [answer.causes[0] for answer in found.found.answers[:MOST_CAUSES]] if found.found is not None else []
    return {
        "case": case.id,
        "begun_at": case.at,
        "by": case.by,
        "identified": case.caller.identified,
        "complaint": case.complaint,
        "answers": len(case.standing),
        "step": found.step,
        "next": _next(found),
        "causes": [{"fault": cause.fault, "where": cause.where, "probability": cause.probability} for cause in causes],
    }


def _show(out: Console, title: str, rows: list[tuple[Case, Course]], weights: Weights) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import plain
    from loopwright.desk.opening import complaints

    out.print(Text(plain(f"{title}: {len(rows)} open {'case' if len(rows) == 1 else 'cases'}"), "bold"), soft_wrap=True)
    for case, found in rows:
        about = complaints()[case.complaint].words if case.complaint in complaints() else "not asked yet"
        who = f"{case.caller.name or 'no name yet'}, {case.caller.verified or 'not identified yet'}"
        out.print()
        out.print(Text(plain(f"{case.at[:16].replace('T', ' ')} {case.by}: {about} ({who})"), "bold"), soft_wrap=True)
        out.print(Text(plain(f"  Next: {_next(found)}")), soft_wrap=True)
        for answer in found.found.answers[:MOST_CAUSES] if found.found is not None else ():
            cause = answer.causes[0]
            out.print(Text(plain(f"  {answer.probability:.0%}  {cause.words}, {cause.where} [{cause.fault}]"), "dim"), soft_wrap=True)
    if weights.closed:
        out.print()
        out.print(Text(f"{weights.closed} closed {'case' if weights.closed == 1 else 'cases'} in this folder."), soft_wrap=True)
