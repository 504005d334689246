"""A table of readings of old pairs, as people write it: a spreadsheet's text, or YAML. A slip costs its own pair, and is told."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping

from loopwright.explain.meter import Instrument
from loopwright.explain.old.pair import OldPair, PairState
from loopwright.explain.written import Unreadable, shown_of
from loopwright.job.tree import LIST, MAP, compose
from loopwright.values.error import JobError

COLUMNS = {
    "pair": "", "name": "", "circuit": "", "rest": PairState.REST, "at rest": PairState.REST, "idle": PairState.REST,
    "operated": PairState.ACTIVE, "active": PairState.ACTIVE, "lid open": PairState.LID_OPEN, "lid": PairState.LID_OPEN,
    "fault shown": PairState.FAULT, "fault": PairState.FAULT, "shorted": PairState.SHORTED, "shorted at the device": PairState.SHORTED,
}  # fmt: skip
"""What each head of a column stands for; nothing is the pair's own name."""
MOST_PAIRS = 500
EXAMPLE = "pair, rest, operated, lid open, fault, shorted"


def read_table(text: str) -> tuple[tuple[OldPair, ...], tuple[str, ...]]:
    """Return the pairs of a table, and a sentence for each row or column that cannot be used."""
    try:
        rows = list(_yaml(text) if text.lstrip().startswith("pairs:") else _sheet(text))
    except (JobError, csv.Error) as error:
        return (), (f"This is no table: {error}",)
    found: dict[str, OldPair] = {}
    problems: list[str] = []
    for number, row in enumerate(rows[:MOST_PAIRS], 1):
        try:
            pair = pair_of(row)
            if pair.name in found:
                raise ValueError(f"{pair.name} stands twice; the first one is used.")
            found[pair.name] = pair
        except ValueError as error:
            problems.append(f"Row {number}: {error}")
    if not rows:
        problems.append(f"There is no row below the heads. The heads are: {EXAMPLE}.")
    if len(rows) > MOST_PAIRS:
        problems.append(f"Only the first {MOST_PAIRS} of {len(rows)} pairs are used.")
    return tuple(found.values()), tuple(problems)


def pair_of(row: Mapping[str, str]) -> OldPair:
    """Return one pair from its cells by the heads of their columns. Raises ValueError with a sentence."""
    name, ohm = "", dict[PairState, float]()
    for head, cell in row.items():
        state = COLUMNS.get(" ".join(head.lower().split()))
        if state is None:
            raise ValueError(f"‘{head}’ is no column here. Accepted: {EXAMPLE}.")
        text = " ".join(cell.split())
        if not state:
            name = text
        elif text:
            ohm[PairState(state)] = _ohm(text)
    if not name:
        raise ValueError("the pair has no name.")
    return OldPair(name=name, ohm=ohm)


def _ohm(text: str) -> float:
    shown = shown_of(text, Instrument())
    if shown.unit != "Ω":
        raise Unreadable(f"‘{text}’ is no reading of ohms. Volts on an old pair have to be found first.")
    return shown.value


def _sheet(text: str) -> Iterator[dict[str, str]]:
    first = text.lstrip("\ufeff \r\n").partition("\n")[0]
    mark = max(";\t,", key=first.count)
    for row in csv.DictReader(text.lstrip("\ufeff \r\n").splitlines(), delimiter=mark, skipinitialspace=True):
        cells = {head: cell for head, cell in row.items() if isinstance(head, str) and head.strip() and isinstance(cell, str)}
        if any(cell.strip() for cell in cells.values()):
            yield cells


def _yaml(text: str) -> Iterator[dict[str, str]]:
    for key, node in compose(text)[1].value:
        if key.value == "pairs" and node.kind == LIST:
            for entry in node.value:
                yield {str(k.value): str(v.value) for k, v in entry.value if not v.null} if entry.kind == MAP else {}
