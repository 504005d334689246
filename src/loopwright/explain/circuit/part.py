"""A detection circuit as a part that can be at fault: every fault of it as an edit, and what each check then reads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain, combinations

import numpy as np
from numpy.typing import NDArray

from loopwright.circuits.forecast import BandTable, band_table
from loopwright.explain.amount import ALONE
from loopwright.explain.catalogue import Fault, of_group
from loopwright.explain.circuit.capacitance import drum_of
from loopwright.explain.circuit.check import circuit_checks
from loopwright.explain.circuit.edit import BANDS, cores_alone, edited, with_lifting
from loopwright.explain.circuit.place import CircuitPlaces, Spot
from loopwright.explain.circuit.reading import Loops, predict
from loopwright.explain.hypothesis import Hypothesis, Part
from loopwright.explain.look import looks_of
from loopwright.job.document import Job
from loopwright.job.sheet import Topology
from loopwright.netlist.loop import ActKind, LoopNetwork, LoopReading, compile_loop, read_loops

MOST_AMOUNTS, LEAST_AMOUNTS = 40, 4
"""On a circuit of many places the amounts of each are fewer and further apart: a reading tells the place, not the amount, there."""
AT_ONCE = 64
"""Variants solved as one stack: a circuit of many devices would otherwise fill gigabytes."""
MOST_WAYS = 16
MOST_DARK = 3
"""Of more powered devices on one circuit than this, only one at a time or all together are taken to go dark."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Variant:
    """One hypothesis in one amount: the network with the fault in it, and the bands the input goes by.

    ``series`` is the same for variants that differ by a rising amount alone.
    """

    owner: int
    series: int = ALONE
    share: float
    present: float
    network: LoopNetwork
    bands: BandTable | None


def circuit_part(job: Job, name: str) -> Part:
    """Return the circuit called ``name`` with all its hypotheses. Raises KeyError when there is none."""
    places = CircuitPlaces(job, compile_loop(job, name))
    hypotheses, variants = _hypotheses(job, places)
    dark = _dark_sets(places)
    base = len(variants)
    variants += [_dark(job, places, devices) for devices in dark]
    working = _working(places)
    operated = {device: base + dark.index(frozenset({device})) for device in working if frozenset({device}) in dark and working[device]}
    for device in (device for device in working if device not in operated):
        operated[device] = len(variants)
        variants.append(_operated(job, places, device))
    checks = circuit_checks(job, places, variants[0].network, variants[0].bands is not None)
    looks, chances = looks_of(f"circuits/{name}", hypotheses, np.array([v.owner for v in variants]))
    predicted = predict(
        Loops(
            networks=tuple(v.network for v in variants),
            readings=_readings([v.network for v in variants]),
            cores=_cores(variants),
            bands=tuple(v.bands for v in variants),
            nominal=places.network.pull_up,
            pull_up_share=_pull_up_share(job, name),
            series=np.array([v.series for v in variants]),
            drum=drum_of(job, name),
            elsewhere=tuple(not any(act.changes for act in v.network.acts if act.kind is ActKind.CUT) for v in variants),
        ),
        checks + looks,
        chances,
        owner=np.array([v.owner for v in variants]),
        share=np.array([v.share for v in variants]),
        present=np.array([v.present for v in variants]),
    )
    hidden = {devices: base + number for number, devices in enumerate(dark)}
    return Part(name=f"circuits/{name}", hypotheses=tuple(hypotheses), predicted=predicted, hidden=hidden, operated=operated)


def circuit_variants(job: Job, name: str) -> tuple[list[Hypothesis], list[Variant]]:
    """Return every hypothesis of a circuit and every variant of its network, the sound one first."""
    return _hypotheses(job, CircuitPlaces(job, compile_loop(job, name)))


def _hypotheses(job: Job, places: CircuitPlaces) -> tuple[list[Hypothesis], list[Variant]]:
    devices = {n: hop.device for n, hop in enumerate(places.circuit.path) if hop.device is not None}
    bands = _bands(job, places, places.circuit.topology)
    sound = with_lifting(places.network, devices)
    variants = [Variant(owner=-1, share=1.0, present=1.0, network=sound, bands=bands)]
    hypotheses: list[Hypothesis] = []
    for fault in of_group("circuit"):
        spots = [spot for spot in places.spots(fault.at) if spot.has(fault.needs)]
        for spot in spots:
            owner = len(hypotheses)
            made = _variants(job, places, fault, spot, owner, devices, most=max(MOST_AMOUNTS // len(spots), LEAST_AMOUNTS))
            if made:
                weight = fault.weight / len(spots)
                part = f"circuits/{places.name}"
                hypotheses.append(Hypothesis(fault=fault, part=part, place=spot.place, words=spot.words, weight=weight))
                variants += made
    return hypotheses, variants


def _variants(
    job: Job, places: CircuitPlaces, fault: Fault, spot: Spot, owner: int, devices: dict[int, str], *, most: int
) -> list[Variant]:
    """Return one variant a way and amount, alike in chance."""
    amounts = _amounts(places, fault, spot, most)
    out = []
    rising = fault.amount is not None and not fault.amount.among
    for number, way in enumerate(fault.ways):
        for amount in amounts:
            names = spot.names | {"x": amount}
            topology = next((Topology(edit[1].format_map(names)) for edit in way if edit[0] == BANDS), places.circuit.topology)
            network = with_lifting(edited(job, places.network, way, names), devices)
            share = 1.0 / (len(fault.ways) * len(amounts))
            bands = _bands(job, places, topology)
            series = owner * MOST_WAYS + number if rising else ALONE
            out.append(Variant(owner=owner, series=series, share=share, present=fault.present, network=network, bands=bands))
    return out


def _amounts(places: CircuitPlaces, fault: Fault, spot: Spot, most: int) -> tuple[str, ...]:
    if fault.amount is None:
        return ("",)
    if not fault.amount.among:
        return tuple(f"{number!r}" for number in fault.amount.numbers(most))
    left_out = fault.amount.not_ohm.format_map(spot.names)
    return tuple(number for number in places.numbers(fault.amount.among) if number != left_out)


def _bands(job: Job, places: CircuitPlaces, topology: Topology) -> BandTable | None:
    landed = places.circuit.input
    return band_table(job.sheet_of(landed.partition(".")[0]).inputs, topology) if landed else None


def _pull_up_share(job: Job, name: str) -> float:
    landed = job.circuits[name].input
    inputs = job.sheet_of(landed.partition(".")[0]).inputs if landed else None
    return (inputs.pull_up_tolerance_pct if inputs else 1.0) / 100


def _dark_sets(places: CircuitPlaces) -> list[frozenset[str]]:
    """Return the sets of powered devices that may stand without a supply together."""
    powered = places.powered()
    if len(powered) > MOST_DARK:
        return [*(frozenset({device}) for device in powered), frozenset(powered)]
    return [frozenset(some) for some in chain.from_iterable(combinations(powered, count) for count in range(1, len(powered) + 1))]


def _dark(job: Job, places: CircuitPlaces, devices: frozenset[str]) -> Variant:
    """Return the circuit with the alarm relays of ``devices`` let go, as they are without a supply (common practice, no source)."""
    powered = {n: hop.device for n, hop in enumerate(places.circuit.path) if hop.device is not None}
    way = tuple(("open", places.contact_of(device)) for device in sorted(devices))
    network = with_lifting(edited(job, places.network, way, {}), powered)
    return Variant(owner=-2, share=1.0, present=1.0, network=network, bands=_bands(job, places, places.circuit.topology))


def _working(places: CircuitPlaces) -> dict[str, bool]:
    """Return the devices that can truly be at work, and whether each then reads as it does without a supply: its contact opens."""
    devices = [hop.device for hop in places.circuit.path if hop.device is not None and "alarm" in hop.contacts]
    moved = {act.device: act.changes for act in places.network.acts if act.kind is ActKind.ACTIVATED and act.changes}
    return {device: [math.isinf(ohm) for _, ohm in moved[device]] == [True] for device in devices if device in moved}


def _operated(job: Job, places: CircuitPlaces, device: str) -> Variant:
    """Return the circuit with a device at work."""
    devices = {n: hop.device for n, hop in enumerate(places.circuit.path) if hop.device is not None}
    network = with_lifting(edited(job, places.network, (("operate", places.contact_of(device)),), {}), devices)
    return Variant(owner=-2, share=1.0, present=1.0, network=network, bands=_bands(job, places, places.circuit.topology))


def _readings(networks: list[LoopNetwork]) -> tuple[LoopReading, ...]:
    return tuple(reading for first in range(0, len(networks), AT_ONCE) for reading in read_loops(networks[first : first + AT_ONCE]))


def _cores(variants: Sequence[Variant]) -> NDArray[np.float64]:
    """Return the ohms of the field cores alone, (variants, acts); NaN where they are those of the terminals."""
    out = np.full((len(variants), len(variants[0].network.acts)), np.nan)
    lifted = [(row, network) for row, v in enumerate(variants) if (network := cores_alone(v.network)) is not None]
    for (row, _), reading in zip(lifted, read_loops([network for _, network in lifted]), strict=True):
        out[row] = reading.field_ohm
    return out
