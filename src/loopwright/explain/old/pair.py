"""Old pairs of an unknown system: which resistors, standing how, explain what a meter reads on them.

Every reading is an interval (the meter's accuracy), every resistor a preferred number with a tolerance, the cable a few ohms that a
reading with the pair shorted at the device tells. What was not read is taken as a default and said to be one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from loopwright.circuits.preferred import Series, is_preferred, series_values
from loopwright.job.sheet import ResistorSet, Topology

ACCURACY, DIGITS_OHM = 0.008, 3.0
"""A common meter: 0.8 per cent of the reading, and three ohms for the last digits (common practice, no source)."""
TOLERANCE = 0.05
"""What an old resistor may be off: 5 per cent, where nobody read its last ring (common practice, no source)."""
LONGEST_LOOP_OHM = 60.0
"""Cable that is assumed at most where the pair was not shorted at the device: some 300 m of thin pair."""
LEAST_RESISTOR_OHM = 100.0
"""No end-of-line resistor is smaller: below, it is cable and contacts."""


class PairState(StrEnum):
    """What was done to the device when the pair was read, both wires out of the terminals."""

    REST = "rest"
    ACTIVE = "operated"
    LID_OPEN = "lid open"
    FAULT = "fault shown"
    SHORTED = "shorted at the device"


@dataclass(frozen=True, kw_only=True, slots=True)
class OldPair:
    """One old pair: its name, and the ohms read in the states that were tried; infinite is over range.

    Raises ValueError for a negative reading, or when it was not read at rest.
    """

    name: str
    ohm: Mapping[PairState, float]

    def __post_init__(self) -> None:
        """Refuse what no meter shows, and a pair of which the first reading is missing."""
        if PairState.REST not in self.ohm:
            raise ValueError(f"{self.name}: read the pair at rest first, both wires out of the terminals.")
        for state, ohm in self.ohm.items():
            if math.isnan(ohm) or ohm < 0:
                raise ValueError(f"{self.name}, {state}: {ohm:g} Ω is no reading. A negative one means volts on the pair; find them first.")


class Span(NamedTuple):
    """What a reading leaves open: from, to [Ω]."""

    low: float
    high: float

    def meets(self, low: float, high: float) -> bool:
        """Return whether it has something in common with another span."""
        return self.low <= high and low <= self.high


@dataclass(frozen=True, kw_only=True, slots=True)
class Guess:
    """One way the pair may be wired: the kind of circuit, its resistors, what is odd about it and what was assumed.

    ``miss`` is how far the readings are from the values as printed, in tolerances, a rarer value counting as further off.
    """

    topology: Topology
    resistors: ResistorSet
    miss: float
    odd: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()


def span_of(ohm: float) -> Span:
    """Return the span of a reading: the meter's accuracy to either side; over range stays over range."""
    off = ACCURACY * ohm + DIGITS_OHM
    return Span(max(ohm - off, 0.0), ohm + off) if math.isfinite(ohm) else Span(math.inf, math.inf)


def guesses(pair: OldPair) -> tuple[Guess, ...]:
    """Return every way of wiring that explains all readings of a pair, the likeliest first; none when nothing does."""
    found = [guess for way in (_bare, _with_end) for guess in way(pair)]
    return tuple(sorted(found, key=lambda guess: (guess.miss + len(guess.odd), guess.topology, guess.resistors.end_ohm or 0.0)))


def _cable(pair: OldPair) -> tuple[Span, tuple[str, ...]]:
    """Return the loop ohms of the cable, and what had to be assumed for it."""
    shorted = pair.ohm.get(PairState.SHORTED)
    if shorted is not None and shorted <= LONGEST_LOOP_OHM:
        return span_of(shorted), ()
    return Span(0.0, LONGEST_LOOP_OHM), (f"cable of up to {LONGEST_LOOP_OHM:g} Ω: the pair was not shorted at the device",)


def _bare(pair: OldPair) -> Iterator[Guess]:
    """Yield the pair without resistors: closed at rest and open when something happens, or the other way round."""
    rest, active = pair.ohm[PairState.REST], pair.ohm.get(PairState.ACTIVE)
    closed = rest <= LONGEST_LOOP_OHM
    if not closed and math.isfinite(rest):
        return
    if active is not None and (active <= LONGEST_LOOP_OHM if closed else not active <= LONGEST_LOOP_OHM):
        return
    if not closed and active is None:
        return
    odd = () if closed else ("it is open at rest and closes when operated: a cut cable is never seen",)
    tamper = _tamper(pair, rest) if closed else ()
    assumed = () if active is not None else ("it opens when the device is operated: not tried",)
    yield Guess(topology=Topology.NONE, resistors=ResistorSet(), miss=0.0, odd=(*odd, *tamper), assumed=assumed)


def _tamper(pair: OldPair, rest: float) -> tuple[str, ...]:
    """Return what is odd about the lid: in series with the contact it opens the pair."""
    lid = pair.ohm.get(PairState.LID_OPEN)
    if lid is None or math.isinf(lid):
        return ()
    if span_of(lid).meets(*span_of(rest)):
        return ("the lid changes nothing: its switch is not in this pair, or linked out",)
    return ("the lid does not open the pair: its switch stands across a resistor",)


class _Values(NamedTuple):
    """Preferred values that a difference of two readings allows, and how far each is off, in tolerances."""

    ohm: float
    miss: float


def _with_end(pair: OldPair) -> Iterator[Guess]:
    """Yield the pair with an end resistor: alone, with one across the alarm contact, or with a further one across the fault contact."""
    cable, assumed = _cable(pair)
    rest = span_of(pair.ohm[PairState.REST])
    if math.isinf(rest.low):
        return
    for end in _values(Span(rest.low - cable.high, rest.high - cable.low)):
        odd = _end_place(pair, rest)
        if odd is None:
            return
        yield from _activated(pair, rest, end, (*odd, *_tamper(pair, pair.ohm[PairState.REST])), assumed)


def _end_place(pair: OldPair, rest: Span) -> tuple[str, ...] | None:
    """Return what is odd about where the end resistor stands; None when the readings cannot be of one pair."""
    shorted = pair.ohm.get(PairState.SHORTED)
    if shorted is None or shorted <= LONGEST_LOOP_OHM:
        return ()
    if span_of(shorted).meets(*rest):
        return ("the end resistor is in the cabinet, not at the device: a short on the cable is never seen",)
    return None


def _activated(pair: OldPair, rest: Span, end: _Values, odd: tuple[str, ...], assumed: tuple[str, ...]) -> Iterator[Guess]:
    active = pair.ohm.get(PairState.ACTIVE)
    if active is None:
        told = (*assumed, "one resistor only: the device was not operated")
        yield _guess(Topology.SINGLE, end, None, None, odd, told)
        return
    if math.isinf(active):
        yield _guess(Topology.SINGLE, end, None, None, odd, assumed)
        return
    if active <= LONGEST_LOOP_OHM:
        yield _guess(
            Topology.SINGLE, end, None, None, (*odd, "it shorts the pair when operated: a short and an alarm look the same"), assumed
        )
        return
    across = span_of(active)
    for alarm in _values(Span(across.low - rest.high, across.high - rest.low)):
        yield from _faulted(pair, rest, end, alarm, odd, assumed)


def _faulted(pair: OldPair, rest: Span, end: _Values, alarm: _Values, odd: tuple[str, ...], assumed: tuple[str, ...]) -> Iterator[Guess]:
    shown = pair.ohm.get(PairState.FAULT)
    if shown is None or math.isinf(shown) or span_of(shown).meets(*rest):
        yield _guess(Topology.DOUBLE, end, alarm, None, odd, assumed)
        return
    span = span_of(shown)
    for fault in _values(Span(span.low - rest.high, span.high - rest.low)):
        yield _guess(Topology.TRIPLE, end, alarm, fault, odd, assumed)


def _guess(
    topology: Topology, end: _Values, alarm: _Values | None, fault: _Values | None, odd: tuple[str, ...], assumed: tuple[str, ...]
) -> Guess:
    parts = [part for part in (end, alarm, fault) if part is not None]
    return Guess(
        topology=topology,
        resistors=ResistorSet(end_ohm=end.ohm, alarm_ohm=alarm and alarm.ohm, fault_ohm=fault and fault.ohm),
        miss=sum(part.miss for part in parts),
        odd=odd,
        assumed=assumed,
    )


def _values(span: Span) -> list[_Values]:
    """Return the preferred values a resistor that measures within ``span`` may have printed on it."""
    if span.high < LEAST_RESISTOR_OHM * (1 - TOLERANCE) or math.isinf(span.high):
        return []
    low, high = max(span.low, LEAST_RESISTOR_OHM * (1 - TOLERANCE)), span.high
    middle = (low + high) / 2
    found = []
    for power in range(math.floor(math.log10(low)) - 1, math.floor(math.log10(high)) + 1):
        for figures in series_values(Series.E24):
            ohm = float(f"{figures}e{power}")
            if low <= ohm * (1 + TOLERANCE) and ohm * (1 - TOLERANCE) <= high and ohm >= LEAST_RESISTOR_OHM:
                found.append(_Values(ohm, abs(middle - ohm) / (TOLERANCE * ohm) + _rarity(ohm)))
    return found


def _rarity(ohm: float) -> float:
    """Return how much further off a value counts that is rarely on a van: one in E12 not at all (common practice, no source)."""
    return 0.0 if is_preferred(ohm, Series.E12) else 1.0
