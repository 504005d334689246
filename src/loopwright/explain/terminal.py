"""Where a meter was put and in which state, from the words of an observation to a check."""

from __future__ import annotations

from difflib import get_close_matches

from loopwright.explain.check import Check, CheckKind
from loopwright.explain.dead.check import NO_POWER, let_go_of
from loopwright.explain.unclear import Unclear
from loopwright.explain.whole.told import shown_check
from loopwright.job.document import Job
from loopwright.job.sheet import STATES
from loopwright.netlist.loop import ActKind

ACT_WORDS = (
    ("at rest", ActKind.REST),
    ("rest", ActKind.REST),
    ("idle", ActKind.REST),
    ("all operated", ActKind.ALL_ACTIVATED),
    ("operated", ActKind.ACTIVATED),
    ("lid open", ActKind.LID_OPEN),
    ("fault shown", ActKind.FAULT),
    ("shorted", ActKind.SHORTED),
    ("cut", ActKind.CUT),
    ("wire lifted", ActKind.CUT),
    ("lifted", ActKind.LIFTED),
)
"""The states of a circuit as they are written, the longer of two alike first."""
ACCEPTED_ACTS = (
    "rest; operated DEVICE; lid open DEVICE; fault shown DEVICE; shorted DEVICE; wire lifted DEVICE; lifted DEVICE; all operated"
)
ACCEPTED_STATES = "unset, set, entry or alarm, and on mains or on battery"
BATTERY_PLACES = {
    "": CheckKind.BUS_VOLTS,
    "battery": CheckKind.BATTERY_VOLTS,
    "leads": CheckKind.LEADS_VOLTS,
    "fuse": CheckKind.FUSE_VOLTS,
    "secondary": CheckKind.SECONDARY_VOLTS,
}
"""Where at a supply a meter goes, by the word after ``at``."""
RESTED, TEST_LOAD = "rested", "test load"


def check_of(job: Job, where: str, at: str, state: str, unit: str) -> Check:
    """Return the check that a reading in ``unit`` (empty for a word) at a place and in a state belongs to. Raises Unclear."""
    if state.lower().strip() == NO_POWER and not _is_explained(job, where, at):
        raise Unclear("What a dead check shows there moves no fault that is weighed; the list of dead checks judges it.")
    if not unit and (shown := shown_check(job, where, at)) is not None:
        return shown
    circuit = circuit_of(job, where)
    if circuit is not None:
        return _circuit_check(job, circuit, at, state, unit)
    if where in job.equipment and job.sheet_of(where).supply is not None:
        return _supply_check(where, at, state, unit)
    owner, _, terminal = where.partition(".")
    if owner in job.equipment and terminal in job.sheet_of(owner).outputs:
        return _output_check(job, where, at, state, unit)
    if not unit and where in job.equipment and job.sheet_of(where).addressed:
        return Check(kind=CheckKind.TROUBLE, where=where, scenario=at.lower().strip() or "missing")
    if owner in job.equipment and (terminal in job.sheet_of(owner).loads or not terminal and job.sheet_of(owner).loads):
        if unit not in ("V", ""):
            raise Unclear(f"At the supply terminals of {where} volts are read, not {_unit_words(unit)}.")
        load = terminal or next(iter(job.sheet_of(owner).loads))
        return Check(kind=CheckKind.DEVICE_VOLTS, where=f"{owner}.{load}", scenario=_scenario(state))
    raise Unclear(_unknown(job, where))


def _is_explained(job: Job, where: str, at: str) -> bool:
    """Return whether a reading without power is one that faults are weighed by: the ohms of a pair, the volts of a battery."""
    return at.lower().strip() in ("", "terminals", "battery") and (circuit_of(job, where) is not None or at.strip() == "battery")


def circuit_of(job: Job, where: str) -> str | None:
    """Return the circuit that a place names by itself, by its input or by its zone; None when it names none."""
    if where in job.circuits:
        return where
    if where in job.zones:
        return job.zones[where].circuit
    return next((name for name, circuit in job.circuits.items() if circuit.input == where), None)


def _unknown(job: Job, where: str) -> str:
    names = [*job.circuits, *job.zones, *job.equipment]
    names += [f"{owner}.{output}" for owner in job.equipment for output in job.sheet_of(owner).outputs]
    close = get_close_matches(where, names, 1, 0.6)
    hint = (
        f" Did you mean {close[0]}?"
        if close
        else " Write a circuit, a zone, an input, a device, an output such as control.aux, or a supply."
    )
    return f"'{where}' is not in this job.{hint}"


def _circuit_check(job: Job, circuit: str, at: str, state: str, unit: str) -> Check:
    act, device = _act(job, circuit, state)
    place = at.lower().strip()
    if place not in ("", "terminals", "cores", "field cores", "contact", "capacitance"):
        raise Unclear(f"'{at}' is not a place at a circuit. Accepted: terminals, cores, contact, capacitance.")
    if unit == "":
        kind = CheckKind.STATE
    elif unit == "V":
        kind = CheckKind.VOLTS
    elif unit == "nF":
        kind = CheckKind.CAPACITANCE
    elif unit == "Ω":
        kind = CheckKind.CONTACT_OHM if place == "contact" else CheckKind.CORES_OHM if "core" in place else CheckKind.OHM
    else:
        raise Unclear(f"At a detection circuit ohms, volts or capacitance are read, not {_unit_words(unit)}.")
    if kind is CheckKind.CAPACITANCE and act is not ActKind.REST:
        raise Unclear("Capacitance is read with the circuit at rest.")
    if kind is CheckKind.CONTACT_OHM and not device:
        device = _only_device(job, circuit)
    return Check(kind=kind, where=circuit, act=act, device=device)


def _act(job: Job, circuit: str, state: str) -> tuple[ActKind, str]:
    written = " ".join(state.split())
    lower = written.lower()
    if not lower:
        return ActKind.REST, ""
    if lower == NO_POWER:
        return _without_power(job, circuit)
    for words, act in ACT_WORDS:
        if lower == words or lower.startswith(f"{words} "):
            named = written[len(words) :].strip()
            if act in (ActKind.REST, ActKind.ALL_ACTIVATED):
                # At rest a device may be named: whose contact was read.
                return act, _device(job, circuit, named) if named else ""
            return act, _device(job, circuit, named) if named else _only_device(job, circuit)
    raise Unclear(f"'{state}' is not a state of a circuit. Accepted: {ACCEPTED_ACTS}.")


def _without_power(job: Job, circuit: str) -> tuple[ActKind, str]:
    """Return the act a circuit without power reads as: its powered detectors' relays let go, as when they are operated."""
    alarms = [hop.device for hop in job.circuits[circuit].path if hop.device is not None and "alarm" in hop.contacts]
    quiet = let_go_of(job, circuit)
    if not quiet:
        return ActKind.REST, ""
    if len(quiet) == 1:
        return ActKind.ACTIVATED, quiet[0]
    if set(quiet) == set(alarms):
        return ActKind.ALL_ACTIVATED, ""
    raise Unclear(f"Without power some relays of circuit {circuit} let go and some do not; only the dead checks know what it then reads.")


def _devices(job: Job, circuit: str) -> list[str]:
    return [hop.device for hop in job.circuits[circuit].path if hop.device is not None]


def _device(job: Job, circuit: str, named: str) -> str:
    devices = _devices(job, circuit)
    if named in devices:
        return named
    raise Unclear(f"'{named}' is not a device on circuit {circuit}. Accepted: {', '.join(devices)}.")


def _only_device(job: Job, circuit: str) -> str:
    devices = _devices(job, circuit)
    if len(devices) == 1:
        return devices[0]
    raise Unclear(f"Circuit {circuit} has {len(devices)} devices: name the one this was done to. Accepted: {', '.join(devices)}.")


def _supply_check(where: str, at: str, state: str, unit: str) -> Check:
    place = at.lower().strip()
    if unit == "":
        return Check(kind=CheckKind.TROUBLE, where=where, scenario=place)
    kind = BATTERY_PLACES.get(place)
    if kind is None or unit != "V":
        raise Unclear(f"At a supply volts are read. Where: nothing for its dc terminals, or {', '.join(w for w in BATTERY_PLACES if w)}.")
    if kind is CheckKind.BATTERY_VOLTS and (RESTED in state.lower() or state.lower().strip() == NO_POWER):
        return Check(kind=kind, where=where, scenario=RESTED)
    if kind is CheckKind.BATTERY_VOLTS and TEST_LOAD in state.lower():
        return Check(kind=kind, where=where, scenario=TEST_LOAD)
    if kind in (CheckKind.LEADS_VOLTS, CheckKind.SECONDARY_VOLTS, CheckKind.FUSE_VOLTS):
        return Check(kind=kind, where=where)
    return Check(kind=kind, where=where, scenario=_scenario(state))


def _output_check(job: Job, where: str, at: str, state: str, unit: str) -> Check:
    if unit == "V":
        return Check(kind=CheckKind.OUTPUT_VOLTS, where=where, scenario=_scenario(state))
    if unit == "A":
        return Check(kind=CheckKind.OUTPUT_AMPS, where=where, scenario=_scenario(state))
    owner, _, output = where.partition(".")
    if job.sheet_of(owner).outputs[output].supervision is None:
        raise Unclear(f"Output {where} is not watched, so ohms and states of it are not forecast. Volts and amperes are.")
    act, device = ActKind.REST, ""
    lower = " ".join(state.split())
    for words, kind in ACT_WORDS:
        if lower.lower().startswith(words):
            act, device = kind, lower[len(words) :].strip()
            break
    if unit == "" and at.lower().strip() == "silent":
        return Check(kind=CheckKind.TROUBLE, where=where, scenario="silent")
    return Check(kind=CheckKind.TROUBLE if unit == "" else CheckKind.OHM, where=where, act=act, device=device)


def _scenario(state: str) -> str:
    lower = state.lower()
    words = set(lower.replace(",", " ").split()) - {"on", "rest", "at", "mains", "battery", "idle"}
    named = [each.value for each in STATES if each.value in words]
    if words - set(named) or len(named) > 1:
        raise Unclear(f"'{state}' is not a state of the system. Accepted: {ACCEPTED_STATES}.")
    # Set and entry draw little else than unset does: the same forecast serves.
    return f"{'alarm' if named == ['alarm'] else 'unset'}/{'battery' if 'battery' in lower else 'mains'}"


def _unit_words(unit: str) -> str:
    return {"Ω": "ohms", "V": "volts", "A": "amperes", "nF": "capacitance", "": "a word"}[unit]
