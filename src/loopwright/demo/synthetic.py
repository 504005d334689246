"""Premises of any size, made from a seed: for trials of how the workbench holds up, and for tests that need many sound jobs."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from random import Random
from typing import NamedTuple

MOST_DEVICES = 2000
DEVICES_PER_SUPPLY = 50
DEVICES_PER_SOUNDER = 18
CIRCUITS_PER_UNIT = 16
ROOMS_PER_SUPPLY = 5
SUPPLIES_PER_STOREY = 4
MOST_AREAS = 8
RESISTOR_SETS = ((2700, 6800), (3300, 8200), (2200, 5600), (3900, 10000))
"""End and alarm resistors [Ω], one set a job; all E12 values."""

_KIT = """\
sheets:
  equipment:
    unit:
      kind: control-unit
      maker: Quandrel
      model: QN-Unit
      invented: true
      provenance: Invented; figures of the size usual in the trade
      loads: {board: {unset_a: 120 mA, alarm_a: 140 mA, min_v: 9}}
      outputs: &OUTPUTS
      inputs: &INPUTS
      supply: &SUPPLY
      bus: {longest_m: 4000, total_m: 20000, shape: any, first_address: 1, last_address: 999}
    expander:
      kind: module
      maker: Quandrel
      model: QN-Sixteen
      invented: true
      provenance: Invented
      addressed: true
      loads: {supply: {unset_a: 35 mA, alarm_a: 40 mA, min_v: 8.5}}
      inputs: &INPUTS
    supply:
      kind: power-supply
      maker: Quandrel
      model: QN-Power
      invented: true
      provenance: Invented
      loads: {board: {unset_a: 25 mA, min_v: 9}}
      outputs: &OUTPUTS
      supply: &SUPPLY
    keypad:
      {kind: keypad, maker: Quandrel, model: QN-Keys, invented: true, provenance: Invented, addressed: true,
      loads: {supply: {unset_a: 45 mA, entry_a: 55 mA, alarm_a: 60 mA, min_v: 9, law: constant-power}}}
    motion:
      {kind: detector, maker: Quandrel, model: QN-Motion, invented: true, provenance: Invented, warm_up_s: 60,
      loads: {supply: {unset_a: 12 mA, alarm_a: 15 mA, min_v: 9}},
      contacts: {alarm: {closed_ohm: 10, closed_tolerance_ohm: 2}, tamper: {}}}
    dual:
      {kind: detector, maker: Quandrel, model: QN-Dual, invented: true, provenance: Invented, warm_up_s: 90,
      loads: {supply: {unset_a: 18 mA, alarm_a: 22 mA, min_v: 9}},
      contacts: {alarm: {closed_ohm: 12, closed_tolerance_ohm: 2}, tamper: {}}}
    reed: {kind: contact, maker: Quandrel, model: QN-Reed, invented: true, provenance: Invented, contacts: {alarm: {}, tamper: {}}}
    sounder:
      {kind: sounder, maker: Quandrel, model: QN-Sound, invented: true, provenance: Invented,
      loads: {supply: {unset_a: 0, alarm_a: 250 mA, min_v: 8.5, max_v: 15}}}
  batteries:
    eighteen: {maker: Quandrel, model: QN-18, invented: true, provenance: Invented, capacity_ah: 18, internal_ohm: 12 mΩ}
  cables:
    six: {invented: true, cores: 6, gauge: 7/0.2, ohm_per_km: 92, core_to_core_pf_per_m: 95}
    eight: {invented: true, cores: 8, gauge: 7/0.2, ohm_per_km: 92, core_to_core_pf_per_m: 98}
    half: {invented: true, cores: 4, gauge: 0.5 mm², ohm_per_km: 39, core_to_core_pf_per_m: 110}
"""
_OUTPUTS = "{aux: {limit_a: 1.5 A, path_ohm: 0.1}, bells: {limit_a: 1.5 A, path_ohm: 0.08, on_in: [alarm]}}"
_SUPPLY = """
        {output_v: 13.7, source_ohm: 0.05, limit_a: 3.5, charger: {kind: current-limited, limit_a: 1}, cut_out_v: 10.5,
        low_battery_v: 11.3, restore_v: 12.5, battery_path_ohm: 0.04, largest_battery_ah: 18}"""


class Share(NamedTuple):
    """What one supply's part of the premises holds."""

    detection: int
    keypads: int
    sounders: int


@dataclass(slots=True)
class _Sections:
    """The rows of each section of the document, as they are made."""

    equipment: list[str] = field(default_factory=list)
    cables: list[str] = field(default_factory=list)
    circuits: list[str] = field(default_factory=list)
    zones: list[str] = field(default_factory=list)
    address: int = 0

    def next_address(self) -> int:
        self.address += 1
        return self.address

    def cable(self, sheet: str, start: str, end: str, length_m: float, more: str = "") -> str:
        name = f"W{len(self.cables) + 1}"
        self.cables.append(f"  {name}: {{sheet: {sheet}, start: {start}, end: {end}, length_m: {length_m:.1f}{more}}}")
        return name


def synthetic(devices: int, seed: int) -> str:
    """Return the text of a job with so many detectors, contacts, keypads and sounders; the same for the same seed.

    Control unit, further supplies and expanders come on top of ``devices``. Raises ValueError outside 1 to 2000 devices.
    """
    if not 1 <= devices <= MOST_DEVICES:
        raise ValueError(f"{devices} devices: 1 to {MOST_DEVICES} can be made")
    rng = Random(seed)
    resistors = rng.choice(RESISTOR_SETS)
    shares = _shares(devices)
    made = _Sections()
    units = ["control", *(f"supply-{number}" for number in range(2, len(shares) + 1))]
    for number, (unit, share) in enumerate(zip(units, shares, strict=True)):
        _supply(made, rng, unit, number)
        _panels_and_sounders(made, rng, unit, share, number)
        _detection(made, rng, unit, share.detection, number, resistors)
    for before, unit in pairwise(units):
        made.cable("half", before, unit, rng.uniform(15, 60), ", bus: yes, zero_v_cores: 2")
    return "\n".join([_head(devices, seed), _storeys(len(shares)), _kit(*resistors), *_body(made), _tail(len(shares))])


def _shares(devices: int) -> list[Share]:
    """Return the devices of each supply, spread evenly; the first is the control unit's own."""
    supplies = -(-devices // DEVICES_PER_SUPPLY)
    out = []
    for number in range(supplies):
        here = devices // supplies + (number < devices % supplies)
        keypads = 1 if here >= 3 else 0
        sounders = max(here // DEVICES_PER_SOUNDER, 1) if here >= 4 else 0
        out.append(Share(here - keypads - sounders, keypads, sounders))
    return out


def _room(rng: Random, number: int) -> str:
    return f"r{number * ROOMS_PER_SUPPLY + rng.randrange(ROOMS_PER_SUPPLY) + 1}"


def _supply(made: _Sections, rng: Random, unit: str, number: int) -> None:
    sheet = "supply" if number else "unit"
    made.equipment.append(f"  {unit}: {{sheet: {sheet}, room: {_room(rng, number)}, battery: {{sheet: eighteen}}}}")


def _panels_and_sounders(made: _Sections, rng: Random, unit: str, share: Share, number: int) -> None:
    for count in range(share.keypads):
        name = f"keypad-{number + 1}-{count + 1}"
        made.equipment.append(f"  {name}: {{sheet: keypad, room: {_room(rng, number)}, address: {made.next_address()}, enrolled: yes}}")
        made.cable("six", unit, name, rng.uniform(8, 35), f", bus: yes, feeds: [{{output: {unit}.aux}}]")
    for count in range(share.sounders):
        name = f"sounder-{number + 1}-{count + 1}"
        made.equipment.append(f"  {name}: {{sheet: sounder, room: {_room(rng, number)}}}")
        made.cable("half", unit, name, rng.uniform(8, 35), f", feeds: [{{output: {unit}.bells}}]")


def _detection(made: _Sections, rng: Random, unit: str, devices: int, number: int, resistors: tuple[int, int]) -> None:
    """Append circuits of one or two devices; the control unit's inputs first, then an expander for each sixteen."""
    lands, used = (unit, 0) if number == 0 else ("", CIRCUITS_PER_UNIT)
    while devices > 0:
        if used == CIRCUITS_PER_UNIT:
            lands, used = _expander(made, rng, unit, number), 0
        used += 1
        count = min(rng.choice((1, 1, 2)), devices)
        devices -= count
        _circuit(made, rng, unit, f"{lands}.{used}", count, number, resistors)


def _expander(made: _Sections, rng: Random, unit: str, number: int) -> str:
    address = made.next_address()
    name = f"expander-{address}"
    made.equipment.append(f"  {name}: {{sheet: expander, room: {_room(rng, number)}, address: {address}, enrolled: yes}}")
    made.cable("eight", unit, name, rng.uniform(1, 12), f", bus: yes, feeds: [{{output: {unit}.aux, cores: 2}}]")
    return name


def _circuit(made: _Sections, rng: Random, unit: str, landed: str, devices: int, number: int, resistors: tuple[int, int]) -> None:
    sheet = rng.choice(("motion", "motion", "dual", "reed", "reed"))
    feeds = "" if sheet == "reed" else f", feeds: [{{output: {unit}.aux}}]"
    room, place, hops = _room(rng, number), landed.partition(".")[0], []
    zone = len(made.circuits) + 1
    for position in range(devices):
        name = f"{sheet}-{zone}{'ab'[position] if devices > 1 else ''}"
        made.equipment.append(f"  {name}: {{sheet: {sheet}, room: {room}}}")
        length_m = rng.uniform(10, 50) if position == 0 else rng.uniform(3, 12)
        hops.append(f"{{cable: {made.cable('six', place, name, length_m, feeds)}, device: {name}}}")
        place = name
    end, alarm = resistors
    made.circuits.append(
        f"  c{zone}: {{input: {landed}, topology: double, resistors: {{end_ohm: {end}, alarm_ohm: {alarm}}}, path: [{', '.join(hops)}]}}"
    )
    response = rng.choice(("immediate", "immediate", "entry-route"))
    made.zones.append(
        f"  z{zone}: {{number: {zone}, text: Zone {zone} in {room}, circuit: c{zone}, "
        f"areas: [area-{number % MOST_AREAS + 1}], response: {{unset: ignored, full: {response}}}}}"
    )


def _head(devices: int, seed: int) -> str:
    return f"""\
format: 1
title: Made-up premises, {devices} devices, seed {seed}
premises: {{name: Made-up premises, occupancy: nobody's}}
region: {{country: GB, ruleset: en-grade-2}}
"""


def _storeys(supplies: int) -> str:
    lines = ["storeys:"]
    for first in range(0, supplies, SUPPLIES_PER_STOREY):
        last = min(first + SUPPLIES_PER_STOREY, supplies)
        rooms = (f"r{n}: {{name: Room {n}}}" for n in range(first * ROOMS_PER_SUPPLY + 1, last * ROOMS_PER_SUPPLY + 1))
        storey = first // SUPPLIES_PER_STOREY + 1
        lines.append(f"  s{storey}: {{name: Storey {storey}, rooms: {{{', '.join(rooms)}}}}}")
    return "\n".join(lines)


def _kit(end_ohm: int, alarm_ohm: int) -> str:
    """Return the data sheets, the bands laid around the resistor set with gaps between them."""
    active, both = end_ohm + alarm_ohm, end_ohm + 2 * alarm_ohm
    inputs = f"""
        count: {CIRCUITS_PER_UNIT}
        pull_up_ohm: 4k7
        bands:
          double:
            - {{reads: short, to_ohm: {0.33 * end_ohm:.0f}}}
            - {{reads: rest, from_ohm: {0.6 * end_ohm:.0f}, to_ohm: {1.3 * end_ohm:.0f}}}
            - {{reads: active, from_ohm: {0.65 * active:.0f}, to_ohm: {1.15 * both:.0f}}}
            - {{reads: open, from_ohm: {1.6 * both:.0f}}}
        resistor_sets: {{double: {{end_ohm: {end_ohm}, alarm_ohm: {alarm_ohm}}}}}"""
    return _KIT.replace(" &OUTPUTS", f" {_OUTPUTS}").replace(" &INPUTS", inputs).replace(" &SUPPLY", _SUPPLY)


def _body(made: _Sections) -> list[str]:
    return ["equipment:", *made.equipment, "cables:", *made.cables, "circuits:", *made.circuits, "zones:", *made.zones]


def _tail(supplies: int) -> str:
    areas = [f"area-{number + 1}" for number in range(min(supplies, MOST_AREAS))]
    rows = [f"  {name}: {{name: Area {name[5:]}, entry_s: 30, exit_s: 45}}" for name in areas]
    rights = ", ".join(f"{name}: both" for name in areas)
    outputs = ["control", *(f"supply-{number}" for number in range(2, supplies + 1))]
    follows = [f"  bells-{n}: {{terminal: {unit}.bells, follows: alarm, duration_s: 900}}" for n, unit in enumerate(outputs, 1)]
    return "\n".join(["areas:", *rows, "users:", f"  owner: {{role: owner, areas: {{{rights}}}}}", "outputs:", *follows, ""])
