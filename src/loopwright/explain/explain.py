"""Explain: what is seen held against what should be seen, on the same model. Ranked faults, and the cheapest next check.

Only the parts that something was read of are looked into, so that a circuit's fault never moves the supply tree. An :class:`Inquiry` keeps
the parts it has solved, for the second and third reading of the same visit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.check import YES_NO, Check, CheckKind
from loopwright.explain.circuit.part import circuit_part
from loopwright.explain.explanation import Explanation
from loopwright.explain.hypothesis import Floats, Part
from loopwright.explain.learned import CATALOGUE, Weights
from loopwright.explain.meter import Instrument
from loopwright.explain.observation import Observations
from loopwright.explain.power.output import output_part
from loopwright.explain.power.part import PART as POWER
from loopwright.explain.power.part import PowerPart, power_part
from loopwright.explain.power.place import Focus, focus_on
from loopwright.explain.telling import tell
from loopwright.explain.weigh.at_hand import AtHand
from loopwright.explain.weigh.likelihood import Likelihood, Rows, Seen, likelihood, rows_of
from loopwright.explain.weigh.next_check import Advised, advise, alike
from loopwright.explain.weigh.outcome import Outcomes, forecast, outcomes
from loopwright.explain.weigh.posterior import Posterior, posterior
from loopwright.explain.whole.bus import PART as BUS
from loopwright.explain.whole.bus import SHOWN, bus_part, on_bus
from loopwright.explain.whole.history import begun, history_part
from loopwright.explain.whole.part import SystemPart, system_part
from loopwright.explain.whole.scope import PART as WHOLE
from loopwright.explain.whole.scope import Scope, circuits_behind, scope_of
from loopwright.explain.whole.word import words
from loopwright.job.document import Job
from loopwright.netlist.compile import PowerNetwork, compile_power

MOST_ROWS = 48
"""Of the variants, so many of the likeliest are followed when the next check is chosen."""
LEAST_ROW = 1e-5
Moved = dict[int, dict[int, NDArray[np.int64]]]
"""For a part that moves others, by its number and theirs: the hidden row each of its variants puts them in."""


def any_check(check: Check) -> bool:
    """Return that a check may be done, whichever it is."""
    return True


class Weighed:
    """One weighing of one set of observations: everything between the readings and the words."""

    def __init__(self, rows: Rows, used: tuple[Seen, ...], likely: Likelihood, after: Posterior) -> None:
        self.rows, self.used, self.likely, self.after = rows, used, likely, after
        self.follow(after.rows, after.none_of_these)
        self.outs: Outcomes | None = None
        self.group: NDArray[np.int64] = self.owner
        self.advised = Advised(checks=(), stop=True)

    def follow(self, chance: Floats, none_of_these: float) -> None:
        """Take the likeliest rows by ``chance`` as those that are followed."""
        self.keep = _kept(chance)
        self.weight = np.append(chance[self.keep], none_of_these)
        self.weight = self.weight / self.weight.sum()
        self.owner = self._owner()

    def _owner(self) -> NDArray[np.int64]:
        """Return the hypothesis of each kept row, numbered anew: 0 is nothing wrong, the last none of these."""
        _, owner = np.unique(self.rows.owner[self.keep], return_inverse=True)
        return np.append(owner, int(owner.max()) + 1)

    def look_ahead(self, job: Job, meter: Instrument, may: Callable[[Check], bool]) -> None:
        """Work out what each check not done yet could show, which hypotheses are one answer, and what is next of what ``may`` be done."""
        at_hand = AtHand(job, (reading.check for reading in self.used))
        done = {reading.check for reading in self.used if reading.shown is None or not reading.shown.rough}
        for chance in self._in_doubt():
            self.follow(chance, self.after.none_of_these)
            known = forecast(self.rows, meter, self.keep)
            left = [number for number, check in enumerate(known.checks) if check not in done]
            self.outs = outcomes(known, self.rows, self.keep, np.array(left, dtype=np.int64))
            self.group = alike(self.outs, self.owner, self.weight)
            some = self.outs.only(self._in_question(self.outs.checks, may))
            self.advised = advise(some, self.weight, self.group, self._behind(some.checks), at_hand)
            if not self.advised.stop:
                return

    def _in_question(self, checks: Sequence[Check], may: Callable[[Check], bool]) -> Callable[[Check], bool]:
        """Return which checks may be asked now or after another of ``checks``: when alarms come is no question before there were any."""
        first = {(check.scenario, check.place) for check in checks if check.kind is CheckKind.TOLD and may(check)}

        def asked(check: Check) -> bool:
            after = _after(check)
            return may(check) and (not after or self._told_yes(after, check.place) or (after, check.place) in first)

        return asked

    def _behind(self, checks: Sequence[Check]) -> NDArray[np.int64]:
        """Return for each check the number of the word that has to be told with yes before, -1 for none and where it was."""
        number = {(check.scenario, check.place): n for n, check in enumerate(checks) if check.kind is CheckKind.TOLD}
        behind = ((_after(check), check.place) for check in checks)
        return np.array([-1 if not each[0] or self._told_yes(*each) else number[each] for each in behind], dtype=np.int64)

    def _told_yes(self, word: str, place: str) -> bool:
        asked = (CheckKind.TOLD, word, place)
        return any(seen.told == YES_NO[:1] and (seen.check.kind, seen.check.scenario, seen.check.place) == asked for seen in self.used)

    def _in_doubt(self) -> list[Floats]:
        """Return the beliefs to be looked into, one after the other: that of single faults, or where two at once are likelier that of each
        part by itself, the one in most doubt first."""
        after = self.after
        if after.two_faults < max(float(after.hypotheses.max(initial=0.0)), after.nothing, after.none_of_these):
            return [after.rows]
        out = []
        for part in range(len(self.rows.parts)):
            chance = np.where(self.rows.part == part, after.paired, 0.0)
            chance[0] = max(after.two_faults - float(chance.sum()), 0.0)
            if chance[0] < 0.5 * after.two_faults:
                best = float(np.bincount(self.rows.owner + 1, weights=chance).max())
                out.append((best, chance))
        return [chance for _, chance in sorted(out, key=lambda each: each[0])] or [after.rows]


class Inquiry:
    """A visit to one job: observations come in one after the other, and parts once solved are kept."""

    def __init__(self, job: Job, network: PowerNetwork | None = None, weights: Weights = CATALOGUE) -> None:
        """Start with a job; ``network`` is its supply network where it is compiled already, as an appraisal has it.

        ``weights`` say how common causes are, and may be changed between two questions: no part is solved anew for them.
        """
        self.job = job
        self.weights = weights
        self._parts: dict[str, Part] = {}
        self._powers: dict[Focus, PowerPart] = {}
        self._wholes: dict[tuple[Scope, tuple[int, ...]], SystemPart] = {}
        self._history = history_part()
        self._compiled = network
        self._last: tuple[tuple[int, ...], Rows] | None = None

    def explain(self, observed: Observations, *, may: Callable[[Check], bool] = any_check) -> Explanation:
        """Return what follows from ``observed``; only checks that ``may`` be done are advised, and count for when to stop."""
        weighed, left_out = self.weigh(observed, may=may)
        return tell(self.job, weighed, observed, left_out)

    def weigh(
        self, observed: Observations, *, ahead: bool = True, may: Callable[[Check], bool] = any_check
    ) -> tuple[Weighed, tuple[str, ...]]:
        """Return the weighing of ``observed``, and a sentence for each reading no part of the job has."""
        rows = self._rows(observed)
        used, left_out = [], []
        for reading in observed.seen:
            if rows.column(reading.check) is None:
                left_out.append(_no_such(reading))
            else:
                used.append(reading)
        likely = likelihood(rows, used)
        weighed = Weighed(rows, tuple(used), likely, posterior(rows, likely, used, self.weights))
        if ahead and rows.parts:
            weighed.look_ahead(self.job, observed.meter, may)
        return weighed, tuple(left_out)

    def _rows(self, observed: Observations) -> Rows:
        """Return the rows of the parts needed, the last ones again where they are the same: one visit reads the same parts on and on."""
        parts, dark = self._needed(observed)
        key = tuple(id(part) for part in parts)
        if self._last is None or self._last[0] != key:
            self._last = (key, rows_of(parts, dark))
        return self._last[1]

    def _needed(self, observed: Observations) -> tuple[list[Part], Moved]:
        """Return the parts that were read, with the supply network behind them, and what its faults darken of the others."""
        checks = [reading.check for reading in observed.seen]
        names = dict.fromkeys(part_of(check) for check in checks)
        read = (name.partition("/")[2] for name in names if name.startswith("circuits/"))
        circuits = dict.fromkeys((*(name for name in read if name in self.job.circuits), *circuits_behind(self.job, checks)))
        parts = [self._circuit(name) for name in circuits]
        devices = [powered_devices(self.job, name) for name in circuits]
        if BUS in names:
            seen = self._on_bus(observed)
            parts.append(self._bus(seen))
            devices.append(seen)
        power = self._power(observed, [device for some in devices for device in some])
        dark = {n: _dark_rows(power, part, some) for n, (part, some) in enumerate(zip(parts, devices, strict=True))} if power else {}
        parts += [self._output(name.partition("/")[2]) for name in names if name.startswith("outputs/") and self._watched(name)]
        moved: Moved = {}
        if power is not None:
            moved = {len(parts): {n: rows for n, rows in dark.items() if (rows >= 0).any()}}
            parts.append(power.part)
        return self._with_history(*self._with_whole(observed, parts, moved))

    def _with_history(self, parts: list[Part], moved: Moved) -> tuple[list[Part], Moved]:
        """Return the parts with the one that tells since when it is wrong, which all of them move."""
        for number, part in enumerate(parts):
            moved.setdefault(number, {})[len(parts)] = begun(part)
        return ([*parts, self._history] if parts else parts), moved

    def _with_whole(self, observed: Observations, parts: list[Part], moved: Moved) -> tuple[list[Part], Moved]:
        """Return the parts with what of the whole is looked into, and what that and they do to each other."""
        circuits = tuple(part.name.partition("/")[2] for part in parts if part.name.startswith("circuits/"))
        every, some = self._groups(parts)
        scope = scope_of(self.job, (reading.check for reading in observed.seen), circuits, every, some)
        if scope is None:
            return parts, moved
        key = (scope, tuple(id(part) for part in parts))
        if key not in self._wholes:
            self._wholes[key] = system_part(self.job, scope, parts)
        whole = self._wholes[key]
        for number, part in enumerate(parts):
            for source, target, rows in ((len(parts), number, whole.rows_of(part)), (number, len(parts), whole.rows_by(part))):
                if (rows >= 0).any():
                    moved.setdefault(source, {})[target] = rows
        return [*parts, whole.part], moved

    def _groups(self, parts: list[Part]) -> tuple[frozenset[str], frozenset[str]]:
        """Return the groups of faults all of whose parts are looked into, and those some of whose are."""
        names = {part.name for part in parts}
        supplies = {s for focus, power in self._powers.items() if any(power.part is part for part in parts) for s in focus.supplies}
        found = {
            "circuit": [f"circuits/{name}" in names for name in self.job.circuits],
            "power": [name in supplies for name in self.job.equipment if self.job.sheet_of(name).supply is not None],
            "sounder": [each in names for each in self._watches()],
            "bus": [any(name.partition("/")[0] == BUS for name in names)],
        }
        return frozenset(g for g, each in found.items() if each and all(each)), frozenset(g for g, each in found.items() if any(each))

    def _watches(self) -> list[str]:
        """Return the watched outputs as parts."""
        units = ((name, self.job.sheet_of(name)) for name in self.job.equipment)
        found = [f"outputs/{name}.{terminal}" for name, sheet in units for terminal in sheet.outputs]
        return [each for each in found if self._watched(each)]

    def _circuit(self, name: str) -> Part:
        key = f"circuits/{name}"
        if key not in self._parts:
            self._parts[key] = circuit_part(self.job, name)
        return self._parts[key]

    def _output(self, name: str) -> Part:
        key = f"outputs/{name}"
        if key not in self._parts:
            self._parts[key] = output_part(self.job, self._network(), name)
        return self._parts[key]

    def _watched(self, key: str) -> bool:
        unit, _, terminal = key.partition("/")[2].partition(".")
        spec = self.job.sheet_of(unit).outputs.get(terminal) if unit in self.job.equipment else None
        return spec is not None and spec.supervision is not None

    def _on_bus(self, observed: Observations) -> tuple[str, ...]:
        """Return the equipment on the bus that something was seen of."""
        checks = [reading.check for reading in observed.seen]
        seen = {check.where if check.kind is CheckKind.TROUBLE else check.place for check in checks}
        return tuple(name for name in on_bus(self.job) if name in seen)

    def _bus(self, devices: tuple[str, ...]) -> Part:
        key = f"{BUS}/{','.join(devices)}"
        if key not in self._parts:
            self._parts[key] = bus_part(self.job, devices)
        return self._parts[key]

    def _power(self, observed: Observations, devices: list[str]) -> PowerPart | None:
        """Return the supply network near what was read; None when nothing of it was read and no device read hangs on it."""
        checks = [reading.check for reading in observed.seen if part_of(reading.check) == POWER]
        looked = [check.place for check in checks if check.kind is CheckKind.LOOK]
        landed = [*devices, *(check.where for check in checks if check.kind is CheckKind.DEVICE_VOLTS)]
        outputs = [check.where for check in checks if check.kind in (CheckKind.OUTPUT_VOLTS, CheckKind.OUTPUT_AMPS)]
        supplies = [check.where for check in checks if check.where in self.job.equipment]
        supplies += [place for place in looked if place in self.job.equipment and self.job.sheet_of(place).supply is not None]
        if not (landed or outputs or supplies):
            return None
        focus = focus_on(self.job, self._network(), landed, outputs, supplies, whole=bool(checks))
        if not focus.supplies:
            return None
        if focus not in self._powers:
            self._powers[focus] = power_part(self.job, self._network(), focus)
        return self._powers[focus]

    def _network(self) -> PowerNetwork:
        if self._compiled is None:
            self._compiled = compile_power(self.job)
        return self._compiled


def explain(job: Job, observed: Observations, network: PowerNetwork | None = None) -> Explanation:
    """Return what follows from ``observed`` about ``job``; ``network`` is its supply network where it is compiled already."""
    return Inquiry(job, network).explain(observed)


def part_of(check: Check) -> str:
    """Return the document path of the part a check belongs to."""
    if check.kind is CheckKind.LOOK:
        return check.where
    if check.kind is CheckKind.TOLD:
        return WHOLE
    if check.kind in (CheckKind.CORES_OHM, CheckKind.VOLTS, CheckKind.STATE, CheckKind.CONTACT_OHM, CheckKind.CAPACITANCE):
        return f"circuits/{check.where}"
    if check.kind is CheckKind.OHM:
        return f"outputs/{check.where}" if "." in check.where else f"circuits/{check.where}"
    if check.kind is CheckKind.TROUBLE and ("." in check.where or check.scenario in SHOWN):
        return f"outputs/{check.where}" if "." in check.where else BUS
    return POWER


def powered_devices(job: Job, circuit: str) -> tuple[str, ...]:
    """Return the devices of a circuit whose alarm contact needs a supply."""
    hops = [hop for hop in job.circuits[circuit].path if hop.device is not None and "alarm" in hop.contacts]
    return tuple(hop.device for hop in hops if hop.device is not None and job.sheet_of(hop.device).loads)


def _dark_rows(power: PowerPart, part: Part, devices: tuple[str, ...]) -> NDArray[np.int64]:
    """Return the hidden row of a circuit that each variant of the supply network puts it in; -1 for none."""
    return np.array([part.hidden.get(some, -1) for some in power.dark(devices)])


def _kept(chance: Floats) -> NDArray[np.int64]:
    """Return the likeliest rows, row 0 always among them, in order."""
    order = np.argsort(-chance, kind="stable")[:MOST_ROWS]
    kept: Iterable[int] = {0, *order[chance[order] > LEAST_ROW].tolist()}
    return np.array(sorted(kept))


def _after(check: Check) -> str:
    """Return the word that has to be told with yes before a check makes sense, nothing for most."""
    return words()[check.scenario].after if check.kind is CheckKind.TOLD else ""


def _no_such(reading: Seen) -> str:
    check = reading.check
    if check.kind is CheckKind.LOOK:
        return f"There is no look of fault {check.fault} at {check.where}{f', {check.place}' if check.place else ''}; it is left out."
    return (
        f"{reading.text!r} at {check.where}{f' ({check.device})' if check.device else ''}: nothing of this job is read as "
        f"'{check.kind}, {check.act}' there, so this reading is left out."
    )
