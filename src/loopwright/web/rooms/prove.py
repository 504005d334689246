"""Prove: the board that ticks itself off, readings judged at once, the two columns of signals, the gaps, and the day closed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from loopwright.explain.explanation import chance_words
from loopwright.job.document import Job
from loopwright.prove.alike import amount, asked, beside, rewritten, usual_unit
from loopwright.prove.calibration import calibration_doubts, too_old
from loopwright.prove.call import Call
from loopwright.prove.called import done_words
from loopwright.prove.devices import contacts_in_use, zones_of
from loopwright.prove.item import Group, Proof, key_of
from loopwright.prove.kind import Kind
from loopwright.prove.radio import is_radio, margin_words, proved
from loopwright.prove.set_up import doubts, fields_of
from loopwright.prove.standing import Progress, Stand, Standing, at_laptop, gaps, leaving, not_there, progress, shut
from loopwright.prove.table import difference
from loopwright.prove.wiring import answers
from loopwright.store.file import StoreError
from loopwright.web.page import Page
from loopwright.web.prove_record import unrecorded
from loopwright.web.receiving import addresses
from loopwright.web.site_reading import UNITS, typed

if TYPE_CHECKING:
    from loopwright.prove.found import Found
    from loopwright.web.proving import Proving

PARTS = (
    ("walk", "The walk"), ("circuits", "Circuits"), ("supplies", "Supplies and sounders"), ("signals", "Signals"),
    ("radio", "Radio and fobs"), ("paths", "Paths"), ("certificate", "Gaps and certificate"), ("leaving", "Leaving"),
)  # fmt: skip
ON_THE_WALK = (
    (Proof.WALK, "Alarm"), (Proof.RESTORE, "Restore"), (Proof.TAMPER, "Lid"), (Proof.LID_SHUT, "Lid shut"), (Proof.MASK, "Mask"),
    (Proof.EDGE, "At the edge"), (Proof.BEYOND, "Beyond it"), (Proof.LABEL, "Text"), (Proof.PHOTO, "Photograph"),
)  # fmt: skip
BY_HAND = (Kind.ALARM, Kind.TAMPER, Kind.FAULT, Kind.HOLD_UP)
MOST_CALLS = 12
LOOKS_AGAIN_S = 120.0


class Row(NamedTuple):
    """A device on the walk: what its zones are, the things to prove, and the acts that can be said of it."""

    name: str
    label: str
    zones: tuple[int, ...]
    cells: tuple[tuple[str, Standing], ...]
    acts: tuple[tuple[str, str], ...]
    here: bool
    done: bool
    signed: bool
    called: str


def view(page: Page) -> Mapping[str, Any]:
    """Return what the room shows."""
    proving = page.prove
    if proving is None:
        return {"trouble": "There is no proving here.", "record": None}
    try:
        found = proving.found(page.appraisal)
    except StoreError as error:
        return {"trouble": str(error), "record": None}
    asked = dict(page.query.asked)
    part = asked.get("part", "walk")
    part = part if part in dict(PARTS) else "walk"
    job, record = page.job, found.record
    return {
        "trouble": "",
        "record": record,
        "before": found.before,
        "calibration": [each.sentence for each in calibration_doubts(record)],
        "old_tool": record.tool is not None and too_old(record.tool, found.now.date()),
        "tag": proving.tag(),
        "unrecorded": len(unrecorded(job, found)) if part in ("circuits", "supplies") else 0,
        "part": part,
        "parts": PARTS,
        "big": asked.get("big") == "yes" and part == "walk",
        "progress": progress(found.standings),
        "whole": whole(progress(found.standings)),
        "now": _now(job, found),
        "open": _is_open(found),
        "clock_zone": found.now.tzinfo,
        "port": proving.port() if proving.port is not None else None,
        "hosts": addresses() if proving.port is not None else (),
        "calls": _calls(page, proving, found),
        "urgent": sum(each.urgent for each in found.board.calls),
        "units": UNITS,
        "reading": typed,
        "usual": lambda standing: usual_unit(standing.item),
        "show": _written,
        "Stand": Stand,
        "kinds": BY_HAND,
        **_part(job, found, part),
    }


def _part(job: Job, found: Found, part: str) -> dict[str, Any]:
    """Return what one part of the sheet shows; the others are a press away."""
    made: Mapping[str, Any] = {
        "walk": lambda: {"in_rooms": _rooms(job, found), "other": _others(found)},
        "circuits": lambda: {"circuits": _by_subject(found, Group.CIRCUITS)},
        "supplies": lambda: {"supplies": [*_by_subject(found, Group.SUPPLIES), *_by_subject(found, Group.SOUNDERS)]},
        "signals": lambda: {
            "signals": _signals(found),
            "difference": difference(found.board),
            "lost": not_there(found.standings, found.now.tzinfo),
            "setting": _by_subject(found, Group.SETTING),
        },
        "radio": lambda: {"radio": _radio(found), "wireless": [name for name in job.equipment if is_radio(job, name)]},
        "paths": lambda: {"paths": _paths(job, found)},
        "certificate": lambda: {"gaps": _gaps(found), "signed": [each for each in found.standings if each.signed is not None]},
        "leaving": lambda: {"gate": _gate(job, found), "shut": shut(job, found.record, found.board)},
    }
    drawn: dict[str, Any] = made[part]()
    return drawn


def whole(rows: Sequence[Progress]) -> Progress:
    """Return how far everything has got."""
    done, of, wrong, signed = (sum(getattr(row, name) for row in rows) for name in ("done", "of", "wrong", "signed"))
    return Progress(group=Group.DEVICES, done=done, of=of, wrong=wrong, signed=signed)


def _written(standing: Standing) -> dict[str, Any]:
    """Return what a reading is held against, its amounts written as the reading is, or as it usually is."""
    item = standing.item
    like = beside(item, standing.entry.reading if standing.entry is not None else "")
    target = item.target
    return {
        "forecast": [amount(each, target.unit, like) for each in (target.value, target.low, target.high)] if target is not None else [],
        "asked": [(asked(bound, like), bound.words) for bound in item.bounds],
        "before": rewritten(standing.baseline.reading, like) if standing.baseline is not None else "",
    }


def _now(job: Job, found: Found) -> dict[str, Any]:
    """Return what is being tested, what it has led to, and where the walk goes on."""
    # What is inferred nobody has said: it stands among what is called out, not as what is being done.
    acts = [each for each in found.board.acts if each.walked.sure]
    last = acts[-1] if acts else None
    by_key = found.by_key
    left = [name for name in found.due.order if any(each.gap for each in _walk_items(by_key, name))]
    after = found.due.order.index(last.walked.device) + 1 if last is not None and last.walked.device in found.due.order else 0
    rest = [name for name in found.due.order[after:] if name in left] or left
    said = last.walked if last is not None else None
    wrong = (each for each in found.board.calls if said is not None and each.urgent and said.device in each.devices)
    events = found.board.events
    return {
        "act": done_words(job, last.walked.device, last.walked.act) if last is not None else "",
        "window": last,
        "by": said.by if said is not None else "",
        "met": last.met if last is not None else None,
        "wrong": next(wrong, None),
        "next": _row(job, found, rest[0]) if rest else None,
        "event": events[-1] if events else None,
        "count": len(events),
        "zones": [job.zones[name].number for name in zones_of(job, last.walked.device)] if last is not None else [],
    }


def _is_open(found: Found) -> bool:
    """Return whether the last act may yet be answered, or called out for want of it: a page looks again by itself meanwhile."""
    last = found.board.acts[-1] if found.board.acts else None
    return last is not None and last.walked.sure and last.met is None and (found.now - last.begins).total_seconds() < LOOKS_AGAIN_S


def _calls(page: Page, proving: Proving, found: Found) -> list[tuple[Call, list[tuple[str, str, str, str]]]]:
    """Return what is called out, the urgent first, each with the wiring mistakes that may be behind it."""
    named = proving.named(page.appraisal, found)
    behind = {
        device: [(chance_words(chance), words, where, fix) for chance, words, where, fix in answers(explained)]
        for circuit, explained in named.items()
        for hop in page.job.circuits[circuit].path
        if (device := hop.device) is not None
    }
    told = []
    for call in found.board.calls[:MOST_CALLS]:
        causes = behind.get(call.devices[0], []) if call.urgent and len(call.devices) == 1 else []
        told.append((call, causes))
    return told


def _rooms(job: Job, found: Found) -> list[tuple[str, list[Row], int]]:
    """Return the devices by room, in the order of the walk, with how many are left in each."""
    names = {room: f"{each.name}, {storey.name}" for storey in job.storeys.values() for room, each in storey.rooms.items()}
    out: list[tuple[str, list[Row], int]] = []
    for device in found.due.order:
        room = names.get(job.equipment[device].room or "", "no room")
        if not out or out[-1][0] != room:
            out.append((room, [], 0))
        out[-1][1].append(_row(job, found, device))
    return [(room, rows, sum(not row.done for row in rows)) for room, rows, _ in out]


def _walk_items(by_key: Mapping[str, Standing], device: str) -> list[Standing]:
    keys = (key_of(proof, device) for proof, _ in ON_THE_WALK)
    return [by_key[key] for key in keys if key in by_key]


def _row(job: Job, found: Found, device: str) -> Row:
    by_key = found.by_key
    cells = tuple((words, by_key[key]) for proof, words in ON_THE_WALK if (key := key_of(proof, device)) in by_key)
    contacts = contacts_in_use(job, device)
    wanted = (("operate", "alarm", "Test it"), ("lid", "tamper", "Open its lid"), ("mask", "fault", "Mask it"))
    acts = tuple((act, words) for act, contact, words in wanted if contact in contacts) or (("operate", "Test it"),)
    last = found.board.acts[-1] if found.board.acts else None
    called = next((each.sentence for each in found.board.calls if each.urgent and device in each.devices), "")
    return Row(
        name=device, label=job.equipment[device].label or device, zones=tuple(job.zones[name].number for name in zones_of(job, device)),
        cells=cells, acts=acts, here=last is not None and last.walked.sure and last.walked.device == device,
        done=not any(each.gap for _, each in cells), signed=any(each.stand is Stand.SIGNED for _, each in cells), called=called,
    )  # fmt: skip


def _others(found: Found) -> list[tuple[str, list[Standing]]]:
    """Return the devices no zone reports for: keypads, readers, the boxes."""
    walked = set(found.due.order)
    out: dict[str, list[Standing]] = {}
    for each in found.standings:
        if each.item.group is Group.DEVICES and each.item.subject.partition("/")[2] not in walked:
            out.setdefault(each.item.where, []).append(each)
    return list(out.items())


def _by_subject(found: Found, group: Group) -> list[tuple[str, list[Standing], int]]:
    """Return what must be proved of a group, by what it is of, with how many are left of each."""
    out: dict[str, list[Standing]] = {}
    for each in found.standings:
        if each.item.group is group:
            out.setdefault(each.item.where, []).append(each)
    return [(where, rows, sum(row.gap for row in rows)) for where, rows in out.items()]


def _signals(found: Found) -> list[dict[str, Any]]:
    rows = {each.key: each for each in found.board.expected}
    return [
        {
            "standing": each,
            "event": rows[each.item.key],
            "here": at_laptop(each),
            "tapped": each.event is not None and at_laptop(each) is None,
        }
        for each in found.standings
        if each.item.proof is Proof.SIGNAL
    ]


def _radio(found: Found) -> list[tuple[Any, bool, str, bool]]:
    before = {row.identity: row for row in found.before.radio_rows} if found.before is not None else {}
    rows = found.record.radio_rows
    return [(row, *_margin(row, before.get(row.identity)), proved(row, before.get(row.identity))) for row in rows]


def _margin(row: Any, before: Any) -> tuple[bool, str]:  # noqa: ANN401 - rows of the record
    right, words = margin_words(row, before)
    return right is False, words


def _paths(job: Job, found: Found) -> list[dict[str, Any]]:
    by_key, sheets = found.by_key, found.record.setup_of
    out = []
    for name, path in job.signalling.paths.items():
        said = dict(sheets[name].said) if name in sheets else {}
        row: dict[str, Any] = {"name": name, "kind": path.kind, "category": path.category, "sheet": sheets.get(name)}
        row["fields"] = [(field, said.get(field.name, "")) for field in fields_of(path.kind)]
        row |= {"doubts": doubts(path.kind, said), "standing": by_key.get(key_of(Proof.PATH, name))}
        out.append(row)
    return out


def _gaps(found: Found) -> list[tuple[str, list[Standing]]]:
    out: dict[str, list[Standing]] = {}
    for each in gaps(found.standings):
        out.setdefault(each.item.group, []).append(each)
    return list(out.items())


def _gate(job: Job, found: Found) -> list[tuple[Any, Any]]:
    said = found.record.standing
    return [(gate, said.get(gate.key)) for gate in leaving(job)]
