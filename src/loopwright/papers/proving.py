"""The proving record and the event table: what was proved, by whom, when and with what; and what a receiving centre is given."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from itertools import chain

from loopwright.job.document import Job, UnitSystem
from loopwright.papers.press import pressed
from loopwright.papers.words import moment, plain
from loopwright.prove.alike import amount, asked, beside, rewritten
from loopwright.prove.calibration import calibration_doubts
from loopwright.prove.call import Call
from loopwright.prove.found import Found
from loopwright.prove.heard import BY_HAND
from loopwright.prove.item import Group, Item
from loopwright.prove.record import RadioRow, Record, Tool
from loopwright.prove.set_up import doubts, fields_of
from loopwright.prove.standing import Stand, Standing, at_laptop, gaps, leaving, progress
from loopwright.prove.table import difference, event_table
from loopwright.rules.ruleset import ruleset_of

RECORD, TABLE = "Proving record", "Event table"
CAUTIONS = (
    "While a system is on test no help comes to a real alarm: people on the premises are told face to face, the centre before and after.",
    "Sounders harm hearing at arm's length; ladders are footed; behind the mains cover a licensed person alone works; no battery lug is "
    "bridged.",
    "Hold-up devices are operated only as agreed with the receiving centre beforehand.",
    "Fire, gas, carbon-monoxide and medical devices are proved by those licensed for them: nothing here is said of them.",
)
LAPTOP = (
    "The column of the laptop tells what the unit reported to the technician's own receiver: it proves unit and wiring. It is no proof "
    "that the receiving centre receives. That is told by the centre's column alone, with the centre's own times."
)


def proving_record(found: Found, *, revision: str, now: datetime) -> bytes:
    """Return the record as a PDF; the same contents and moment give the same bytes. Raises ValueError when ``now`` carries no zone."""
    if now.tzinfo is None:
        raise ValueError("the moment on a record needs its zone")
    pictures = {f"{digest}.jpg": jpeg for digest, jpeg in found.photos.items()}
    return pressed("proving.typ", record_contents(found, revision=revision, now=now), now=now, pictures=pictures)


def event_table_paper(found: Found, *, revision: str, now: datetime) -> bytes:
    """Return the event table as a PDF. Raises ValueError when ``now`` carries no zone."""
    if now.tzinfo is None:
        raise ValueError("the moment on a table needs its zone")
    job = found.due.job
    # Before anything has arrived everything would be missing, which the table says itself.
    missing, odd = difference(found.board) if found.board.events else ((), ())
    contents = _head(job, TABLE, revision, now) | {
        "centre": _centre(job),
        "rows": [[plain(cell) for cell in row] for row in event_table(found)],
        "missing": [plain(each) for each in missing],
        "odd": [plain(each) for each in odd],
        "laptop": LAPTOP,
    }
    return pressed("event-table.typ", contents, now=now)


PROVING_PAPERS: dict[str, Callable[..., bytes]] = {"proving-record": proving_record, "event-table": event_table_paper}
"""The papers of a proving by the name they are asked for."""


def record_contents(found: Found, *, revision: str, now: datetime) -> dict[str, object]:
    """Return everything the record says, as the template reads it."""
    job, record, before, stand = found.due.job, found.record, found.before, found.standings
    signed = [each for each in stand if each.signed is not None]
    left = gaps(stand)
    issued = record.issued
    who = _Who(found, now)
    return _head(job, RECORD, revision, now) | {
        "cover": _cover(job, record, who),
        "issued": f"Issued {who.and_when('', issued.at)} by {issued.by}" if issued is not None else "",
        "open": len(left),
        "cautions": list(CAUTIONS),
        "progress": [[each.group, str(each.proved), str(each.signed), str(each.of), str(each.wrong)] for each in progress(stand)],
        "instruments": [_instrument(tool) for tool in record.tools],
        "calibration": [plain(each.sentence) for each in calibration_doubts(record)],
        "groups": [
            _group(stand, group, who) for group in Group if group is not Group.SIGNALS and any(s.item.group is group for s in stand)
        ],
        "compared": any(each.baseline is not None and each.baseline.reading for each in stand),
        "signals": [_signal(each, who) for each in stand if each.item.group is Group.SIGNALS],
        "laptop": LAPTOP,
        "told_to": _told_to(record, who),
        "radio": [_radio(row) for row in record.radio_rows],
        "paths": _paths(job, record),
        "gaps": _gaps(left),
        "signed": _signed(signed, who),
        "signed_for": len(signed),
        "calls": [[plain(each.sentence), _standing_of(each)] for each in found.board.calls],
        "photos": _photos(found, who),
        "gate": _gate(job, record, who),
        "closed": who.and_when("", record.closed_at) if record.closed_at else "",
        "before": f"Baseline: the proving begun {who.and_when('', before.begun_at)} by {before.by}."
        if before is not None and before.begun_at
        else "",
    }


class _Who:
    """Who did what, and when, told in the zone of the paper."""

    def __init__(self, found: Found, now: datetime) -> None:
        self.zone = now.tzinfo
        self._tapped = {tap.id: tap.by for tap in found.record.taps}
        # What a unit reported was brought about by whoever said they were at that device.
        self._at = {each.walked.device: each.walked.by for each in found.board.acts if each.walked.sure}

    def when(self, text: str) -> str:
        return f"{datetime.fromisoformat(text).astimezone(self.zone):%Y-%m-%d %H:%M}"

    def and_when(self, by: str, at: str) -> str:
        return ", ".join(filter(None, (by, self.when(at))))

    def of(self, each: Standing) -> str:
        if each.signed is not None:
            return self.and_when(each.signed.by, each.signed.at)
        if each.entry is not None:
            return self.and_when(each.entry.by, each.entry.at)
        if each.event is None:
            return ""
        by = self._tapped.get(each.event.n) or self._at.get(each.item.subject.partition("/")[2], "")
        return self.and_when(by, each.event.at.isoformat())


def _instrument(tool: Tool) -> list[str]:
    """Return an instrument with what its paper says of its accuracy; what it does not say is taken as of a usual one."""
    told = [
        f"{tool.accuracy_pct:g} %" if tool.accuracy_pct is not None else "",
        f"{tool.digits:g} digits" if tool.digits is not None else "",
    ]
    return [plain(tool.name), plain(tool.serial), plain(tool.calibrated_on), " + ".join(filter(None, told)) or "not said"]


def _told_to(record: Record, who: _Who) -> str:
    """Return to whom the receiving centre told what, and on which days."""
    days = dict.fromkeys(f"{each.by}, {who.when(each.at)[:10]}" for each in record.told_by_centre.values())
    return f"The centre's column was told to {'; '.join(map(plain, days))}." if days else ""


def _standing_of(call: Call) -> str:
    return "settled" if call.over else "stands" if call.sure else "inferred"


def _gaps(left: Sequence[Standing]) -> list[list[str]]:
    """Return what is open, a row for each place; what is not as it should be says so."""
    rows: dict[tuple[str, str], list[str]] = {}
    for each in left:
        wrong = " (not as it should be)" if each.stand is Stand.WRONG else ""
        rows.setdefault((each.item.group, each.item.where), []).append(f"{each.item.short}{wrong}")
    return [[group, plain(where), plain("; ".join(what))] for (group, where), what in rows.items()]


def _head(job: Job, kind: str, revision: str, now: datetime) -> dict[str, object]:
    return {
        "kind": kind,
        "title": plain(job.title),
        "paper": "us-letter" if job.region.units is UnitSystem.US else "a4",
        "revision": plain(revision),
        "printed": moment(now),
    }


def _centre(job: Job) -> str:
    party = job.parties.get(job.signalling.centre or "")
    return plain(party.name) if party is not None else ""


def _cover(job: Job, record: Record, who: _Who) -> list[list[str]]:
    said = ((each.by for each in rows) for rows in (record.entries, record.walked, record.taps, record.centre))
    names = dict.fromkeys(filter(None, chain.from_iterable(said)))
    rules = ruleset_of(job)
    rows = [
        ("Premises", job.premises.name), ("Address", job.premises.address.strip()), ("Receiving centre", _centre(job)),
        ("Rules", f"{rules.title}, {rules.edition}"),
        ("Begun", f"{who.when(record.begun_at)} by {record.by}" if record.begun_at else "not begun"),
        ("Proved by", ", ".join(names)),
        ("Closed", who.when(record.closed_at) if record.closed_at else "not closed"),
    ]  # fmt: skip
    return [[name, plain(words)] for name, words in rows if words]


def _group(found: Sequence[Standing], group: Group, who: _Who) -> dict[str, object]:
    parts: dict[str, list[Standing]] = {}
    for each in found:
        # What was never done and is not wanted leaves no empty line.
        if each.item.group is group and (each.item.wanted or each.entry is not None):
            parts.setdefault(each.item.where, []).append(each)
    return {
        "name": str(group),
        "read": any(each.item.unit for rows in parts.values() for each in rows),
        "parts": [{"where": plain(where), "rows": [_line(each, who) for each in rows]} for where, rows in parts.items()],
    }


def _line(each: Standing, who: _Who) -> dict[str, object]:
    entry, event = each.entry, each.event
    shown = (entry.reading or entry.answer) if entry is not None else ""
    like = beside(each.item, entry.reading if entry is not None else "")
    if not shown and event is not None:
        shown = f"{'reported' if event.by != BY_HAND else 'keypad'} {event.at.astimezone(who.zone):%H:%M:%S}"
    return {
        "act": plain(each.item.act),
        "expected": _expected(each.item, like),
        "found": plain(shown),
        "told": plain(each.judged.sentence) if each.judged is not None else "",
        "stand": str(each.stand),
        "wrong": each.stand in (Stand.WRONG, Stand.OPEN),
        "by": plain(who.of(each)),
        "tool": plain(each.tool.serial) if each.tool is not None else "",
        "before": plain(rewritten(each.baseline.reading, like)) if each.baseline is not None and each.baseline.reading else "",
    }


def _expected(item: Item, like: str) -> str:
    """Return what should be found, its amounts written like the reading beside them."""
    target = item.target
    rules = [plain(asked(bound, like)) for bound in item.bounds]
    if target is None:
        return "; ".join(rules) if item.unit else item.right
    low, high = (amount(end, target.unit, like) for end in (target.low, target.high))
    return "; ".join(("OL" if target.value > 1e300 else low if low == high else f"{low} to {high}", *rules))


def _signal(each: Standing, who: _Who) -> dict[str, object]:
    here, told = at_laptop(each), each.centre
    centre = "" if told is None else f"{told.time} {told.operator}".strip() if told.answer == "yes" else "did not arrive"
    laptop = f"{here.at.astimezone(who.zone):%Y-%m-%d %H:%M:%S}, {here.code}" if here is not None else ""
    wrong = each.stand in (Stand.WRONG, Stand.OPEN)
    what = plain(f"{each.item.where}: {each.item.act}")
    return {"what": what, "laptop": laptop, "centre": plain(centre), "stand": str(each.stand), "wrong": wrong}


def _signed(found: Sequence[Standing], who: _Who) -> list[list[str]]:
    """Return every gap that is signed for by name: a row for what one person signed of one place with one reason."""
    rows: dict[tuple[str, str, str], list[str]] = {}
    for each in found:
        if each.signed is not None:
            rows.setdefault((each.item.where, each.signed.reason, who.of(each)), []).append(each.item.short)
    return [[plain(where), plain("; ".join(what)), plain(reason), plain(by)] for (where, reason, by), what in rows.items()]


def _radio(row: RadioRow) -> list[str]:
    margin = "" if row.margin_db is None else f"{row.margin_db:g} dB"
    told = "lost, removed from the unit" if row.gone else row.checked_in or "not seen"
    return [plain(row.identity), plain(f"{row.what}{f', {row.holder}' if row.holder else ''}"), margin, plain(told)]


def _photos(found: Found, who: _Who) -> list[dict[str, str]]:
    """Return the photographs there are, each with what it is of, who took it and when; the words stand for it where it is not seen."""
    out = []
    for each in found.standings:
        entry = each.entry
        if entry is not None and entry.photo in found.photos:
            of = plain(each.item.where)
            row = {"file": f"/{entry.photo}.jpg", "of": of, "by": plain(who.of(each))}
            out.append(row | {"words": f"Photograph of {of} as fitted"})
    return out


def _paths(job: Job, record: Record) -> list[dict[str, object]]:
    out: list[dict[str, object]] = []
    for name, sheet in record.setup_of.items():
        path = job.signalling.paths.get(name)
        if path is not None:
            said = dict(sheet.said)
            rows = [[f.words, plain(f"{said[f.name]} {f.unit}".strip())] for f in fields_of(path.kind) if said.get(f.name)]
            told = [plain(each) for each in doubts(path.kind, said)]
            if rows or told:
                out.append({"name": plain(f"{name}, {path.kind}"), "rows": rows, "doubts": told})
    return out


def _gate(job: Job, record: Record, who: _Who) -> list[list[str]]:
    said = record.standing
    out = []
    for gate in leaving(job):
        entry = said.get(gate.key)
        told = "not said" if entry is None else ("so" if entry.answer == "yes" else "NOT SO")
        out.append([plain(gate.words), told, plain(entry.note) if entry else "", plain(who.and_when(entry.by, entry.at)) if entry else ""])
    return out
