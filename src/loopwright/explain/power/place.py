"""The places of the supply network where a fault can be, near what was looked at: supplies, batteries, outputs, runs and landings."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from loopwright.explain.circuit.check import label
from loopwright.explain.circuit.place import Spot
from loopwright.job.document import Job
from loopwright.job.sheet import STATES, Conversion
from loopwright.netlist.compile import Landing, PowerNetwork, cores_through
from loopwright.netlist.element import Netlist, Resistance


@dataclass(frozen=True, kw_only=True, slots=True)
class Focus:
    """What of the supply network is looked into: supplies, outputs, and the landings (supply inputs) that were read or may be dark.

    Unless ``whole``, nothing of the supply network itself was read yet: then only what may leave a device without a supply is looked
    into, quiet and on mains, since a battery or a charger moves no reading of a circuit.
    """

    supplies: tuple[str, ...]
    outputs: tuple[str, ...]
    landings: tuple[Landing, ...]
    whole: bool = True


def focus_on(
    job: Job, network: PowerNetwork, devices: Iterable[str], outputs: Iterable[str], supplies: Iterable[str], *, whole: bool = True
) -> Focus:
    """Return the focus around devices (by name or ``device.load``), outputs and supplies, with the supplies and outputs behind them."""
    wanted = set(devices)
    landings = tuple(
        m for m in network.landings if (m.equipment in wanted or f"{m.equipment}.{m.load}" in wanted) and m.supply is not None and m.runs
    )
    found = dict.fromkeys([*outputs, *(m.output for m in landings if m.output)])
    behind = {m.equipment: m.supply for m in network.landings}
    owners = [output.partition(".")[0] for output in found]
    fed = [owner if job.sheet_of(owner).supply is not None else behind.get(owner) for owner in owners]
    every = dict.fromkeys([*supplies, *(m.supply for m in landings if m.supply), *(name for name in fed if name)])
    return Focus(supplies=tuple(every), outputs=tuple(found), landings=landings, whole=whole)


def near(network: PowerNetwork, focus: Focus) -> Netlist:
    """Return the part of the network that is joined to the focus: 0 V cores that lead to another supply alone carry nothing.

    A core that only joins two 0 V points is kept where both its ends are otherwise joined to the focus.
    """
    elements = network.netlist.elements
    root: dict[str, str] = {}

    def find(point: str) -> str:
        while root.setdefault(point, point) != point:
            root[point] = root[root[point]]
            point = root[point]
        return point

    bonds = {e.name for e in elements if isinstance(e, Resistance) and e.name.endswith(".0v") and not e.name.endswith(".inside.0v")}
    for element in elements:
        if element.name not in bonds:
            root[find(element.a)] = find(element.b)
    kept = {find(f"{supply}.0v") for supply in focus.supplies}
    chosen = tuple(e for e in elements if find(e.a) in kept and find(e.b) in kept)
    points = {p for e in chosen for p in (e.a, e.b)}
    return replace(network.netlist, elements=chosen, references=tuple(p for p in network.netlist.references if p in points))


class PowerPlaces:
    """Finds the places of a focus."""

    def __init__(self, job: Job, network: PowerNetwork, focus: Focus, netlist: Netlist) -> None:
        self.job, self.network, self.focus = job, network, focus
        self.elements = {e.name: e for e in netlist.elements}

    def spots(self, at: str) -> list[Spot]:
        """Return the places of a kind: supply, battery, output, run, landing or bond."""
        found: list[Spot] = getattr(self, f"_{at}")()
        return found

    def _supply(self) -> list[Spot]:
        out = []
        for supply in self.focus.supplies if self.focus.whole else ():
            sheet = self.job.sheet_of(supply).supply
            transformer = sheet is not None and sheet.conversion is Conversion.TRANSFORMER
            facts = frozenset({"transformer"} if transformer else set())
            out.append(Spot(place=supply, words=label(self.job, supply), names={"s": supply}, facts=facts))
        return out

    def _battery(self) -> list[Spot]:
        return [spot for spot in self._supply() if f"{spot.place}.battery" in self.elements]

    def _output(self) -> list[Spot]:
        out = []
        for output in self.focus.outputs:
            unit, _, terminal = output.partition(".")
            facts = frozenset({"always-on"} if set(self.job.sheet_of(unit).outputs[terminal].on_in) == set(STATES) else set())
            words = f"output {terminal} of {label(self.job, unit)}"
            out.append(Spot(place=output, words=words, names={"o": output, "z": f"{unit}.0v"}, facts=facts))
        return out

    def _run(self) -> list[Spot]:
        found: dict[str, Spot] = {}
        for landing in self.focus.landings:
            for run in landing.runs:
                spot = self._wire(landing, run)
                if spot is not None:
                    found.setdefault(f"{run}/{landing.output}", spot)
        return list(found.values())

    def _landing(self) -> list[Spot]:
        out = []
        for landing in self.focus.landings:
            spot = self._wire(landing, landing.runs[-1])
            if spot is not None:
                words = f"{label(self.job, landing.equipment)}, supply input {landing.load}"
                out.append(replace(spot, place=f"{landing.equipment}.{landing.load}", words=words))
        return out

    def _wire(self, landing: Landing, run: str) -> Spot | None:
        """Return the place of a run on a way: its two cores, and the points at the end away from the supply."""
        cores = cores_through(self.job, run, landing.output or "")
        if len(cores) < 2 or any(core not in self.elements for core in cores):
            return None
        plus, minus = self.elements[cores[0]], self.elements[cores[1]]
        names = {"plus": cores[0], "minus": cores[1], "near": plus.a, "far": plus.b, "near_back": minus.a, "far_back": minus.b}
        unit, _, terminal = (landing.output or "").partition(".")
        facts = {"always-on"} if set(self.job.sheet_of(unit).outputs[terminal].on_in) == set(STATES) else set()
        if plus.b == landing.plus and minus.b == landing.minus:
            facts.add("pair-home")
        return Spot(place=run, words=f"run {run}, output {terminal} of {label(self.job, unit)}", names=names, facts=frozenset(facts))

    def _bond(self) -> list[Spot]:
        bonds = [f"{run}.0v" for run, cable in self.job.cables.items() if cable.zero_v_cores and f"{run}.0v" in self.elements]
        return [
            Spot(place=b.removesuffix(".0v"), words=f"0 V cores of run {b.removesuffix('.0v')}", names={"bond": b}, facts=frozenset())
            for b in bonds
        ]
