"""The job document's electrical meaning: what points exist, and what joins them.

Points. A piece of equipment has one ``ID.0v`` (all its minus terminals) and one ``ID.LOAD`` for the plus terminal of each supply input;
a supply has ``ID.bus`` behind its outputs, and every output has its terminal ``ID.OUTPUT``. At a joint each feed keeps
its own point ``JOINT.ID.OUTPUT`` and each unit its own return ``JOINT.ID.0v``. ``docs/elements.md`` draws it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from loopwright.job.document import Cable, Equipment, Feed, Job
from loopwright.job.sheet import STATES, ChargerKind, EquipmentSheet
from loopwright.netlist.conductor import Basis, conductor_of, ohm_per_m
from loopwright.netlist.element import (
    NO_LIMIT_A,
    Battery,
    BatteryState,
    Charger,
    Contact,
    Diode,
    Element,
    Load,
    Netlist,
    Resistance,
    Scenario,
    Source,
)

FLAT_V_PER_NOMINAL_V = 0.95
"""Electromotive force of a discharged lead-acid battery over its nominal volts [1]: about 1.9 V a cell, 11.4 V of 12 V (from memory)."""
LEAST_OHM = 1e-4
"""Least resistance [Ω] of a run: a run of no length is still a terminal joint."""
LEAST_KNEE_V = 1.0
"""Least knee [V] of a load whose sheet gives no minimum."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Landing:
    """Where one supply input of one piece of equipment gets its current: the plus point, the output, and the runs on the way.

    ``supply`` is the equipment with the mains supply behind it, followed back through modules; None when nothing feeds it.
    """

    equipment: str
    load: str
    plus: str
    minus: str
    output: str | None
    runs: tuple[str, ...]
    supply: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class PowerNetwork:
    """The power part of a job as a network, with the way every supply input is reached.

    ``astray`` are the runs and outputs of feeds that the output does not come to: a run is said to carry it, and no way leads there.
    """

    netlist: Netlist
    landings: tuple[Landing, ...]
    astray: tuple[tuple[str, str], ...] = ()


def feed_name(cable: str, number: int) -> str:
    """Return the network's name for a feed of a run: the first is called as the run is, the others are numbered after it."""
    return cable if number == 0 else f"{cable}/{number}"


def cores_through(job: Job, cable: str, output: str) -> tuple[str, ...]:
    """Return the names of the conductors out and back that carry an output in a run; none when the run does not carry it.

    A feed without a return of its own comes back with another feed of the same unit, or with the run's 0 V cores; only the way out is
    returned when neither is there.
    """
    feeds, unit = job.cables[cable].feeds, output.partition(".")[0]
    own = next((number for number, feed in enumerate(feeds) if feed.output == output), None)
    if own is None:
        return ()
    back = [number for number, feed in enumerate(feeds) if feed.cores_back and feed.output.partition(".")[0] == unit]
    out = f"{feed_name(cable, own)}.plus"
    if back:
        return out, f"{feed_name(cable, own if own in back else back[0])}.minus"
    joined = job.cables[cable].zero_v_cores > 0 and not {job.cables[cable].start, job.cables[cable].end} & set(job.joints)
    return (out, f"{cable}.0v") if joined else (out,)


def scenarios() -> tuple[Scenario, ...]:
    """Return the twelve scenarios of the power forecast: four system states on mains, on battery, at the end of discharge."""
    full, ending = BatteryState(), BatteryState(at_cut_out=True)
    conditions = (("mains", True, full), ("battery", False, full), ("battery-end", False, ending))
    return tuple(
        Scenario(name=f"{state}/{name}", state=position, mains=mains, battery=battery)
        for name, mains, battery in conditions
        for position, state in enumerate(STATES)
    )


def further_scenarios() -> tuple[Scenario, ...]:
    """Return the further conditions: mains with the battery flat or absent, and mains while recharging, in every state."""
    gone = BatteryState(present=False)
    return tuple(
        Scenario(name=f"{state}/{name}", state=position, mains=True, battery=gone, recharging=recharging)
        for name, recharging in (("mains-no-battery", False), ("recharging", True))
        for position, state in enumerate(STATES)
    )


def compile_power(job: Job) -> PowerNetwork:
    """Return the power network of ``job``. Raises KeyError only for references the reader should have refused."""
    return _Compiler(job).run()


class _Compiler:
    """Walks the document once and appends elements."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.elements: list[Element] = []
        self.sheets = {name: job.sheet_of(name) for name in job.equipment}
        self.lands: dict[tuple[str, str], str] = {}
        self.astray: list[tuple[str, str]] = []
        self.per_m: dict[tuple[str, float], float] = {}

    def run(self) -> PowerNetwork:
        for cable in self.job.cables.values():
            for feed in cable.feeds:
                if cable.end in self.job.equipment:
                    self.lands[(cable.end, feed.output)] = feed.load
        for name, item in self.job.equipment.items():
            self._equipment(name, item, self.sheets[name])
        for name, cable in self.job.cables.items():
            self._cable(name, cable)
        references = [f"{name}.0v" for name, sheet in self.sheets.items() if sheet.supply is not None]
        netlist = Netlist(elements=tuple(self.elements), references=tuple(references), title=self.job.title)
        return PowerNetwork(netlist=netlist, landings=self._landings(), astray=tuple(self.astray))

    def _equipment(self, name: str, item: Equipment, sheet: EquipmentSheet) -> None:
        zero = f"{name}.0v"
        if sheet.supply is not None:
            self._supply(name, item, sheet)
        for load, draw in sheet.loads.items():
            plus = self._load_point(name, item, sheet, load)
            minus = f"{item.inside.split('.')[0]}.0v" if item.inside and sheet.supply is None else zero
            knee = max(draw.min_v, LEAST_KNEE_V)
            self.elements.append(Load(f"{name}.{load}", plus, minus, draw.law, draw.amperes(), knee, draw.nominal_v))
        if item.inside and sheet.supply is None and sheet.outputs:
            self.elements.append(Resistance(f"{name}.inside.0v", f"{item.inside.split('.')[0]}.0v", zero, LEAST_OHM))
        bus = f"{name}.bus" if sheet.supply is not None else self._load_point(name, item, sheet, next(iter(sheet.loads), "supply"))
        for output, spec in sheet.outputs.items():
            behind = bus
            terminal = f"{name}.{output}"
            if spec.diode_v > 0:
                behind = f"{terminal}.diode"
                self.elements.append(Diode(f"{terminal}.diode", bus, behind, spec.diode_v, LEAST_OHM))
            closed = tuple(state in spec.on_in for state in STATES)
            path = max(spec.path_ohm, LEAST_OHM)
            if all(closed):
                self.elements.append(Resistance(f"{terminal}.path", behind, terminal, path))
            else:
                self.elements.append(Contact(f"{terminal}.path", behind, terminal, path, closed))

    def _supply(self, name: str, item: Equipment, sheet: EquipmentSheet) -> None:
        supply = sheet.supply
        assert supply is not None
        zero, bus = f"{name}.0v", f"{name}.bus"
        self.elements.append(Source(f"{name}.mains", bus, zero, supply.output_v, max(supply.source_ohm, LEAST_OHM), supply.limit_a))
        if item.battery is None:
            return
        battery = self.job.sheets.batteries[item.battery.sheet]
        inner = battery.internal_ohm / item.battery.parallel
        path = supply.battery_path_ohm
        self.elements.append(Battery(f"{name}.battery", bus, zero, battery.full_v, max(inner, LEAST_OHM), path, supply.cut_out_v))
        charger = supply.charger
        if charger.kind is ChargerKind.NONE:
            return
        ohm = inner + path + (charger.series_ohm or 0.0 if charger.kind is ChargerKind.RESISTOR else 0.0)
        limit = charger.limit_a if charger.kind is ChargerKind.CURRENT_LIMITED and charger.limit_a is not None else math.inf
        # A constant-voltage charger stops at what the supply can give.
        flat_v = FLAT_V_PER_NOMINAL_V * battery.nominal_v
        self.elements.append(Charger(f"{name}.charge", bus, zero, flat_v, max(ohm, LEAST_OHM), min(limit, NO_LIMIT_A)))

    def _load_point(self, name: str, item: Equipment, sheet: EquipmentSheet, load: str) -> str:
        if sheet.supply is not None:
            return f"{name}.bus"
        return item.inside if item.inside else f"{name}.{load}"

    def _cable(self, name: str, cable: Cable) -> None:
        ohm = max(self._ohm_per_m(cable) * (cable.length_m + cable.slack_m), LEAST_OHM)
        joint = self.job.joints.get(cable.end)
        extra = joint.joint_ohm if joint is not None else 0.0
        for number, feed in enumerate(cable.feeds):
            unit = feed.output.split(".")[0]
            tag = feed_name(name, number)
            start, end = self._plus(cable.start, feed), self._plus(cable.end, feed)
            self.elements.append(Resistance(f"{tag}.plus", start, end, ohm / feed.cores + extra))
            if feed.cores_back:
                near, far = self._minus(cable.start, unit), self._minus(cable.end, unit)
                self.elements.append(Resistance(f"{tag}.minus", near, far, ohm / feed.cores_back + extra))
        if cable.zero_v_cores:
            start, end = (f"{place}.0v" if place in self.job.joints else self._minus(place, place) for place in (cable.start, cable.end))
            self.elements.append(Resistance(f"{name}.0v", start, end, ohm / cable.zero_v_cores))

    def _ohm_per_m(self, cable: Cable) -> float:
        key = (cable.sheet, cable.temperature_c)
        if key not in self.per_m:
            self.per_m[key] = ohm_per_m(conductor_of(self.job.sheets.cables[cable.sheet]), cable.temperature_c, Basis.NOMINAL)
        return self.per_m[key]

    def _plus(self, place: str, feed: Feed) -> str:
        unit, _, output = feed.output.partition(".")
        if place == unit:
            return feed.output
        if place in self.job.joints:
            return f"{place}.{feed.output}"
        item, sheet = self.job.equipment[place], self.sheets[place]
        load = self.lands.get((place, feed.output), feed.load)
        # A box with a supply of its own, or a device without this input, passes the cores on and takes nothing from them.
        return (
            f"{place}.passing.{feed.output}"
            if sheet.supply is not None or load not in sheet.loads
            else self._load_point(place, item, sheet, load)
        )

    def _minus(self, place: str, unit: str) -> str:
        if place in self.job.joints:
            return f"{place}.{unit}.0v"
        item = self.job.equipment[place]
        if item.inside and self.sheets[place].supply is None and not self.sheets[place].outputs:
            return f"{item.inside.split('.')[0]}.0v"
        return f"{place}.0v"

    def _landings(self) -> tuple[Landing, ...]:
        """Return how each supply input is reached, by following the runs of every output outwards."""
        reached = self._follow()
        ways: list[tuple[str, str, str | None, tuple[str, ...]]] = []
        first: dict[str, str | None] = {}
        for name, item in self.job.equipment.items():
            for load in self.sheets[name].loads:
                output: str | None = None
                runs: tuple[str, ...] = ()
                if self.sheets[name].supply is None:
                    output, runs = (item.inside, ()) if item.inside else reached.get((name, load), (None, ()))
                first.setdefault(name, output)
                ways.append((name, load, output, runs))
        supplies = _supplies(first, {name for name, sheet in self.sheets.items() if sheet.supply is not None})
        return tuple(
            Landing(
                equipment=name,
                load=load,
                plus=self._load_point(name, self.job.equipment[name], self.sheets[name], load),
                minus=self._minus(name, name),
                output=output,
                runs=runs,
                supply=supplies(output.partition(".")[0] if output else name),
            )
            for name, load, output, runs in ways
        )

    def _follow(self) -> dict[tuple[str, str], tuple[str, tuple[str, ...]]]:
        """Return for each supply input reached its output and the runs on the way; a run is followed from either end."""
        by_output: dict[str, dict[str, list[tuple[str, str, str]]]] = {}
        for name, cable in self.job.cables.items():
            for feed in cable.feeds:
                near = by_output.setdefault(feed.output, {})
                near.setdefault(cable.start, []).append((name, cable.end, feed.load))
                near.setdefault(cable.end, []).append((name, cable.start, self.lands.get((cable.start, feed.output), feed.load)))
        reached: dict[tuple[str, str], tuple[str, tuple[str, ...]]] = {}
        for output, near in by_output.items():
            unit = output.split(".")[0]
            ways: dict[str, tuple[str, ...]] = {unit: ()}
            front = [unit]
            while front:
                place = front.pop(0)
                for name, far, load in near.get(place, ()):
                    if far in ways:
                        continue
                    ways[far] = (*ways[place], name)
                    reached.setdefault((far, load), (output, ways[far]))
                    front.append(far)
            lost = {name for place, runs in near.items() if place not in ways for name, _, _ in runs}
            self.astray += [(name, output) for name in sorted(lost)]
        return reached


def _supplies(first: dict[str, str | None], own: set[str]) -> Callable[[str], str | None]:
    """Return a function from a unit to the supply behind it; ``first`` is the output that feeds a module's first supply input."""
    known: dict[str, str | None] = {name: name for name in own}

    def behind(unit: str, passed: frozenset[str] = frozenset()) -> str | None:
        if unit not in known:
            output = first.get(unit)
            feeder = output.partition(".")[0] if output else ""
            known[unit] = behind(feeder, passed | {unit}) if feeder and feeder not in passed else None
        return known[unit]

    return behind
