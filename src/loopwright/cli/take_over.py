"""``loopwright take-over``: old pairs of an unknown system, how they are wired and what has to change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.explain.old.take_over import TakeOver
    from loopwright.job.document import Job

MOST_WAYS = 4
Name = Annotated[str | None, Parameter(show_default=False)]


def take_over(table: str, file: File, /, *, unit: Name = None, begin: Name = None, force: Flag = False, json: Flag = False) -> int:
    """Say how old pairs are wired, from what a meter reads on them, and what has to change to take them over.

    The table has a row a pair, read with both wires out: its name, and the ohms at rest, operated, with the lid open, showing
    its fault, and shorted at the device, as far as they were read; OL is over range. What was not read is taken as a default
    and said to be one. The inputs are those of a unit of the job: whatever its bands take for right stays as it is.

    For example:

        loopwright take-over pairs.csv shop.yaml
        loopwright take-over pairs.csv shop.yaml --unit expander --begin taken-over.yaml

    Parameters
    ----------
    table
        The readings: text of a spreadsheet (pair, rest, operated, lid open, fault, shorted), or YAML (docs/take-over.md).
    file
        The job document whose unit is to take the pairs over.
    unit
        The unit with the inputs; the first one of the job when not given.
    begin
        Write a job document that starts from the pairs, by the plan of the fewest swaps.
    force
        Write over what is there.
    json
        Print it as JSON, units in the keys.
    """
    from loopwright.cli.file import read_job, read_source
    from loopwright.cli.terminal import complain, say_json
    from loopwright.explain.old.table import read_table
    from loopwright.explain.old.take_over import take_over as taken_over

    if file == table == "-":
        raise Refusal("The table and the job cannot both come from standard input.")
    job = read_job(file)
    name = _unit(job, unit)
    source = read_source(table)
    pairs, problems = read_table(source if isinstance(source, str) else source.decode("utf-8", "replace"))
    for problem in problems:
        complain(f"{table}: {problem}")
    if not pairs:
        raise Refusal(f"{table} has no pair that can be used.")
    inputs = job.sheet_of(name).inputs
    assert inputs is not None
    found = taken_over(pairs, inputs)
    if json:
        say_json({"file": file, "unit": name} | found.as_data())
    else:
        _show(name, found)
    if begin is not None:
        from loopwright.explain.old.job import old_job

        if not found.plans:
            raise Refusal(f"The sheet of {name} has bands and resistors for no kind of circuit; nothing was written.")
        text = read_source(file)
        _write(begin, old_job(text if isinstance(text, str) else text.decode("utf-8"), name, pairs, found, found.plans[0]), force=force)
    return DONE


def _unit(job: Job, unit: str | None) -> str:
    units = [name for name in job.equipment if job.sheet_of(name).inputs is not None]
    if unit is None and units:
        return units[0]
    if unit not in units:
        raise Refusal(f"'{unit or ''}' is no unit with inputs. Units of this job: {', '.join(units) or 'none yet'}.")
    return str(unit)


def _write(path: str, text: str, *, force: bool) -> None:
    from pathlib import Path

    try:
        with Path(path).open("w" if force else "x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError:
        raise Refusal(f"{path} is there already; --force writes over it.") from None
    except OSError as error:
        raise Refusal(f"{path} cannot be written: {error.strerror}.") from None


def _show(unit: str, found: TakeOver) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import console, plain
    from loopwright.explain.old.job import wired_words
    from loopwright.explain.old.take_over import ONE_KIND, plan_words

    out = console()

    def say(words: str, style: str = "") -> None:
        out.print(Text(plain(words), style), soft_wrap=True)

    say("How the pairs seem to be wired", "bold")
    for group in found.groups:
        say(f"  {', '.join(group.pairs)}: {wired_words(found.wired[group.pairs[0]][0])}")
    for name, ways in found.wired.items():
        for other in ways[1:MOST_WAYS]:
            say(f"    {name} may also be {wired_words(other)}")
    for name in found.unexplained:
        say(f"  {name}: no wiring explains these readings; look for a fault or a second device first.", "bold")
    if found.plans:
        say(ONE_KIND)
    for number, plan in enumerate(found.plans, 1):
        out.print()
        say(f"Plan {number} on the inputs of {unit}", "bold")
        for words in plan_words(plan):
            say(f"  {words}")
