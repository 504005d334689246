"""Edits of a detection circuit's network: what a fault of the catalogue does to it, at one place and in one amount."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from itertools import compress
from operator import is_not

from loopwright.explain.catalogue import Edit
from loopwright.job.document import Circuit, EndPlace, Job
from loopwright.netlist.element import Element, PullUp, Resistance
from loopwright.netlist.loop import Act, ActKind, LoopNetwork, compile_loop

BANDS = "bands"
"""The edit that leaves the wiring alone and changes what the input is programmed for."""


def edited(job: Job, network: LoopNetwork, way: tuple[Edit, ...], names: Mapping[str, str]) -> LoopNetwork:
    """Return ``network`` with one way of a fault in it. Raises KeyError when an edit names no element, and for an unknown edit."""
    work = _Work(job, network)
    for kind, *arguments in way:
        if kind != BANDS:
            getattr(work, f"do_{kind}", work.unknown)(*(argument.format_map(names) for argument in arguments))
    return work.done()


class _Work:
    """A network under edit: elements by name, the acts, and what acts no longer move."""

    def __init__(self, job: Job, network: LoopNetwork) -> None:
        self.job = job
        self.take(network)

    def take(self, network: LoopNetwork) -> None:
        """Start from a network."""
        self.network = network
        self.elements: dict[str, Element] = {e.name: e for e in network.netlist.elements}
        self.acts = list(network.acts)
        self.held: set[str] = set()

    def unknown(self, *arguments: str) -> None:
        """Refuse an edit nobody knows."""
        raise KeyError(arguments)

    def wire(self, name: str) -> Resistance:
        """Return a resistance by its name."""
        found = self.elements[name]
        assert isinstance(found, Resistance)
        return found

    def do_open(self, name: str) -> None:
        """Interrupt it for good: no act closes it."""
        self.elements[name] = self.wire(name)._replace(ohm=math.inf)
        self.held.add(name)

    def do_stick(self, name: str, where: str) -> None:
        """Stick a contact closed."""
        moved = [ohm for act in self.acts for element, ohm in act.changes if element == name]
        self.elements[name] = self.wire(name)._replace(ohm=min(self.wire(name).ohm, *moved))
        self.held.add(name)
        assert where == "closed"

    def do_operate(self, name: str) -> None:
        """Leave a contact as its device has it while at work."""
        moved = next(ohm for act in self.acts if act.kind is ActKind.ACTIVATED for element, ohm in act.changes if element == name)
        self.elements[name] = self.wire(name)._replace(ohm=moved)

    def do_ohm(self, name: str, ohm: str) -> None:
        """Give it other ohms."""
        found = self.elements[name]
        assert isinstance(found, Resistance | PullUp)
        self.elements[name] = found._replace(ohm=float(ohm))

    def do_add(self, name: str, ohm: str) -> None:
        """Add ohms to it."""
        self.elements[name] = self.wire(name)._replace(ohm=self.wire(name).ohm + float(ohm))

    def do_scale(self, name: str, share: str) -> None:
        """Make it so many times its ohms."""
        self.elements[name] = self.wire(name)._replace(ohm=self.wire(name).ohm * float(share))

    def do_bridge(self, a: str, b: str, ohm: str) -> None:
        """Join two points."""
        name = f"bridge:{a}:{b}"
        self.elements[name] = Resistance(name, a, b, float(ohm))

    def do_move(self, name: str, a: str, b: str) -> None:
        """Connect it between other points."""
        self.elements[name] = self.wire(name)._replace(a=a, b=b)

    def do_exchange(self, one: str, other: str) -> None:
        """Let two resistances change their ohms."""
        first, second = self.wire(one), self.wire(other)
        self.elements[one], self.elements[other] = first._replace(ohm=second.ohm), second._replace(ohm=first.ohm)

    def do_invert(self, name: str) -> None:
        """Turn a contact's sense round: open where it is closed, closed where it is open."""
        closed, moved = self.wire(name).ohm, False
        acts = []
        for act in self.acts:
            changes = []
            for element, ohm in act.changes:
                moved = moved or element == name
                changes.append((element, closed if math.isinf(ohm) else math.inf) if element == name else (element, ohm))
            acts.append(replace(act, changes=tuple(changes)))
        self.acts = acts
        self.elements[name] = self.wire(name)._replace(ohm=math.inf)

    def do_still(self) -> None:
        """Let nothing done at the circuit's devices change it: they hang on another input."""
        self.acts = [act if act.kind in (ActKind.REST, ActKind.NO_RESISTOR) else replace(act, changes=()) for act in self.acts]

    def do_field(self, name: str, value: str) -> None:
        """Change the document instead, and compile the circuit anew."""
        circuit: Circuit = self.job.circuits[self.network.circuit]
        assert name == "end_at"
        changed = replace(circuit, end_at=EndPlace(value))
        self.take(compile_loop(replace(self.job, circuits={**self.job.circuits, self.network.circuit: changed}), self.network.circuit))

    def done(self) -> LoopNetwork:
        """Return the network as edited."""
        netlist = replace(self.network.netlist, elements=tuple(self.elements.values()))
        acts = [self._without_held(act) for act in self.acts] if self.held else self.acts
        pull_up = self.elements[self.network.pull_up.name]
        assert isinstance(pull_up, PullUp)
        return replace(self.network, netlist=netlist, acts=tuple(acts), pull_up=pull_up)

    def _without_held(self, act: Act) -> Act:
        if not any(name in self.held for name, _ in act.changes):
            return act
        return replace(act, changes=tuple(change for change in act.changes if change[0] not in self.held))


def with_lifting(network: LoopNetwork, devices: Mapping[int, str]) -> LoopNetwork:
    """Return the network with one more act a device: its pair lifted off it, so that only the cable is left. ``devices`` by hop."""
    still = all(not act.changes for act in network.acts if act.kind is ActKind.CUT)
    at: dict[str, list[str]] = {}
    for element in network.netlist.elements:
        if isinstance(element, Resistance):
            for point in {element.a, element.b}:
                at.setdefault(point, []).append(element.name)
    acts = list(network.acts)
    for number, device in devices.items():
        far, kept = _lifted_off(network.circuit, number)
        loose = () if still else tuple((name, math.inf) for name in at.get(far, ()) if name not in kept)
        acts.append(Act(kind=ActKind.LIFTED, device=device, changes=loose))
    return replace(network, acts=tuple(acts))


def _lifted_off(circuit: str, number: int) -> tuple[str, frozenset[str]]:
    """Return the point where a device's pair is lifted, and the elements that stay on the cable."""
    far, back = f"{circuit}.{number}", f"{circuit}.{number}.back"
    return far, frozenset((f"{circuit}.{number}.core-out", f"bridge:{far}:{back}"))


class Variants:
    """The networks of one circuit under every edit, lifting among their acts: each made once, however many faults come to the same."""

    def __init__(self, job: Job, network: LoopNetwork, devices: Mapping[int, str]) -> None:
        """Start from the circuit without a fault; ``devices`` by hop are those its pair can be lifted off."""
        self.job, self.network, self.devices = job, network, devices
        self.sound = with_lifting(network, devices)
        self._lifting = self.sound.acts[len(network.acts) :]
        self._lifted = dict(_lifted_off(network.circuit, number) for number in devices)
        self._made: dict[tuple[Edit, ...], LoopNetwork] = {(): self.sound}

    def edited(self, way: tuple[Edit, ...], names: Mapping[str, str]) -> LoopNetwork:
        """Return the network with one way of a fault in it, the same again for a way that is the same there."""
        key = tuple((kind, *(argument.format_map(names) for argument in arguments)) for kind, *arguments in way if kind != BANDS)
        if key not in self._made:
            changed = edited(self.job, self.network, way, names)
            alike = self._lifts_alike(changed)
            self._made[key] = replace(changed, acts=changed.acts + self._lifting) if alike else with_lifting(changed, self.devices)
        return self._made[key]

    def _lifts_alike(self, changed: LoopNetwork) -> bool:
        """Return whether nothing but what the design has stands where a pair is lifted, and the devices stand in this circuit."""
        old, new = self.network.netlist.elements, changed.netlist.elements
        if len(new) < len(old) or any(new[n][:3] != old[n][:3] for n in compress(range(len(old)), map(is_not, new, old))):
            return False
        added = ((point, e.name) for e in new[len(old) :] for point in (e.a, e.b))
        if any(point in self._lifted and name not in self._lifted[point] for point, name in added):
            return False
        return any(act.changes for act in changed.acts if act.kind is ActKind.CUT)


def cores_alone(network: LoopNetwork) -> LoopNetwork | None:
    """Return the network as a meter on the lifted field cores sees it; None when nothing stands between them and the terminals."""
    first = next((e for e in network.netlist.of(Resistance) if e.name == f"{network.circuit}.0.core-out"), None)
    if first is None or first.a == network.terminal:
        return None
    pull_up = network.pull_up._replace(a=first.a)
    elements = tuple(pull_up if e is network.pull_up else e for e in network.netlist.elements)
    return replace(network, netlist=replace(network.netlist, elements=elements), terminal=first.a, pull_up=pull_up)
