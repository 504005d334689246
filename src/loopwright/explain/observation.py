"""The observation file: what was measured, seen and answered, written by hand, and what of it can be used.

Each entry is read by itself: a slip in one costs that one, with a plain sentence, and the rest is used. ``docs/observations.md`` shows how
it is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any

from loopwright.explain.check import Check, CheckKind
from loopwright.explain.circuit.check import STATES
from loopwright.explain.meter import Instrument, Shown
from loopwright.explain.terminal import check_of, circuit_of
from loopwright.explain.unclear import Unclear
from loopwright.explain.weigh.likelihood import Seen
from loopwright.explain.whole.part import told as asked_at
from loopwright.explain.whole.place import place_of_look
from loopwright.explain.whole.told import TIMES, told_of
from loopwright.explain.whole.word import words
from loopwright.explain.written import Unreadable, shown_of
from loopwright.job.document import Job
from loopwright.job.field import Percent, Quantity, Text, may, need
from loopwright.job.read import step_of
from loopwright.job.reading import BAD, Run
from loopwright.job.shape import record_shape
from loopwright.job.tree import LIST, MAP, Node, compose
from loopwright.values.error import Problem

KEYS = ("format", "note", "meter", "readings")
NOT_AT_REST = "not at rest"
LIT = "lit"
"""What is seen of a device without a meter: whether anything on it is lit."""
LIT_SHARE = 0.5
"""A keypad's lamps light from about half the least volts it works at (judgement)."""
MOST_SHARE = 1.5
"""No supply of a device gives more than so many times its nominal volts, either way round (judgement)."""
ALARMS = "alarms"
"""The word that a zone has given alarms."""
ANSWERS = {"yes": ("yes",), "no": ("no",), "true": ("yes",), "false": ("no",)}


@dataclass(frozen=True, kw_only=True, slots=True)
class Meter:
    """The meter used, as its paper says."""

    name: Text = may("What it is called.", "")
    accuracy_pct: Percent = may("Accuracy, per cent of the reading.", 0.8)
    digits: Annotated[float, Quantity("", 0.0, 100.0)] = may("Accuracy, digits of the last place.", 3.0)
    counts: Annotated[float, Quantity("", 100.0, 1e7)] = may("Where its ranges end.", 6000.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Noted:
    """One thing seen: where, in which state, and what was read, shown or answered."""

    where: Text = need("A circuit, a zone, an input, a device, an output, or a supply.")
    at: Text = may("Where there: terminals, cores, contact or capacitance of a circuit; battery, leads, fuse or secondary of a supply.", "")
    state: Text = may("What was done, or the state of the system.", "")
    reading: Text = may("What the meter showed, with its unit.", "")
    shows: Text = may("What the keypad shows.", "")
    look: Text = may("The id of the fault whose look was done.", "")
    told: Text = may("The word of what a log, the centre or a caller tells.", "")
    answer: Text = may("What the look showed, or what was told: yes or no, or one of the word's own answers.", "")
    when: Text = may("When.", "")


@dataclass(frozen=True, kw_only=True, slots=True)
class Contradiction:
    """Two entries of the same check that cannot both be so. Both are used, neither is averaged: one may be a mistake, or the fault comes
    and goes."""

    first: Seen
    second: Seen


@dataclass(frozen=True, kw_only=True, slots=True)
class Observations:
    """What was seen and can be used, the entries that cannot with their reasons, and contradictions."""

    seen: tuple[Seen, ...]
    problems: tuple[Problem, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    meter: Instrument = Instrument()


def read_observations(job: Job, source: bytes | str) -> Observations:
    """Return the observations in a text about ``job``. Raises JobError only when the text is no YAML mapping at all."""
    root = compose(source)[1]
    run = Run()
    meter, entries = Instrument(), list[Node]()
    for key, node in root.value:
        name = key.value if key.kind == 0 else ""
        if name not in KEYS:
            run.refuse(key, str(name), f"The key {name} is not known here.", ", ".join(KEYS))
        elif name == "format" and str(node.value).strip() != "1":
            run.refuse(node, "format", "What was seen is read in format 1; this file is read as if it were.", "format: 1")
        elif name == "meter":
            made = step_of(record_shape(Meter))(node, "meter", run)
            meter = (
                meter if made is BAD else Instrument(name=made.name, accuracy_pct=made.accuracy_pct, digits=made.digits, counts=made.counts)
            )
        elif name == "readings" and node.kind != LIST and not node.null:
            run.refuse(node, "readings", "The readings must be a list, one entry a reading.")
        elif name == "readings" and not node.null:
            entries = node.value
    seen = [found for number, node in enumerate(entries) if (found := _entry(job, node, number, meter, run)) is not None]
    kept, contradictions = settle(seen)
    return Observations(seen=kept, problems=tuple(run.problems()), contradictions=contradictions, meter=meter)


def _entry(job: Job, node: Node, number: int, meter: Instrument, run: Run) -> Seen | None:
    path = f"readings/{number}"
    if node.kind != MAP:
        run.refuse(node, path, "A reading must be a mapping.", "{where: c05, state: rest, reading: 2.72 kΩ}")
        return None
    made: Any = step_of(record_shape(Noted))(node, path, run)
    if made is BAD:
        return None
    try:
        return replace(seen_of(job, made, meter), number=number)
    except (Unclear, Unreadable) as error:
        run.refuse(node, path, f"{error} This reading is left out; the rest is used.")
        return None


def seen_of(job: Job, noted: Noted, meter: Instrument) -> Seen:
    """Return one entry tied to its check. Raises Unclear or Unreadable with a sentence."""
    given = [word for word in ("reading", "shows", "look", "told") if getattr(noted, word)]
    if len(given) != 1:
        raise Unclear("An entry has one of: reading (a meter), shows (the keypad), look or told with answer.")
    if noted.look:
        return _look(job, noted)
    if noted.told:
        return told_of(job, noted.where, noted.told, noted.answer)
    if noted.shows and noted.at.lower().strip() == LIT:
        return _lit(job, noted, meter)
    if noted.shows:
        check = check_of(job, noted.where, noted.at, noted.state, "")
        told = _told(noted.shows, check)
        return Seen(check=check, told=_of_second(told) if _is_second(job, noted.where) else told, text=noted.shows, meter=meter)
    shown = shown_of(noted.reading, meter)
    if shown.over_range and noted.at.lower().strip() == "capacitance":
        shown = replace(shown, unit="nF")
    check = check_of(job, noted.where, noted.at, noted.state, shown.unit)
    return Seen(check=check, shown=shown, text=noted.reading, meter=meter)


def _look(job: Job, noted: Noted) -> Seen:
    answer = ANSWERS.get(noted.answer.lower())
    if answer is None:
        raise Unclear(f"'{noted.answer}' is no answer to a look. Accepted: yes or no.")
    circuit = circuit_of(job, noted.where)
    part = f"circuits/{circuit}" if circuit else f"outputs/{noted.where}" if "." in noted.where else noted.where
    fault = noted.look.upper()
    place = place_of_look(job, fault, noted.at)
    return Seen(check=Check(kind=CheckKind.LOOK, where=part, fault=fault, place=place), told=answer, text=noted.answer.lower())


def _lit(job: Job, noted: Noted, meter: Instrument) -> Seen:
    """Return whether a device is lit as what it says of the volts it gets: a dark one gets too few, or has them the wrong way round."""
    told = ANSWERS.get(noted.shows.lower().strip())
    owner, _, terminal = noted.where.partition(".")
    loads = job.sheet_of(owner).loads if owner in job.equipment and job.sheet_of(owner).supply is None else {}
    if told is None or not loads or terminal not in ("", *loads):
        raise Unclear(f"'{noted.where}' lit is a yes or a no, of a device that something feeds, such as a keypad.")
    draw = loads[terminal or next(iter(loads))]
    lights_v, most_v = LIT_SHARE * draw.min_v, MOST_SHARE * draw.nominal_v
    low, high = (lights_v, most_v) if told == ("yes",) else (-most_v, lights_v)
    shown = Shown(value=(low + high) / 2, half=(high - low) / 2, unit="V", rough=True)
    check = check_of(job, noted.where, "", noted.state, "V")
    return Seen(check=check, shown=shown, text="lit" if told == ("yes",) else "dark", meter=meter)


def _told(shows: str, check: Check) -> tuple[str, ...]:
    words = shows.lower().strip()
    if check.kind in (CheckKind.TROUBLE, CheckKind.TOLD):
        if words not in ANSWERS:
            raise Unclear(f"'{shows}' does not say whether the trouble is shown. Accepted: yes or no.")
        return ANSWERS[words]
    if words == NOT_AT_REST:
        return STATES[1:]
    if words not in STATES:
        raise Unclear(f"'{shows}' is not what a keypad shows for a circuit here. Accepted: {', '.join(STATES)}, {NOT_AT_REST}.")
    return (words,)


def _is_second(job: Job, where: str) -> bool:
    """Return whether a zone is named that is the second of two on one pair."""
    return where in job.zones and job.zones[where].part == "b"


def _of_second(told: tuple[str, ...]) -> tuple[str, ...]:
    """Return what is told of the second zone in the words of the pair: its being active is what the pair calls a fault."""
    swap = {"active": ("fault",), "rest": ("rest", "active")}
    return tuple(dict.fromkeys(word for each in told for word in swap.get(each, (each,))))


def settle(seen: Sequence[Seen]) -> tuple[tuple[Seen, ...], tuple[Contradiction, ...]]:
    """Return the readings with repeats taken once (the finer one), and the pairs that contradict each other.

    Who tells when alarms come tells that there were some.
    """
    seen = [*seen, *_implied(seen)]
    kept: list[Seen] = []
    found: list[Contradiction] = []
    for reading in seen:
        same = next((number for number, other in enumerate(kept) if other.check == reading.check), None)
        if same is None:
            kept.append(reading)
        elif agree(kept[same], reading):
            kept[same] = _finer(kept[same], reading)
        else:
            found.append(Contradiction(first=kept[same], second=reading))
            kept.append(reading)
    return tuple(kept), tuple(found)


def _implied(seen: Sequence[Seen]) -> list[Seen]:
    """Return that a zone has given alarms, where only their times were told."""
    told = {(reading.check.scenario, reading.check.place) for reading in seen if reading.check.kind is CheckKind.TOLD}
    times = [reading.check for reading in seen if reading.check.kind is CheckKind.TOLD and reading.check.scenario == TIMES]
    return [
        Seen(check=asked_at(words()[ALARMS], check.place), told=("yes",), text="yes, as times were told")
        for check in times
        if (ALARMS, check.place) not in told
    ]


def agree(one: Seen, other: Seen) -> bool:
    """Return whether two readings of one check can both be so, with the errors of their meters."""
    if one.shown is None or other.shown is None:
        return bool(set(one.told) & set(other.told))
    if one.shown.over_range or other.shown.over_range:
        return one.shown.over_range and other.shown.over_range
    room = one.shown.half + other.shown.half
    for each in (one, other):
        assert each.shown is not None
        room += 2 * float(each.meter.spread(each.shown.value, each.shown.unit))  # type: ignore[arg-type]
    return abs(one.shown.value - other.shown.value) <= room


def _finer(one: Seen, other: Seen) -> Seen:
    if one.shown is None or other.shown is None:
        return one if len(one.told) <= len(other.told) else other
    return one if one.shown.half <= other.shown.half else other
