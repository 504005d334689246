"""A detection circuit as a part that can be at fault: every fault of it as an edit, and what each check then reads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, combinations

import numpy as np
from numpy.typing import NDArray

from loopwright.circuits.forecast import BandTable, band_table
from loopwright.explain.amount import ALONE
from loopwright.explain.catalogue import Fault, of_group
from loopwright.explain.circuit.capacitance import drum_of
from loopwright.explain.circuit.check import circuit_checks
from loopwright.explain.circuit.edit import BANDS, Variants, cores_alone
from loopwright.explain.circuit.own import own_job
from loopwright.explain.circuit.place import CircuitPlaces, Spot
from loopwright.explain.circuit.reading import Loops, contacts_wanted, predict
from loopwright.explain.hypothesis import Hypothesis, Part
from loopwright.explain.look import looks_of
from loopwright.job.document import Job
from loopwright.job.sheet import Topology
from loopwright.netlist.loop import ActKind, LoopNetwork, compile_loop
from loopwright.netlist.variants import read_variants
from loopwright.values.recent import Recent

MOST_AMOUNTS, LEAST_AMOUNTS = 40, 4
"""On a circuit of many places the amounts of each are fewer and further apart: a reading tells the place, not the amount, there."""
MOST_WAYS = 16
MOST_DARK = 3
"""Of more powered devices on one circuit than this, only one at a time or all together are taken to go dark."""

MOST_PARTS = 40
PARTS = Recent[Part](most_names=MOST_PARTS, each=2)
"""The circuits looked into last, some megabytes where they have many devices."""


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
    """Return the circuit called ``name`` with all its hypotheses. Raises KeyError when there is none.

    The part is the same object again as long as nothing it comes from has changed.
    """
    own = own_job(job, name)
    if (known := PARTS.find(name, (own,))) is None:
        known = worked_out(own, name)
        PARTS.put(name, (own,), known)
    return known


def worked_out(job: Job, name: str) -> Part:
    """Return the part as it is worked out, with nothing kept."""
    places = CircuitPlaces(job, compile_loop(job, name))
    made = _made(job, places)
    hypotheses, variants = _hypotheses(job, places, made)
    sound, dark = variants[0], _dark_sets(places)
    base = len(variants)
    variants += [_hidden(made, places, sound, "open", devices) for devices in dark]
    working = _working(places)
    operated = {device: base + dark.index(frozenset({device})) for device in working if frozenset({device}) in dark and working[device]}
    for device in (device for device in working if device not in operated):
        operated[device] = len(variants)
        variants.append(_hidden(made, places, sound, "operate", (device,)))
    checks = circuit_checks(job, places, variants[0].network, variants[0].bands is not None)
    looks, chances = looks_of(f"circuits/{name}", hypotheses, np.array([v.owner for v in variants]))
    predicted = predict(
        Loops(
            networks=tuple(v.network for v in variants),
            readings=read_variants([v.network for v in variants], contacts_wanted(places.network)),
            cores=_cores(variants),
            bands=tuple(v.bands for v in variants),
            nominal=places.network.pull_up,
            pull_up_share=_pull_up_share(job, name),
            series=np.array([v.series for v in variants]),
            drum=drum_of(job, name),
            elsewhere=_elsewhere(variants),
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
    places = CircuitPlaces(job, compile_loop(job, name))
    return _hypotheses(job, places, _made(job, places))


def _made(job: Job, places: CircuitPlaces) -> Variants:
    devices = {n: hop.device for n, hop in enumerate(places.circuit.path) if hop.device is not None}
    return Variants(job, places.network, devices)


def _hypotheses(job: Job, places: CircuitPlaces, made: Variants) -> tuple[list[Hypothesis], list[Variant]]:
    bands = {topology: _bands(job, places, topology) for topology in Topology}
    variants = [Variant(owner=-1, share=1.0, present=1.0, network=made.sound, bands=bands[places.circuit.topology])]
    hypotheses: list[Hypothesis] = []
    by_kind = {at: places.spots(at) for at in {fault.at for fault in of_group("circuit")}}
    for fault in of_group("circuit"):
        spots = [spot for spot in by_kind[fault.at] if spot.has(fault.needs)]
        for spot in spots:
            owner = len(hypotheses)
            own = _variants(made, places, fault, spot, owner, bands, most=max(MOST_AMOUNTS // len(spots), LEAST_AMOUNTS))
            if own:
                weight = fault.weight / len(spots)
                part = f"circuits/{places.name}"
                hypotheses.append(Hypothesis(fault=fault, part=part, place=spot.place, words=spot.words, weight=weight))
                variants += own
    return hypotheses, variants


def _variants(
    made: Variants, places: CircuitPlaces, fault: Fault, spot: Spot, owner: int, bands: Mapping[Topology, BandTable | None], *, most: int
) -> list[Variant]:
    """Return one variant a way and amount, alike in chance."""
    amounts = _amounts(places, fault, spot, most)
    out = []
    rising = fault.amount is not None and not fault.amount.among
    for number, way in enumerate(fault.ways):
        for amount in amounts:
            names = spot.names | {"x": amount}
            topology = next((Topology(edit[1].format_map(names)) for edit in way if edit[0] == BANDS), places.circuit.topology)
            share = 1.0 / (len(fault.ways) * len(amounts))
            series = owner * MOST_WAYS + number if rising else ALONE
            network = made.edited(way, names)
            out.append(Variant(owner=owner, series=series, share=share, present=fault.present, network=network, bands=bands[topology]))
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


def _elsewhere(variants: Sequence[Variant]) -> NDArray[np.bool_]:
    """Return in which variants the devices hang on another input: nothing done to them moves the circuit, as it does without a fault.

    A run that is broken already is not broken once more by cutting it, but what is operated on it still moves.
    """
    done = [any(act.changes for act in v.network.acts if act.kind not in (ActKind.REST, ActKind.NO_RESISTOR)) for v in variants]
    return np.array([done[0] and not each for each in done], dtype=np.bool_)


def _dark_sets(places: CircuitPlaces) -> list[frozenset[str]]:
    """Return the sets of powered devices that may stand without a supply together."""
    powered = places.powered()
    if len(powered) > MOST_DARK:
        return [*(frozenset({device}) for device in powered), frozenset(powered)]
    return [frozenset(some) for some in chain.from_iterable(combinations(powered, count) for count in range(1, len(powered) + 1))]


def _hidden(made: Variants, places: CircuitPlaces, sound: Variant, edit: str, devices: Iterable[str]) -> Variant:
    """Return the circuit as something elsewhere puts it, by the alarm contacts of ``devices``: let go, as relays are without a supply
    (common practice, no source), or as they are with the device at work."""
    network = made.edited(tuple((edit, places.contact_of(device)) for device in sorted(devices)), {})
    return replace(sound, owner=-2, network=network)


def _working(places: CircuitPlaces) -> dict[str, bool]:
    """Return the devices that can truly be at work, and whether each then reads as it does without a supply: its contact opens."""
    devices = [hop.device for hop in places.circuit.path if hop.device is not None and "alarm" in hop.contacts]
    moved = {act.device: act.changes for act in places.network.acts if act.kind is ActKind.ACTIVATED and act.changes}
    return {device: [math.isinf(ohm) for _, ohm in moved[device]] == [True] for device in devices if device in moved}


def _cores(variants: Sequence[Variant]) -> NDArray[np.float64]:
    """Return the ohms of the field cores alone, (variants, acts); NaN where they are those of the terminals."""
    out = np.full((len(variants), len(variants[0].network.acts)), np.nan)
    lifted = {id(v.network): cores_alone(v.network) for v in variants}
    rows = [row for row, v in enumerate(variants) if lifted[id(v.network)] is not None]
    networks = [network for row in rows if (network := lifted[id(variants[row].network)]) is not None]
    if rows:
        out[rows] = read_variants(networks).field_ohm
    return out
