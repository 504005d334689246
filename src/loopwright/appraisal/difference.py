"""What became of the figures and the findings from one job to another: those that moved, the weightiest first."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.difference import Difference, difference
from loopwright.job.sentence import Sentence, sentences
from loopwright.job.walk import Names, path_with_names
from loopwright.power.forecast import label_of, scenario_words
from loopwright.power.reading import most_output_scenario, most_supply_scenario, worst_scenario
from loopwright.values.figure import show
from loopwright.values.finding import Finding, Severity

STEPS = {"V": 0.01, "A": 0.001, "Ah": 0.01, "h": 0.1, "Ω": 1.0}
"""The last digit each unit is shown with: what moved by no more is not said to have moved."""
NEW_WEIGHT = 5.0
"""How weighty a figure is that one job alone has, beside those that moved by a multiple of what is in hand: a choice, no source."""
CROSSED = 1e6


class Limit(NamedTuple):
    """What a figure is held against: at least, or at most, so much; ``words`` say what that is."""

    value: float
    at_least: bool
    words: str = "limit"

    def kept(self, value: float) -> bool:
        """Return whether a figure keeps the limit."""
        return value >= self.value if self.at_least else value <= self.value


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """One figure then and now; ``was`` or ``now`` is None where only one of the jobs has it, infinite where there is no end to it.

    ``subject`` is the document path of what it is a figure of, in the later job where it is in it.
    """

    key: str
    label: str
    unit: str
    subject: str
    was: float | None
    now: float | None
    limit: Limit | None = None

    @property
    def moved(self) -> bool:
        """Return whether it moved by more than its last digit."""
        if self.was is None or self.now is None:
            return self.was is not self.now
        if math.isinf(self.was) or math.isinf(self.now):
            return self.was != self.now
        return abs(self.now - self.was) > STEPS[self.unit] and show(self.was, self.unit) != show(self.now, self.unit)

    @property
    def verdict(self) -> str:
        """Return what became of its limit, in a word or two; empty when it was kept before and is kept now."""
        if self.limit is None:
            return ""
        was, now = (value is None or self.limit.kept(value) for value in (self.was, self.now))
        return "" if was and now else "met now" if now else "no longer met" if was and self.was is not None else "not met"

    @property
    def weight(self) -> float:
        """Return how much it matters: first what crossed its limit, then by how far it moved of what was in hand."""
        if self.was is None or self.now is None:
            return CROSSED if self.verdict else NEW_WEIGHT
        if math.isinf(self.was) or math.isinf(self.now):
            return CROSSED
        moved = abs(self.now - self.was)
        if self.limit is None:
            return moved / max(abs(self.was), abs(self.now))
        if self.limit.kept(self.was) is not self.limit.kept(self.now):
            return CROSSED + moved
        in_hand = min(abs(self.was - self.limit.value), abs(self.now - self.limit.value))
        return moved / max(in_hand, STEPS[self.unit])

    def __str__(self) -> str:
        """Return it in words: what, then and now, and what the limit says."""
        limit = f", {self.limit.words} {show(self.limit.value, self.unit)}" if self.limit else ""
        verdict = f": {self.verdict}" if self.verdict else ""
        return f"{self.label}: {then_and_now(self.was, self.now, self.unit)}{limit}{verdict}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Story:
    """The whole difference between two appraised jobs.

    ``figures`` are all that either has, the weightiest first; ``gone`` and ``come`` are findings; ``counts`` how many then and now.
    """

    document: Difference
    sentences: tuple[Sentence, ...]
    figures: tuple[Told, ...]
    gone: tuple[Finding, ...]
    come: tuple[Finding, ...]
    counts: tuple[tuple[Severity, int, int], ...]

    @property
    def moved(self) -> tuple[Told, ...]:
        """Return the figures that moved."""
        return tuple(each for each in self.figures if each.moved)


def then_and_now(was: float | None, now: float | None, unit: str) -> str:
    """Return a figure then and now; one that is in one job only is said to be new or gone.

    >>> then_and_now(10.9, 11.8, "V"), then_and_now(None, 11.8, "V"), then_and_now(10.9, None, "V")
    ('10.90 V → 11.80 V', '11.80 V, new', '10.90 V, gone')
    """
    if was is None:
        return f"{show(now, unit)}, new"
    return f"{show(was, unit)}, gone" if now is None else f"{show(was, unit)} → {show(now, unit)}"


def story(before: Appraisal, after: Appraisal) -> Story:
    """Return the difference between two appraised jobs, in words and figures."""
    found = difference(before.job, after.job)
    gone, come = _findings(before.findings, after.findings, found.names)
    figures = sorted(_figures(before, after, found.names), key=lambda each: -each.weight if each.moved else 1.0)
    return Story(
        document=found,
        sentences=sentences(found),
        figures=tuple(figures),
        gone=gone,
        come=come,
        counts=tuple((each, before.count(each), after.count(each)) for each in Severity),
    )


def _findings(was: Iterable[Finding], now: Iterable[Finding], names: Names) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Return the findings that are gone and those that came; one that only has other figures is the same."""

    def key(finding: Finding, names: Names) -> tuple[str, str, Severity]:
        return finding.code, path_with_names(finding.subject, names), finding.severity

    old, new = [(key(each, names), each) for each in was], [(key(each, {}), each) for each in now]
    return _left(old, new), _left(new, old)


def _left(
    ours: list[tuple[tuple[str, str, Severity], Finding]], theirs: list[tuple[tuple[str, str, Severity], Finding]]
) -> tuple[Finding, ...]:
    there = Counter(key for key, _ in theirs)
    left = []
    for key, finding in ours:
        there[key] -= 1
        if there[key] < 0:
            left.append(finding)
    return tuple(left)


class _Reading(NamedTuple):
    """A figure of one job."""

    label: str
    unit: str
    subject: str
    value: float
    limit: Limit | None


def _figures(before: Appraisal, after: Appraisal, names: Names) -> Iterator[Told]:
    """Yield every figure of both jobs side by side."""
    equipment = names.get("equipment", {})
    worst = {load.name: scenario for load in after.power.loads if (scenario := worst_scenario(after.power, load)) is not None}
    back = {new: old for old, new in equipment.items()}
    asked = {_renamed(name, back): scenario for name, scenario in worst.items()}
    was = {_key(key, names): reading for key, reading in _readings(before, asked)}
    now = dict(_readings(after, worst))
    for key in {**now, **was}:
        old, new = was.get(key), now.get(key)
        said = new or old
        assert said is not None
        yield Told(
            key=key,
            label=said.label,
            unit=said.unit,
            subject=said.subject,
            was=None if old is None else old.value,
            now=None if new is None else new.value,
            limit=said.limit,
        )


def _renamed(terminal: str, names: Mapping[str, str]) -> str:
    owner, _, name = terminal.partition(".")
    return f"{names.get(owner, owner)}.{name}"


def _key(key: str, names: Names) -> str:
    """Return a figure's key after rows got new names."""
    kind, _, name = key.partition("/")
    if kind == "rest":
        return f"{kind}/{names.get('circuits', {}).get(name, name)}"
    owner, dot, terminal = name.partition(".")
    return f"{kind}/{names.get('equipment', {}).get(owner, owner)}{dot}{terminal}"


def _readings(appraisal: Appraisal, scenarios: Mapping[str, str]) -> Iterator[tuple[str, _Reading]]:
    """Yield the figures of one job that are worth comparing; a device's volts in the scenario named for it, else in its worst."""
    job, power = appraisal.job, appraisal.power
    for load in power.loads:
        scenario = scenarios.get(load.name) or worst_scenario(power, load)
        if scenario is None:
            continue
        volts = float(load.volts_v[power.column(scenario)])
        if not math.isnan(volts):
            words = f"{label_of(job, load.landing.equipment)}, {scenario_words(scenario)}"
            limit = Limit(load.draw.min_v, at_least=True, words="needs")
            yield f"volts/{load.name}", _Reading(words, "V", f"equipment/{load.landing.equipment}", volts, limit)
    yield from _hours(appraisal)
    for output in power.outputs:
        unit, _, terminal = output.name.partition(".")
        amps = float(output.amps_a[power.column(most_output_scenario(power, output))])
        if not math.isnan(amps):
            words = f"{label_of(job, unit)}, output {terminal}, most current"
            yield f"output/{output.name}", _Reading(words, "A", f"equipment/{unit}", amps, Limit(output.limit_a, at_least=False))
    for supply in power.supplies:
        amps = float(supply.mains_a[power.column(most_supply_scenario(power, supply))])
        if not math.isnan(amps):
            words = f"{label_of(job, supply.name)}, most from mains"
            yield f"mains/{supply.name}", _Reading(words, "A", f"equipment/{supply.name}", amps, Limit(supply.limit_a, at_least=False))
    for item in appraisal.circuits:
        ohm = item.rest.field_ohm
        if not math.isnan(ohm):
            yield f"rest/{item.circuit}", _Reading(f"Circuit {item.circuit} at rest", "Ω", f"circuits/{item.circuit}", ohm, None)


def _hours(appraisal: Appraisal) -> Iterator[tuple[str, _Reading]]:
    for item in appraisal.standby:
        label, subject = label_of(appraisal.job, item.supply), f"equipment/{item.supply}"
        hours = item.longest.hours if item.longest.fits else 0.0
        asked = Limit(item.requirement.standby_h, at_least=True, words="asked for")
        yield f"standby/{item.supply}", _Reading(f"{label}, standby", "h", subject, hours, asked)
        yield (
            f"battery/{item.supply}",
            _Reading(f"{label}, battery asked for", "Ah", subject, item.required_ah, Limit(item.fitted_ah, at_least=False, words="fitted")),
        )
