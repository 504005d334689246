"""The event table a receiving centre is given, and its difference from what arrived."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.prove.board import Board
from loopwright.prove.found import Found
from loopwright.prove.heard import BY_HAND
from loopwright.prove.record import AtCentre
from loopwright.prove.report import Expected
from loopwright.values.moment import zone_words

_HEAD = (
    "Event", "Zone", "Text", "Area", "Contact ID", "DC-03", "Restore", "Reported", "From the programme", "At the laptop", "Code arrived",
    "At the centre", "Centre's time", "Centre's operator",
)  # fmt: skip


def event_table(found: Found) -> tuple[tuple[str, ...], ...]:
    """Return the table, its head first, which names the zone of times: every event that should arrive, with two columns of what did."""
    centre = found.record.told_by_centre
    head = tuple(f"{each}, {zone_words(found.now)}" if each == "At the laptop" else each for each in _HEAD)
    return (head, *(_row(each, found, centre.get(each.key)) for each in found.board.expected))


def _row(event: Expected, found: Found, told: AtCentre | None) -> tuple[str, ...]:
    heard = found.board.arrived.get(event.key)
    here = heard if heard is not None and heard.by != BY_HAND else None
    answer, time, operator = (told.answer, told.time, told.operator) if told is not None else ("", "", "")
    # What never arrived has no time of arrival, whatever was noted beside it.
    time = time if answer == "yes" else ""
    return (
        event.words, "" if event.number is None else str(event.number), event.text, event.area_words,
        _contact_id(event), " or ".join(event.dc03[:2]), "yes" if event.restored else "no", "yes" if event.sent else "no", event.from_words,
        f"{here.at.astimezone(found.now.tzinfo):%Y-%m-%d %H:%M:%S}" if here else "", here.code if here else "",
        {"yes": "arrived", "no": "did not arrive"}.get(answer, ""), time, operator,
    )  # fmt: skip


def _contact_id(event: Expected) -> str:
    """Return the usual code with its qualifier, as a frame carries it: 1 new or unset, 3 restored or set."""
    over = event.restored or event.kind == "set"
    return f"{'3' if over else '1'}{event.contact_id[0]}" if event.contact_id else ""


def difference(board: Board) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what should have arrived and has not, and what arrived and was not expected, in words."""
    missing = [f"{_where(each)}{each.words}" for each in board.missing]
    keys = {each.n: each for each in board.events}
    odd: Sequence[str] = [keys[n].words or f"zone {keys[n].zone}: {keys[n].kind}" for n, to in board.placed.items() if to == "not expected"]
    return tuple(missing), tuple(odd)


def _where(event: Expected) -> str:
    return f"zone {event.number} ({event.text}): " if event.number is not None else "system: "
