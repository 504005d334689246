"""``loopwright wont-set``: why an area will not set, and who may do something about it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter
from rich.text import Text

from loopwright.cli.refusal import DONE, Refusal, either
from loopwright.cli.terminal import plain
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rich.console import Console

    from loopwright.explain.expected.expect import Shown
    from loopwright.explain.expected.setting import Cause, Hindrance
    from loopwright.job.document import Job

Names = Annotated[tuple[str, ...], Parameter(negative="", show_default=False)]
CAUTION = "Identify the caller before anything is said of codes, isolation or how to get round a condition."
_HEADINGS = {"yes": "Keeps it from being set now", "ask": "To be asked", "no": "Not the reason"}


def wont_set(
    file: File,
    area: str,
    /,
    *,
    mode: str = "full",
    by: Annotated[str | None, Parameter(show_default=False)] = None,
    open: Names = (),  # noqa: A002 - the word people use on the line
    shows: Names = (),
    settled: Names = (),
    done: Names = (),
    not_done: Names = (),
    json: Flag = False,
) -> int:
    """Say what can keep an area from being set, which of it applies now, and who may override or clear it.

    What the document and its stage tell is answered; the rest is listed as questions. Who may override follows the security
    grade, from memory: the unit's own sheet and the agreement with the receiving centre win.

    For example:

        loopwright wont-set shop.yaml offices --by office-staff
        loopwright wont-set shop.yaml shop --open z06 --shows "battery low@equipment/control"
        loopwright wont-set shop.yaml shop --mode late --settled memory --settled hold-up --json

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    area
        The area that will not set, by its id.
    mode
        How it is to be set: full, or a part set of the programme.
    by
        The user who wants to set it, by id.
    open
        A zone that is seen open, by id. May be given again.
    shows
        A trouble the keypad shows: KIND or KIND@PLACE. May be given again.
    settled
        What was asked and is not so, by the name in the list. May be given again.
    done
        A step that is done although the stage does not say so: STEP or STEP@PLACE.
    not_done
        A step that is not done, likewise.
    json
        Print the causes as JSON.
    """
    from loopwright.cli.file import read_job

    job = read_job(file)
    from loopwright.appraisal.appraise import appraise
    from loopwright.appraisal.expected import expected
    from loopwright.cli.expected import situation_with
    from loopwright.explain.expected import setting

    _refuse_unknown(job, area, mode, by, open)
    found = setting.wont_set(
        job,
        area,
        expected(appraise(job), situation_with(job, done, not_done)),
        mode=mode,
        user=by,
        open_zones=open,
        shown=tuple(_shown(word) for word in shows),
        denied=tuple(_hindrance(word) for word in settled),
    )
    if json:
        from loopwright.cli.terminal import say_json

        say_json({"file": file, "area": area, "mode": mode, "causes": [_form(cause) for cause in found]})
    else:
        from loopwright.cli.terminal import console

        _show(console(), job, area, found)
    return DONE


def _refuse_unknown(job: Job, area: str, mode: str, by: str | None, zones: Sequence[str]) -> None:
    modes = ("full", *job.programme.part_sets)
    checks: list[tuple[str, str, Iterable[str]]] = [("area", area, job.areas), ("--mode", mode, modes)]
    checks += [("--by", by, job.users)] if by is not None else []
    checks += [("--open", zone, job.zones) for zone in zones]
    for option, given, known in checks:
        if given not in known:
            raise Refusal(f"{option} {given}: this job has none of that name. Accepted: {either(known) or 'none; the job has none'}.")


def _shown(word: str) -> Shown:
    from loopwright.explain.expected.expect import Shown
    from loopwright.explain.expected.trouble import TroubleKind

    kind, _, place = word.partition("@")
    try:
        return Shown(kind=TroubleKind(kind.strip()), place=place.strip())
    except ValueError:
        raise Refusal(f"--shows {word}: there is no such kind of trouble. Accepted: {either(TroubleKind)}.") from None


def _hindrance(word: str) -> Hindrance:
    from loopwright.explain.expected.setting import Hindrance

    try:
        return Hindrance(word)
    except ValueError:
        raise Refusal(f"--settled {word}: nothing of that name can keep an area from being set. Accepted: {either(Hindrance)}.") from None


def _show(out: Console, job: Job, area: str, causes: Sequence[Cause]) -> None:
    out.print(Text(plain(f"{job.title}: {job.areas[area].name} will not set"), "bold"), soft_wrap=True)
    out.print(Text(CAUTION, "italic"), soft_wrap=True)
    for applies, heading in _HEADINGS.items():
        group = [cause for cause in causes if cause.applies == applies]
        if not group:
            continue
        out.print(Text(f"\n{heading}", "bold"))
        for cause in group:
            out.print(Text(plain(f"  {cause.sentence}"), "bold" if applies == "yes" else ""), soft_wrap=True)
            if applies != "no":
                out.print(Text(f"    {cause.check}", "dim"), soft_wrap=True)
                out.print(Text(f"    {_who(cause)} Log: {cause.log}.", "dim"), soft_wrap=True)


def _who(cause: Cause) -> str:
    override = f"May be overridden by {either(cause.override_by)}" if cause.override_by else "May not be overridden"
    clear = f"; cleared, once its cause is gone, by {either(cause.clear_by)}" if cause.clear_by else ""
    return f"{override}{clear} (from memory)."


def _form(cause: Cause) -> dict[str, object]:
    return {
        "hindrance": str(cause.hindrance),
        "applies": str(cause.applies),
        "sentence": cause.sentence,
        "check": cause.check,
        "override_by": list(cause.override_by),
        "clear_by": list(cause.clear_by),
        "log": cause.log,
        "source": cause.source,
    }
