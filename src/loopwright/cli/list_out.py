"""``loopwright list-out``: a list of a job for a spreadsheet."""

from __future__ import annotations

from pathlib import Path

from loopwright.cli.list_in import Of
from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

ACCEPTED = "a name that ends in .xlsx, .csv or .tsv, or - to print CSV"


def list_out(file: File, of: Of, to: File, /, *, force: Flag = False) -> int:
    """Write the devices, cables, circuits, zones, users or rooms of a job as a list for a spreadsheet.

    Lengths are in metres, or in feet where the job's region reads feet; each head names its unit. Taken in again with
    list-in, the list changes nothing.

    For example:

        loopwright list-out shop.yaml cables runs.xlsx
        loopwright list-out shop.yaml zones - | column -s, -t

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    of
        What is listed: devices, cables, circuits, zones, users or rooms.
    to
        The file to write, .xlsx, .csv or .tsv; - prints CSV instead.
    force
        Write over a file that is there.
    """
    from loopwright.cli.file import STDIN, job_in, put, read_source
    from loopwright.cli.terminal import plain, say, say_bytes
    from loopwright.job.cells import written
    from loopwright.job.list_plan import ListKind
    from loopwright.job.listing import number_columns, rows_out
    from loopwright.job.tree import as_text
    from loopwright.store.sheetfile import KINDS, csv_bytes, xlsx_bytes

    ending = Path(to).suffix.lower()
    if to != STDIN and ending not in KINDS:
        raise Refusal(f"{to}: which kind of list? Accepted: {ACCEPTED}.")
    source = read_source(file)
    job_in(source, file)
    kind = ListKind(of)
    rows = rows_out(as_text(source), kind)
    if to == STDIN:
        say_bytes(written(rows))
        return DONE
    numbers = number_columns(kind)
    data = xlsx_bytes(rows, sheet=of, numbers=numbers) if ending == ".xlsx" else csv_bytes(rows, "\t" if ending == ".tsv" else ",")
    put(Path(to), data, over=force)
    many = len(rows) - 1
    say(f"{plain(to)} is written: {many} row{'' if many == 1 else 's'}.")
    return DONE
