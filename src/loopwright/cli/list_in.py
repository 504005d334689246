"""``loopwright list-in``: a list from a spreadsheet taken into a job document, as a whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.job.cells import Grid
    from loopwright.job.intake import Intake
    from loopwright.store.file import JobFile

Of = Literal["devices", "cables", "circuits", "zones", "users", "rooms"]
Pairs = Annotated[str | None, Parameter(show_default=False)]


def list_in(
    file: File,
    of: Of,
    source: File,
    /,
    *,
    match: Pairs = None,
    fill: Pairs = None,
    sheet: Annotated[str | None, Parameter(show_default=False)] = None,
    dry_run: Flag = False,
    json: Flag = False,
) -> int:
    """Take a list of devices, cables, circuits, zones, users or rooms from a spreadsheet into a job.

    Every column is told with what it is taken for. Entries are found by their id, or by what else tells them apart; what
    differs is changed, what is new is put in, an empty cell changes nothing, and nothing is taken out. One cell that cannot
    be right, and the job is left as it was, with every such cell named by row and column.

    For example:

        loopwright list-in shop.yaml cables runs.xlsx --dry-run
        loopwright list-in shop.yaml cables runs.csv --match "Cable no=id, Run length=length_m (ft), Colour="
        loopwright list-in shop.yaml cables runs.csv --fill "sheet=six-core"

    Parameters
    ----------
    file
        The job document, which is written over.
    of
        What the list holds: devices, cables, circuits, zones, users or rooms.
    source
        The list, CSV, TSV or XLSX; - reads text from standard input.
    match
        What columns are: HEAD=FIELD, with commas between; FIELD (UNIT) where the head names none, HEAD= to leave one out.
    fill
        What new entries get where the list says nothing: FIELD=TEXT, with commas between.
    sheet
        The sheet of a workbook, instead of the first.
    dry_run
        Say what would come of it, and write nothing.
    json
        Print the outcome as JSON: columns, new, changed, unchanged, notes, problems.
    """
    from loopwright.cli.terminal import complain, say_json
    from loopwright.job.list_plan import ListKind
    from loopwright.job.listing import take_in
    from loopwright.store.file import JobFile, StoreError

    told, filled = _pairs("--match", match), _pairs("--fill", fill)
    text = _document(file, job := JobFile(Path(file)))
    try:
        intake = take_in(text, ListKind(of), _grid(source, sheet), told=told, fill=filled)
        taken = intake.edited is not None and not dry_run and intake.edited.text != text
        if intake.edited is not None and taken:
            _save(job, text, intake.edited.text, f"list of {of} taken in, {len(intake.new)} new, {len(intake.changes)} values changed")
    except StoreError as error:
        raise Refusal(str(error)) from None
    if intake.problems:
        raise Refusal(*_refusal_lines(source, intake), machine=_machine(intake))
    if json:
        say_json(_machine(intake))
        return DONE
    _tell(intake)
    if not taken:
        complain("Nothing is written: this was a dry run." if dry_run else "Nothing is written: the job says all this already.")
    return DONE


def _save(job: JobFile, before: str, after: str, summary: str) -> None:
    """Write the job; where a history of it is kept, as a revision of its own. Raises StoreError."""
    from datetime import UTC, datetime

    from loopwright.cli.terminal import complain
    from loopwright.store.file import ChangedOnDisk
    from loopwright.store.kept import KeptJob, history_path, keep
    from loopwright.store.user import who

    if not history_path(job.path).exists():
        return job.save(after)
    kept, trouble = keep(job.path, by=who(), clock=lambda: datetime.now(UTC))
    if not isinstance(kept, KeptJob):
        complain(trouble)
        return job.save(after)
    try:
        # What stands in the file now is what the list was held against, or nothing is written.
        if kept.load() != before:
            raise ChangedOnDisk(f"{job.name} was changed by another program meanwhile, and is left as it is. Take the list in again.")
        kept.start(before)
        kept.add(after, summary)
    finally:
        kept.close()


def _document(file: str, job: Any) -> str:  # noqa: ANN401 - a JobFile, imported late
    """Return the text of a job that can be read. Raises Refusal."""
    from loopwright.cli.file import STDIN, job_in, read_source
    from loopwright.store.file import StoreError

    if file == STDIN:
        raise Refusal("FILE: a job that is written over must be a file.")
    job_in(read_source(file), file)
    try:
        text: str = job.load()
    except StoreError as error:
        raise Refusal(str(error)) from None
    return text


def _grid(source: str, sheet: str | None) -> Grid:
    import sys

    from loopwright.cli.file import STDIN
    from loopwright.store.sheetfile import MOST_BYTES, grid_of, read_list

    if source != STDIN:
        return read_list(Path(source), sheet)
    if sys.stdin is None or sys.stdin.closed:
        raise Refusal("standard input is closed, so there is nothing to read.")
    return grid_of(sys.stdin.buffer.read(MOST_BYTES + 1), "standard input", sheet)


def _pairs(option: str, written: str | None) -> dict[str, str]:
    """Return what an option tells, by head or field; a comma inside a pair stands in double quotes.

    >>> _pairs("--match", 'Cable no=id, "Length, ft=length_m (ft)"')
    {'Cable no': 'id', 'Length, ft': 'length_m (ft)'}
    """
    from loopwright.job.cells import CellsError, delimited_by

    if written is None:
        return {}
    try:
        rows = delimited_by(written, ",")
    except CellsError:
        raise Refusal(f"{option}: quotes that are not closed.") from None
    found: dict[str, str] = {}
    for pair in (cell for row in rows for cell in row if cell.strip()):
        name, equals, text = pair.rpartition("=") if option == "--match" else pair.partition("=")
        if not equals or not name.strip():
            raise Refusal(f"{option}: '{pair.strip()}' is no pair. Accepted: name=field, with commas between.")
        if name.strip() in found:
            raise Refusal(f"{option}: {name.strip()} is told twice.")
        found[name.strip()] = text.strip()
    return found


def _refusal_lines(source: str, intake: Intake) -> list[str]:
    from loopwright.cli.file import name_of

    name = name_of(source)
    columns = [f"{match.named}: {match.field or '-'}, {match.certainty}" for match in intake.matching.columns]
    problems = [f"{name}: {problem}" for problem in intake.problems]
    return [*problems, f"{name}: {intake.sentence}; nothing is taken.", f"{name}: columns: {'; '.join(columns[:20]) or 'none'}."]


def _tell(intake: Intake) -> None:
    from loopwright.cli.terminal import plain, say

    for match in intake.matching.columns:
        unit = f" ({match.unit})" if match.unit else ""
        say(plain(f"{match.named[:1].upper()}{match.named[1:]}: {f'{match.field}{unit}, ' if match.field else ''}{match.certainty}"))
    for note in intake.notes:
        say(plain(note))
    say(plain(f"{intake.sentence}."))


def _machine(intake: Intake) -> dict[str, Any]:
    """Return the outcome for another program; rows and columns count from 1, 0 where a problem has none."""
    return {
        "of": str(intake.kind),
        "sentence": intake.sentence,
        "columns": [match._asdict() | {"at": match.at + 1, "certainty": match.certainty} for match in intake.matching.columns],
        "new": list(intake.new),
        "changed": [change._asdict() for change in intake.changes],
        "unchanged": intake.unchanged,
        "notes": list(intake.notes),
        "problems": [{"row": each.row + 1, "column": each.at + 1, "head": each.head, "message": each.message} for each in intake.problems],
    }
