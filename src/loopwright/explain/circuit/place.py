"""The places of a detection circuit where a fault can be, and what each of them has."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from loopwright.circuits.forecast import band_table
from loopwright.job.document import EndPlace, Hop, Job
from loopwright.job.sheet import ContactSheet, InputsSheet, Kind, RestPosition, Topology
from loopwright.netlist.element import Resistance
from loopwright.netlist.loop import LoopNetwork

COMMON_OHM = (1000.0, 1500.0, 2200.0, 2700.0, 3300.0, 3900.0, 4700.0, 5600.0, 6800.0, 8200.0, 10000.0)
"""Resistors found in a technician's van and in the equipment of many makers: E12 values of 1 to 10 kΩ (common practice, no source)."""
PULL_UP_SHARES = (0.05, 0.4, 2.5, 20.0)
"""What a damaged input's resistance is of its own: a few cases in either direction (judgement)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """One place: its name and words, what the words in braces of an edit stand for there, and what the place has."""

    place: str
    words: str
    names: dict[str, str]
    facts: frozenset[str]

    def has(self, needs: tuple[str, ...]) -> bool:
        """Return whether the place has all of ``needs``; ``a:b,c`` asks for either of ``a:b`` and ``a:c``."""
        return all(self._has(need) for need in needs)

    def _has(self, need: str) -> bool:
        lead, colon, words = need.partition(":")
        return any(f"{lead}{colon}{word}" in self.facts for word in words.split(","))


class CircuitPlaces:
    """Finds the places of one circuit; ``network`` is the circuit without a fault."""

    def __init__(self, job: Job, network: LoopNetwork) -> None:
        self.job, self.network = job, network
        self.name = network.circuit
        self.circuit = job.circuits[self.name]
        self.elements = {e.name: e for e in network.netlist.elements if isinstance(e, Resistance)}
        self.last = max((n for n, hop in enumerate(self.circuit.path) if hop.device is not None), default=-1)
        self.first = min((n for n, hop in enumerate(self.circuit.path) if hop.device is not None), default=-1)
        self.names, self.facts = self._whole()

    def spots(self, at: str) -> list[Spot]:
        """Return the places of a kind: circuit, hop, device, or contact:NAME."""
        if at == "circuit":
            return [Spot(place="", words=f"circuit {self.name}", names=self.names, facts=self.facts)]
        lead, _, contact = at.partition(":")
        out = []
        for number, hop in enumerate(self.circuit.path):
            if lead == "hop":
                out.append(self._hop(number, hop))
            elif hop.device is not None and (lead == "device" or contact in hop.contacts):
                out.append(self._device(number, hop, contact))
        return out

    def numbers(self, among: str) -> tuple[str, ...]:
        """Return the list found in the job that an amount names: resistors, topologies or pull-ups."""
        inputs = self._inputs()
        if among == "topologies":
            return tuple(t.value for t in (inputs.bands if inputs else ()) if t is not self.circuit.topology)
        if among == "pull-ups":
            return tuple(f"{self.network.pull_up.ohm * share!r}" for share in PULL_UP_SHARES)
        found = set(COMMON_OHM)
        for resistors in inputs.resistor_sets.values() if inputs else ():
            found |= {ohm for ohm in (resistors.end_ohm, resistors.alarm_ohm, resistors.fault_ohm) if ohm}
        return tuple(f"{ohm!r}" for ohm in sorted(found))

    def powered(self) -> tuple[str, ...]:
        """Return the devices of the circuit that need a supply and whose alarm contact stands in it."""
        hops = [hop for hop in self.circuit.path if hop.device is not None and "alarm" in hop.contacts]
        return tuple(hop.device for hop in hops if hop.device is not None and self.job.sheet_of(hop.device).loads)

    def contact_of(self, device: str, word: str = "alarm") -> str:
        """Return the name of a device's contact in the network. Raises KeyError when it has none there."""
        for number, hop in enumerate(self.circuit.path):
            if hop.device == device and word in hop.contacts:
                return f"{self.name}.{number}.{word}"
        raise KeyError(device)

    def _inputs(self) -> InputsSheet | None:
        return self.job.sheet_of(self.circuit.input.partition(".")[0]).inputs if self.circuit.input else None

    def _whole(self) -> tuple[dict[str, str], frozenset[str]]:
        circuit, name = self.circuit, self.name
        names = {"c": name, "pull_up": self.network.pull_up.name, "first_core": f"{name}.0.core-out"}
        facts = {f"topology:{circuit.topology.value}"}
        end = self.elements.get(f"{name}.end")
        if end is not None:
            names |= {"end": end.name, "end_a": end.a, "end_b": end.b, "end_ohm": f"{end.ohm!r}"}
            facts.add("end")
            if circuit.end_at is EndPlace.LAST_DEVICE:
                facts.add("end-at-device")
        across = [e for e in self.elements.values() if e.name.endswith(".alarm-resistor")]
        if across:
            names |= {"alarm": across[0].name, "alarm_ohm": f"{across[0].ohm!r}"}
            facts.add("alarm-resistor")
        if circuit.topology is Topology.PAIR and len(across) > 1:
            names |= {"pair_a": across[0].name, "pair_b": across[1].name}
            facts.add("pair")
        facts |= set(self._surroundings())
        return names, frozenset(facts)

    def _surroundings(self) -> Iterator[str]:
        if len(self.job.circuits) > 1:
            yield "other-circuit"
        inputs = self._inputs()
        if inputs is not None:
            yield "landed"
            if len(inputs.bands) > 1 and band_table(inputs, self.circuit.topology) is not None:
                yield "other-bands"

    def _hop(self, number: int, hop: Hop) -> Spot:
        c = self.name
        names = self.names | {
            "n": str(number),
            "core_out": f"{c}.{number}.core-out",
            "core_back": f"{c}.{number}.core-back",
            "far": f"{c}.{number}",
            "back": f"{c}.{number}.back",
            "short": f"{c}.{number}.short",
        }
        facts = set(self.facts) | {"first" if number == self.first else "not-first"}
        if number == self.last:
            facts.add("last")
        if hop.shares_return_with:
            facts.add("shared-return")
        if self.job.cables[hop.cable].end in self.job.joints or self.job.cables[hop.cable].start in self.job.joints:
            facts.add("through-joint")
        return Spot(place=hop.cable, words=f"run {hop.cable} of circuit {c}", names=names, facts=frozenset(facts))

    def _device(self, number: int, hop: Hop, contact: str) -> Spot:
        """Return the place of a device; with ``contact``, of that contact of it."""
        assert hop.device is not None
        spot = self._hop(number, hop)
        sheet = self.job.sheet_of(hop.device)
        names, facts = dict(spot.names), set(spot.facts)
        passive = sheet.kind in (Kind.CONTACT, Kind.HOLD_UP) or not sheet.loads
        facts.add("unpowered" if passive else "powered")
        tamper = self.elements.get(f"{self.name}.{number}.tamper")
        if tamper is not None and math.isfinite(tamper.ohm):
            names |= {"tamper_a": tamper.a, "tamper_b": tamper.b}
            facts.add("tamper-too")
        element = self.elements.get(f"{self.name}.{number}.{contact}")
        if element is not None:
            names |= {"contact": element.name, "contact_a": element.a, "contact_b": element.b}
            rest = sheet.contacts.get(contact, ContactSheet()).rest
            facts.add("rest:open" if rest is RestPosition.OPEN else "rest:closed")
        across = f"{self.name}.{number}.{contact}-resistor"
        if across in self.elements:
            names["across"] = across
            facts.add("resistor-across")
        label = self.job.equipment[hop.device].label or hop.device
        return Spot(place=hop.device, words=f"{label} ({hop.device}), circuit {self.name}", names=names, facts=frozenset(facts))
