"""``loopwright received``: the events a receiver has kept, as a table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.signalling.received import Received

ACCEPTED = "a name that ends in .csv, .tsv or .xlsx"


def received(
    file: File,
    to: Annotated[str | None, Parameter(show_default=False)] = None,
    /,
    *,
    since: int = 0,
    force: Flag = False,
    json: Flag = False,
) -> int:
    """List the events received for a job, each once, in the order they were stored; or write them as a table.

    Numbers of accounts stand in it as they were sent; keys do not.

    For example:

        loopwright received shop.yaml
        loopwright received shop.yaml events.csv
        loopwright received shop.yaml --since 120 --json

    Parameters
    ----------
    file
        The job document.
    to
        The file to write: .csv, .tsv or .xlsx.
    since
        Only what was stored after this number.
    force
        Write over a file that is there.
    json
        Print the table as JSON.
    """
    from loopwright.cli.file import put
    from loopwright.cli.receive import line_of
    from loopwright.cli.terminal import plain, say, say_json
    from loopwright.signalling.event_table import FIGURES, HEAD, event_rows
    from loopwright.store.sheetfile import KINDS, csv_bytes, xlsx_bytes

    ending = Path(to).suffix.lower() if to else ""
    if to and ending not in KINDS:
        raise Refusal(f"{to}: which kind of table? Accepted: {ACCEPTED}.")
    events = _events(Path(file), since)
    rows = event_rows(events)
    if to:
        comma = "\t" if ending == ".tsv" else ","
        data = xlsx_bytes(rows, sheet="events", numbers=FIGURES) if ending == ".xlsx" else csv_bytes(rows, comma)
        put(Path(to), data, over=force)
        say(f"{plain(to)} is written: {len(events)} event{'' if len(events) == 1 else 's'}.")
    elif json:
        say_json({"file": file, "events": [dict(zip(HEAD, row, strict=True)) for row in rows[1:]]})
    else:
        for event in events:
            say(f"{event.at:%Y-%m-%d} {line_of(event)}")
    return DONE


def _events(job: Path, since: int) -> list[Received]:
    from loopwright.store.file import StoreError
    from loopwright.store.received import ReceivedReader, received_path

    try:
        reader = ReceivedReader(received_path(job))
        try:
            found: list[Received] = []
            while more := reader.since(found[-1].number if found else since):
                found += more
            return found
        finally:
            reader.close()
    except StoreError as error:
        raise Refusal(str(error)) from None
