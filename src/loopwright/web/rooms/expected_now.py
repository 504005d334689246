"""What should show now: the steps that are done, the troubles in the order in which they are best cleared, and what the keypad shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any, NamedTuple

from loopwright.appraisal.expected import expected
from loopwright.explain.caution import in_full
from loopwright.explain.expected.expect import Expectation, Shown, compare
from loopwright.explain.expected.situation import ORDER, Situation, Step
from loopwright.explain.expected.trouble import Lore, Trouble, TroubleKind, lore
from loopwright.job.document import Job
from loopwright.job.labels import row_words
from loopwright.job.sheet import Kind
from loopwright.power.forecast import label_of
from loopwright.store.visit import Visit
from loopwright.values.duration import duration_words
from loopwright.web.page import Page
from loopwright.web.site_reading import entry_for

UNCERTAIN = "may or may not show"


class StepRow(NamedTuple):
    """A step: whether it is done as a rule, whether somebody said so here, the places where it is otherwise, and all its places."""

    step: str
    done: bool
    said: bool
    otherwise: list[tuple[str, str]]
    places: list[tuple[str, str]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One trouble that should show, whether it does, and when it goes by itself: from a moment on, and at the latest how long from now."""

    trouble: Trouble
    shown: bool
    until: str
    wait: str
    latest: str


class Group(NamedTuple):
    """Troubles of one kind that one step clears, what is known of them, what to mind."""

    step: str
    kind: str
    lore: Lore
    cautions: tuple[str, ...]
    normal: bool
    rows: list[Row]


def view(page: Page, visit: Visit, situation: Situation, now: datetime) -> dict[str, Any]:
    """Return what the first part of the room shows."""
    job = page.job
    found = expected(page.appraisal, situation)
    shown = {(kind, place) for kind, place in visit.shown}
    groups = []
    for (step, kind), members in groupby(found.troubles, key=lambda each: (each.step, each.kind)):
        each = list(members)
        rows = [_row(trouble, (str(trouble.kind), trouble.place) in shown, visit, now) for trouble in each]
        known = lore()[kind]
        groups.append(Group(step or "", str(kind), known, in_full(known.caution), all(one.normal for one in each), rows))
    return {
        "steps": [_step_row(job, step, situation, visit) for step in ORDER],
        "groups": groups,
        "next_step": found.next_step,
        "count": len(found.troubles),
        "split": _split(job, found, visit),
        "kinds": [str(kind) for kind in TroubleKind],
        "places": places(job),
        "batteries": [
            (name, label_of(job, name), _charge(visit, name)) for name, item in job.equipment.items() if item.battery is not None
        ],
        "mains_min": _minutes(visit, now),
        "mains_since": f"{datetime.fromisoformat(visit.mains_at):%H:%M}" if visit.mains_at else "",
    }


def _row(trouble: Trouble, shown: bool, visit: Visit, now: datetime) -> Row:  # noqa: FBT001
    if trouble.wait_s is None:
        return Row(trouble=trouble, shown=shown, until="", wait="", latest="")
    charged = next((each for each in visit.charge if f"equipment/{each.supply}" == trouble.place), None)
    # A state of charge was told at a moment of its own; what warms up is counted from now.
    since = datetime.fromisoformat(charged.at) if charged is not None and trouble.kind is TroubleKind.BATTERY_LOW else now
    left = [max(seconds - (now - since).total_seconds(), 0.0) for seconds in trouble.wait_s]
    until = now + timedelta(seconds=left[0])
    latest = duration_words(left[1]) if left[1] > left[0] + 1 else ""
    return Row(trouble=trouble, shown=shown, until=until.isoformat(timespec="seconds"), wait=duration_words(left[0]), latest=latest)


def _split(job: Job, found: Expectation, visit: Visit) -> dict[str, Any] | None:
    """Return what shows against what should; None before anybody has looked."""
    if not visit.looked:
        return None
    kinds = set(TroubleKind)
    parts = compare(found, [Shown(kind=TroubleKind(kind), place=place) for kind, place in visit.shown if kind in kinds])
    stale = {(each.kind, each.place) for each, _ in parts.stale}

    def told(each: Shown) -> dict[str, Any]:
        known = lore()[each.kind]
        place = _place_words(job, each.place)
        why = entry_for(job, str(each.kind), each.place) is not None
        return {"kind": str(each.kind), "path": each.place, "place": place, "lore": known, "cautions": in_full(known.caution), "why": why}

    return {
        "expected": parts.expected,
        "unexpected": [told(each) for each in parts.unexpected if (each.kind, each.place) not in stale],
        "stale": [told(each) for each, _ in parts.stale],
        "missing": parts.missing,
    }


def _place_words(job: Job, path: str) -> str:
    """Return what people call a place of the document."""
    part, _, name = path.partition("/")
    if part == "equipment" and name in job.equipment:
        return label_of(job, name)
    if part == "circuits":
        zones = [f"zone {zone.number} ({zone.text})" for zone in job.zones.values() if zone.circuit == name]
        return " and ".join(zones) or f"circuit {name}"
    return (row_words(job, path) or path) if path else "no place named"


def _charge(visit: Visit, supply: str) -> str:
    found = next((each for each in visit.charge if each.supply == supply), None)
    return "" if found is None else f"{found.charge * 100:g}"


def _minutes(visit: Visit, now: datetime) -> str:
    return "" if not visit.mains_at else f"{(now - datetime.fromisoformat(visit.mains_at)).total_seconds() / 60:.0f}"


def _step_row(job: Job, step: Step, situation: Situation, visit: Visit) -> StepRow:
    names = dict(step_places(job, step))
    done = situation.done(step)
    otherwise = [
        (place, names.get(place, place)) for (one, place), is_done in situation.said.items() if one is step and place and is_done != done
    ]
    said = any(each.step == step for each in visit.said)
    return StepRow(str(step), done, said, otherwise, list(names.items()))


def step_places(job: Job, step: Step) -> Iterator[tuple[str, str]]:
    """Yield the places a step can be done at, one by one, with what people call them; none for a step of the whole."""
    sheets = {name: job.sheet_of(name) for name in job.equipment}
    circuits = {name: f"circuit {name}" for name in job.circuits}
    match step:
        case Step.MAINS | Step.EARTH | Step.BATTERY:
            chosen = [name for name, sheet in sheets.items() if sheet.supply is not None]
        case Step.BUS:
            chosen = [name for name, sheet in sheets.items() if sheet.addressed]
        case Step.LIDS:
            chosen = [name for name, sheet in sheets.items() if "tamper" in sheet.contacts or sheet.kind is Kind.CONTROL]
        case Step.CLOCK | Step.CODES | Step.MEMORY | Step.LEFT_SERVICE:
            chosen = [name for name, sheet in sheets.items() if sheet.kind is Kind.CONTROL]
        case Step.WIRED:
            yield from circuits.items()
            chosen = [name for name, sheet in sheets.items() if sheet.addressed]
        case Step.INPUTS:
            yield from circuits.items()
            chosen = [name for name, sheet in sheets.items() if sheet.inputs is not None]
        case Step.OUTPUTS:
            watched = [(name, out) for name, sheet in sheets.items() for out, spec in sheet.outputs.items() if spec.supervision is not None]
            yield from ((f"{name}.{out}", f"{label_of(job, name)}, {out}") for name, out in watched)
            chosen = [name for name, sheet in sheets.items() if sheet.self_powered]
        case Step.PATHS:
            yield from ((name, f"path {name}") for name in job.signalling.paths)
            chosen = []
        case _:
            chosen = []
    yield from ((name, label_of(job, name)) for name in chosen)


def places(job: Job) -> list[tuple[str, str]]:
    """Return every place a reading or a trouble can be told of, with what people call it."""
    zones = {zone.circuit: zone.text for zone in job.zones.values() if zone.circuit is not None}
    found = [(name, zones.get(name, f"circuit {name}")) for name in job.circuits]
    for name in job.equipment:
        found.append((name, label_of(job, name)))
        found += [(f"{name}.{output}", f"{label_of(job, name)}, {output}") for output in job.sheet_of(name).outputs]
    return found
