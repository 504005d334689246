"""What is said while proving, from what a page posts to a change of the record. Bad input names its field and what would be right."""

from __future__ import annotations

import re
from base64 import b64decode
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Annotated, Literal

from pydantic import BaseModel, Field

from loopwright.job.document import Job
from loopwright.prove.calibration import day_of
from loopwright.prove.devices import zones_of
from loopwright.prove.found import Found
from loopwright.prove.item import Item, Proof
from loopwright.prove.judged import instrument_of, value_of
from loopwright.prove.kind import OF_A_ZONE
from loopwright.prove.match import ACTS
from loopwright.prove.picture import MOST_BYTES, UNFIT, Picture, picture_of
from loopwright.prove.radio import identity_of, refuse_double
from loopwright.prove.record import AtCentre, Entry, Issued, RadioRow, Record, SetUp, Signed, Tapped, Tool, Walked
from loopwright.prove.set_up import refuse_key, refused
from loopwright.prove.standing import TO_NOTE, gaps, leaving, shut
from loopwright.web.site_change import refuse
from loopwright.web.site_reading import understood

LONGEST_SAID, LONGEST_KEY, MOST_FIELDS = 300, 160, 24
LONGEST_PHOTO = 4 * (MOST_BYTES // 3 + 1)
"""A photograph travels in base 64 [characters]."""
LONGEST_AGO_MS = 14 * 86_400_000
LEAST_REASON = 8
HIGHEST_ZONE = 9999
MONTH = len("2026-03")
DB_BOUNDS = (0.0, 60.0)
_TIME = re.compile(r"(?:\d{4}-\d\d-\d\d[ T])?([01]?\d|2[0-3]):[0-5]\d(?::[0-5]\d)?")
Text = Annotated[str, Field(max_length=LONGEST_SAID)]


class ProveChange(BaseModel, extra="forbid"):
    """One thing said. ``record`` is the proving the page shows, ``mark`` names the change, ``ago_ms`` [ms] is how long ago it was said."""

    do: Literal[
        "answer", "read", "walk", "tap", "centre", "sign", "radio", "set-up", "tool", "gate", "issue", "close", "anew", "record", "photo"
    ]
    record: str = Field(default="", max_length=40)
    mark: str = Field(min_length=8, max_length=64)
    key: str = Field(default="", max_length=LONGEST_KEY)
    answer: Literal["", "yes", "no"] = ""
    text: Text = ""
    unit: str = Field(default="", max_length=4)
    act: str = Field(default="operate", max_length=12)
    kind: str = Field(default="", max_length=20)
    over: bool = False
    fields: dict[str, Text] = Field(default_factory=dict, max_length=MOST_FIELDS)
    photo: str = Field(default="", max_length=LONGEST_PHOTO)
    ago_ms: int = Field(default=0, ge=0, le=LONGEST_AGO_MS)
    query: str = Field(default="", max_length=8000)
    held: str = Field(default="", max_length=64)


@dataclass(frozen=True, kw_only=True, slots=True)
class By:
    """Who says something, and when it was said."""

    name: str
    at: str


def said_at(change: ProveChange, now: datetime) -> str:
    """Return when something was said: a telephone without a way to this machine sends it later, and tells how long ago it was."""
    return (now - timedelta(milliseconds=change.ago_ms)).isoformat(timespec="milliseconds")


def changed(change: ProveChange, record: Record, job: Job, items: Mapping[str, Item], by: By, found: Callable[[Record], Found]) -> Record:
    """Return the record with what was said. Raises JobError with the field and the words.

    ``found`` works out how everything stands by a record. What is found or signed for after a certificate was issued takes it back.
    """
    if change.do == "issue":
        return _issued(record, by, found)
    if change.do == "close":
        return _closed(record, job, by, found)
    if record.closed_at:
        refuse("", "This day is closed. Begin a new proving; what was found stays as its baseline.")
    acts: Mapping[str, Callable[[], Record]] = {
        "answer": lambda: _answered(change, record, items, by),
        "read": lambda: _read(change, record, items, by),
        "walk": lambda: _walked(change, record, job, by),
        "tap": lambda: _tapped(change, record, by),
        "centre": lambda: _centre(change, record, items, by),
        "sign": lambda: _signed(change, record, items, by, found),
        "radio": lambda: _radio(change, record, job, by),
        "set-up": lambda: _set_up(change, record, job, by),
        "tool": lambda: _tool(change, record, by),
        "gate": lambda: _gated(change, record, job, by),
        "photo": lambda: _photographed(change, record, items, by),
    }
    made = acts[change.do]()
    # How the place is left proves nothing and takes nothing back.
    return made if change.do == "gate" else replace(made, issued=None)


def _item(change: ProveChange, items: Mapping[str, Item]) -> Item:
    item = items.get(change.key)
    if item is None:
        refuse("key", "That is nothing that must be proved in this job any more.")
    return item


def _answered(change: ProveChange, record: Record, items: Mapping[str, Item], by: By) -> Record:
    item = _item(change, items)
    if item.unit:
        refuse("text", f"Here a reading in {item.unit} is wanted.")
    note = " ".join(change.text.split())
    return replace(
        record, entries=(*record.entries, Entry(id=change.mark, at=by.at, by=by.name, key=item.key, answer=change.answer, note=note))
    )


def taken(change: ProveChange) -> Picture:
    """Return the photograph that was sent, its picture alone. Raises JobError where it is none."""
    try:
        return picture_of(b64decode(change.photo, validate=True))
    except ValueError:
        # What the decoder says of its letters is nothing to whoever took it.
        refuse("photo", UNFIT)


def _photographed(change: ProveChange, record: Record, items: Mapping[str, Item], by: By) -> Record:
    item = _item(change, items)
    if item.proof is not Proof.PHOTO:
        refuse("key", "No photograph is kept of that.")
    entry = Entry(id=change.mark, at=by.at, by=by.name, key=item.key, answer="yes", photo=taken(change).digest)
    return replace(record, entries=(*record.entries, entry))


def _read(change: ProveChange, record: Record, items: Mapping[str, Item], by: By) -> Record:
    item = _item(change, items)
    if not item.unit:
        refuse("text", "Here yes or no is wanted.")
    reading = understood(change.text, change.unit) if change.text.strip() else ""
    tool = record.tool
    if reading and tool is None:
        refuse("text", "Say first with which instrument: its name, serial number and day of calibration stand at the top.")
    if reading:
        try:
            value_of(item, reading, instrument_of(tool))
        except ValueError as error:
            refuse("text", str(error))
    entry = Entry(id=change.mark, at=by.at, by=by.name, key=item.key, reading=reading, tool=tool.id if tool is not None else "")
    return replace(record, entries=(*record.entries, entry))


def _walked(change: ProveChange, record: Record, job: Job, by: By) -> Record:
    if not (change.key in job.equipment and zones_of(job, change.key)):
        refuse("key", "No zone reports for that.")
    if change.act not in ACTS:
        refuse("act", f"One of: {', '.join(ACTS)}.")
    return replace(record, walked=(*record.walked, Walked(id=change.mark, at=by.at, by=by.name, device=change.key, act=change.act)))


def _tapped(change: ProveChange, record: Record, by: By) -> Record:
    text = change.text.strip()
    if not (text.isdigit() and 0 < int(text) <= HIGHEST_ZONE):
        refuse("text", f"‘{text}’ is no zone: write the number the keypad showed.")
    if change.kind not in OF_A_ZONE:
        refuse("kind", f"One of: {', '.join(sorted(OF_A_ZONE))}.")
    tap = Tapped(id=change.mark, at=by.at, by=by.name, zone=int(text), kind=change.kind, restored=change.over)
    return replace(record, taps=(*record.taps, tap))


def _centre(change: ProveChange, record: Record, items: Mapping[str, Item], by: By) -> Record:
    item = _item(change, items)
    time, operator = (" ".join(change.fields.get(name, "").split()) for name in ("time", "operator"))
    if not item.key.startswith("signal:"):
        refuse("key", "Only signals are proved at the receiving centre.")
    if change.answer == "yes" and not _TIME.fullmatch(time):
        refuse("time", "Write the centre's own time of it, for example 14:05:20: what arrived at this laptop does not count there.")
    told = AtCentre(id=change.mark, at=by.at, by=by.name, key=item.key, answer=change.answer, time=time, operator=operator)
    return replace(record, centre=(*record.centre, told))


def _signed(change: ProveChange, record: Record, items: Mapping[str, Item], by: By, found: Callable[[Record], Found]) -> Record:
    """Sign for one gap, or for each gap of a group that is named: every one of them stands in the record."""
    reason = " ".join(change.text.split())
    if reason and len(reason) < LEAST_REASON:
        refuse("text", "Write in a few words why it is left open, and until when.")
    group = change.key.removeprefix("all:") if change.key.startswith("all:") else ""
    left = [each.item for each in gaps(found(record).standings) if each.item.group == group] if group else [_item(change, items)]
    if not left:
        refuse("text", "There is no gap to sign for.")
    rows = tuple(Signed(id=f"{change.mark}:{n}", at=by.at, by=by.name, key=item.key, reason=reason) for n, item in enumerate(left))
    return replace(record, signed=(*record.signed, *rows))


def _radio(change: ProveChange, record: Record, job: Job, by: By) -> Record:
    fields = {name: " ".join(text.split()) for name, text in change.fields.items()}
    what, kind = fields.get("what", ""), fields.get("kind", "device")
    if not what or kind not in ("device", "fob") or (kind == "device" and what not in job.equipment):
        refuse("what", "Say which device of this job it is, or for a fob who carries it.")
    margin = fields.get("margin_db", "").removesuffix("dB").strip().replace(",", ".")
    try:
        margin_db = float(margin) if margin else None
    except ValueError:
        refuse("margin_db", f"‘{margin}’ is no margin: write the dB the unit shows in its place.")
    if margin_db is not None and not DB_BOUNDS[0] <= margin_db <= DB_BOUNDS[1]:
        refuse("margin_db", f"{margin} dB cannot be: write {DB_BOUNDS[0]:g} to {DB_BOUNDS[1]:g}.")
    try:
        row = RadioRow(
            id=change.mark, at=by.at, by=by.name, identity=identity_of(fields.get("identity", "")), what=what, kind=kind,
            holder=fields.get("holder", ""), margin_db=margin_db, checked_in=fields.get("checked_in", ""), gone=change.over,
        )  # fmt: skip
        refuse_double(record.radio_rows, row)
    except ValueError as error:
        refuse("identity", str(error))
    return replace(record, radio=(*record.radio, row))


def _set_up(change: ProveChange, record: Record, job: Job, by: By) -> Record:
    path = job.signalling.paths.get(change.key)
    if path is None:
        refuse("key", "There is no such path in this job.")
    before = record.setup_of.get(change.key)
    said = dict(before.said) if before is not None else {}
    for name, text in change.fields.items():
        try:
            refuse_key(text)
        except ValueError as error:
            refuse(name, str(error))
        wrong = refused(path.kind, name, text)
        if wrong:
            refuse(name, wrong)
        said[name] = text.strip()
    row = SetUp(id=change.mark, at=by.at, by=by.name, path=change.key, said=tuple(sorted((n, t) for n, t in said.items() if t)))
    return replace(record, setups=(*record.setups, row))


def _tool(change: ProveChange, record: Record, by: By) -> Record:
    """Take an instrument in use: one named before, or a new one."""
    known = next((each for each in record.tools if each.id == change.key), None)
    if known is not None:
        return replace(record, tools=(*(each for each in record.tools if each is not known), known))
    fields = {name: " ".join(text.split()) for name, text in change.fields.items()}
    if not fields.get("name") or not fields.get("serial"):
        refuse("name", "Write what it is and its serial number.")
    calibrated = day_of(fields.get("calibrated_on", ""))
    if calibrated is None or f"{calibrated:%Y-%m}" > by.at[:MONTH]:
        refuse("calibrated_on", "Write the day of its calibration, for example 2026-01-20; one that is still to come is none.")
    numbers: dict[str, float | None] = {}
    for name, low, high in (("accuracy_pct", 0.0, 100.0), ("digits", 0.0, 100.0)):
        text = fields.get(name, "").replace(",", ".")
        try:
            numbers[name] = float(text) if text else None
        except ValueError:
            refuse(name, f"‘{text}’ is no number, {low:g} to {high:g}.")
        value = numbers[name]
        if value is not None and not low <= value <= high:
            refuse(name, f"{text} cannot be: write {low:g} to {high:g}.")
    made = Tool(id=change.mark, name=fields["name"], serial=fields["serial"], calibrated_on=fields["calibrated_on"], **numbers)
    return replace(record, tools=(*record.tools, made))


def _gated(change: ProveChange, record: Record, job: Job, by: By) -> Record:
    gate = next((each for each in leaving(job) if each.key == change.key), None)
    if gate is None:
        refuse("key", "That is not asked of this job any more.")
    note = " ".join(change.text.split())
    if change.answer == "yes" and gate.key in TO_NOTE and not note:
        refuse("text", TO_NOTE[gate.key])
    return replace(
        record, entries=(*record.entries, Entry(id=change.mark, at=by.at, by=by.name, key=gate.key, answer=change.answer, note=note))
    )


def _issued(record: Record, by: By, found: Callable[[Record], Found]) -> Record:
    stand = found(record).standings
    left = gaps(stand)
    if left:
        first = left[0].item
        refuse("", f"Not yet: {len(left)} are open. First: {first.where}: {first.act} Prove it, or name the gap and sign for it.")
    return replace(record, issued=Issued(at=by.at, by=by.name, gaps=sum(each.signed is not None for each in stand)))


def _closed(record: Record, job: Job, by: By, found: Callable[[Record], Found]) -> Record:
    left = shut(job, record, found(record).board)
    if left:
        more = f" And {len(left) - 1} more, listed below." if len(left) > 1 else ""
        refuse("", f"Not yet. {left[0]}{more}")
    return replace(record, closed_at=by.at)
