"""What must be proved of supplies, paths and setting, with what each reading is held against."""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.explain.check import Check, CheckKind
from loopwright.explain.power.check import RESTED
from loopwright.explain.power.reading import AMPS_SHARE, LEAST_A, PowerReader, Supplied, supplied
from loopwright.job.document import Job
from loopwright.job.sheet import Conversion
from loopwright.netlist.solve import SolveError
from loopwright.power.forecast import PowerForecast, label_of
from loopwright.prove.item import Group, Item, Proof, Target, key_of

SPREADS = 2.0
"""A reading agrees within so many spreads of its forecast: about nineteen of twenty sound ones do (judgement)."""
MAINS = "The secondary is behind the mains cover: for a licensed person."
BATTERY = "Never short the lugs; no rings or metal watch. Mains off by its own spur, by whoever is allowed to."
NOISE = "Above 100 dB(A) at arm's length: ears protected, people and neighbours told."
_VOLTS = (
    (Proof.FLOAT, "unset/mains", "Float: volts at the battery's own posts, on mains, charged"),
    (Proof.RESTED, RESTED, "Rested: volts at the posts, off charge for an hour"),
    (Proof.MINUTE, "unset/battery", "Volts at the posts one minute after mains is pulled"),
)


def supply_items(job: Job, power: PowerForecast) -> Iterator[Item]:
    """Yield the four numbers of every supply, and its current unset and in alarm."""
    reader = PowerReader(job, {f"{each.equipment}.{each.load}": each for each in power.network.landings})
    try:
        sound = supplied(power.network.netlist, {}, "", whole=True)
    except SolveError:
        sound = None
    for name in job.equipment:
        sheet = job.sheet_of(name).supply
        if sheet is None:
            continue
        if sheet.conversion is Conversion.TRANSFORMER and sheet.secondary_v:
            check = Check(kind=CheckKind.SECONDARY_VOLTS, where=name)
            yield _supply(job, name, Proof.SECONDARY, "Secondary: ac volts, load lifted", "V", _volts(reader, sound, check), MAINS)
        if job.equipment[name].battery is not None:
            for proof, scenario, words in _VOLTS:
                check = Check(kind=CheckKind.BATTERY_VOLTS, where=name, scenario=scenario)
                yield _supply(job, name, proof, words, "V", _volts(reader, sound, check), BATTERY)
        for proof, state, words in ((Proof.UNSET_A, "unset", "unset"), (Proof.ALARM_A, "alarm", "in alarm")):
            caution = NOISE if state == "alarm" else ""
            yield _supply(job, name, proof, f"Current {words}, as the load takes it", "A", _amperes(power, name, state), caution)


def _volts(reader: PowerReader, sound: Supplied | None, check: Check) -> Target | None:
    if sound is None:
        return None
    mean, sd = reader.read(sound, check)
    return Target(value=mean, low=mean - SPREADS * sd, high=mean + SPREADS * sd, unit="V", words="what supplies and batteries vary by")


def _amperes(power: PowerForecast, name: str, state: str) -> Target | None:
    scenario = f"{state}/mains"
    if scenario not in power.names:
        return None
    amps = float(power.supply(name).load_a[power.column(scenario)])
    room = max(AMPS_SHARE * amps, LEAST_A)
    return Target(value=amps, low=amps - room, high=amps + room, unit="A", words="what currents on data sheets are uncertain by")


def _supply(job: Job, name: str, proof: Proof, act: str, unit: str, target: Target | None, caution: str) -> Item:
    return Item(
        key=key_of(proof, name), proof=proof, group=Group.SUPPLIES, subject=f"equipment/{name}", where=label_of(job, name), act=act,
        unit=unit, target=target, caution=caution,
    )  # fmt: skip


def system_items(job: Job) -> Iterator[Item]:
    """Yield setting and unsetting of every area in every set state, and every path."""
    for name, area in job.areas.items():
        for state in ("full", *job.programme.part_sets):
            yield Item(
                key=key_of(Proof.SETTING, name, state), proof=Proof.SETTING, group=Group.SETTING, subject=f"areas/{name}", where=area.name,
                act=f"Set {state}: does it set, and tell so?", brief=f"set {state}",
            )  # fmt: skip
        yield Item(
            key=key_of(Proof.SETTING, name, "unset"), proof=Proof.SETTING, group=Group.SETTING, subject=f"areas/{name}", where=area.name,
            act="Unset by the way people come in, in the entry time: does it unset in time?", brief="unset",
        )  # fmt: skip
    alone = "Does a signal arrive by it?" if len(job.signalling.paths) == 1 else "The others taken away: does a signal arrive by it alone?"
    for name, path in job.signalling.paths.items():
        yield Item(
            key=key_of(Proof.PATH, name), proof=Proof.PATH, group=Group.PATHS, subject=f"signalling/paths/{name}",
            where=f"{name} ({path.kind})", act=alone,
        )  # fmt: skip
