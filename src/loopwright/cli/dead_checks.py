"""``loopwright dead-checks``: what is read on every pair and supply before power comes on, and what keeps it off."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from collections.abc import Sequence

    from loopwright.explain.dead.check import DeadCheck
    from loopwright.explain.dead.entry import Checked
    from loopwright.job.document import Job


def dead_checks(file: File, /, *, seen: Annotated[str | None, Parameter(show_default=False)] = None, json: Flag = False) -> int:
    """List what every pair and supply must read before power comes on, and judge what was read.

    Expected ohms are those of the design with no power: detectors' relays let go. What electronics read without power no sheet
    says, so of a supply pair only the least is known. A battery the wrong way round and a shorted supply keep the power off.

    For example:

        loopwright dead-checks shop.yaml
        loopwright dead-checks shop.yaml --seen dead.yaml
        loopwright dead-checks shop.yaml --seen dead.yaml --json

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    seen
        A file of what was seen, its entries with state: no power, as docs/observations.md describes.
    json
        Print it as JSON, units in the keys. Over range is null.
    """
    from loopwright.circuits.forecast import forecast_circuits
    from loopwright.cli.file import read_job
    from loopwright.cli.terminal import say_json
    from loopwright.explain.dead.entry import stops
    from loopwright.explain.dead.every import dead_checks as checks_of
    from loopwright.netlist.compile import compile_power

    job = read_job(file)
    checks = checks_of(job, compile_power(job), forecast_circuits(job))
    checked = _checked(job, checks, seen)
    stopping = stops(checked)
    if json:
        say_json({"file": file, "title": job.title, "checks": [_data(each) for each in checked], "power_may_come_on": not stopping})
    else:
        _show(job, checked, stopping)
    return DONE


def _checked(job: Job, checks: Sequence[DeadCheck], seen: str | None) -> tuple[Checked, ...]:
    from loopwright.cli.file import name_of, read_source
    from loopwright.cli.terminal import complain
    from loopwright.explain.dead.entry import Checked, read_dead
    from loopwright.values.error import JobError

    if seen is None:
        return tuple(Checked(check=check) for check in checks)
    try:
        checked, problems = read_dead(job, checks, read_source(seen))
    except JobError as error:
        raise Refusal(*(f"{name_of(seen)}: {problem}" for problem in error.problems)) from None
    for problem in problems:
        complain(f"{name_of(seen)}: {problem}")
    return checked


def _data(each: Checked) -> dict[str, object]:
    from math import isfinite

    check, judged = each.check, each.judged
    unit = {"Ω": "ohm", "V": "v"}.get(check.unit, "")
    ends = (("low", check.low), ("high", check.high)) if unit else ()
    bounds = {f"{name}_{unit}": value if isfinite(value) else None for name, value in ends}
    return {
        "where": check.where,
        "at": str(check.kind),
        "do": check.words,
        "expects": check.expects,
        "known_from": check.known,
        "answers": list(check.answers),
        **bounds,
        "entered": each.text,
        "comes_to": str(judged.weight) if judged else None,
        "why": judged.sentence if judged else "",
    }


def _show(job: Job, checked: Sequence[Checked], stopping: Sequence[Checked]) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import console, plain
    from loopwright.explain.caution import in_full
    from loopwright.explain.dead.judge import Weight

    out = console()
    out.print(Text(plain(f"{job.title}: dead checks, before power"), "bold"), soft_wrap=True)
    for words in in_full("mains; battery"):
        out.print(Text(f"Mind: {words}"), soft_wrap=True)
    where = ""
    for each in checked:
        if each.check.where != where:
            where = each.check.where
            out.print()
            out.print(Text(plain(where), "bold"))
        out.print(Text(plain(f"  {each.check.words}: {each.check.expects}")), soft_wrap=True)
        if each.judged is not None:
            wrong = each.judged.weight is not Weight.RIGHT
            text = f"    {each.text}: {each.judged.weight}. {each.judged.sentence}".rstrip()
            out.print(Text(plain(text), "bold" if wrong else ""), soft_wrap=True)
    done = sum(each.judged is not None for each in checked)
    out.print(Text(f"\n{done} of {len(checked)} are entered."))
    if stopping:
        words = "finding" if len(stopping) == 1 else "findings"
        out.print(Text(f"Power stays off: {len(stopping)} {words} above to be mended first.", "bold"))
