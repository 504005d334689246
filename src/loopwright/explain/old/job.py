"""A job document to start from, out of what was found out about old pairs: each pair a circuit, and defaults said to be so."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from loopwright.explain.old.pair import Guess, OldPair, PairState
from loopwright.explain.old.take_over import Plan, TakeOver
from loopwright.job.read import read
from loopwright.job.sheet import ResistorSet
from loopwright.job.tree import LIST, MAP, Node, compose
from loopwright.job.write import entry_lines
from loopwright.values.figure import show

CABLE = "old-cable"
OHM_PER_KM = 92.0
"""A core of thin old cable [Ω/km]: 0.22 mm², tinned (a usual figure; common practice, no source)."""
DEFAULT_M = 20.0
"""A run that nobody measured [m]."""


def old_job(source: str, unit: str, pairs: Sequence[OldPair], found: TakeOver, plan: Plan) -> str:
    """Return a job document that starts from old pairs: the unit and its sheet from ``source``, the circuits as ``plan`` wants them.

    Raises JobError when it cannot stand, KeyError when ``source`` has no such unit.
    """
    root = _plain(compose(source)[1])
    job = read(source).job
    sheet = job.equipment[unit].sheet
    served = [pair for pair in pairs if found.wired[pair.name]]
    names = _names(served)
    document: dict[str, Any] = {
        "format": root["format"],
        "title": f"{job.title}, taken over",
        "premises": {"name": job.premises.name, "notes": _notes(found, plan)},
        "region": root["region"],
        "stage": "design",
        "sheets": {
            "equipment": {sheet: root["sheets"]["equipment"][sheet], "old-device": _device()},
            "cables": {
                CABLE: {"cores": "4", "gauge": "0.22 mm²", "ohm_per_km": f"{OHM_PER_KM:g}", "provenance": "a default: not measured"}
            },
        },
        "equipment": {unit: {"sheet": sheet, "label": job.equipment[unit].label or unit}},
        "cables": {},
        "circuits": {},
        "areas": {"all": {"name": "Everything"}},
        "zones": {},
    }
    left_out = set(plan.left_out)
    number = 0
    for pair in served:
        key, guess = names[pair.name], found.wired[pair.name][0]
        document["equipment"][f"{key}-device"] = {"sheet": "old-device", "label": pair.name}
        metres, words = _metres(pair)
        document["cables"][f"{key}-run"] = {"sheet": CABLE, "start": unit, "end": f"{key}-device", "length_m": f"{metres:g}"}
        circuit: dict[str, Any] = {
            "topology": str(plan.topology),
            "resistors": _resistors(guess.resistors if pair.name in plan.stay else plan.resistors),
        }
        if pair.name not in left_out:
            number += 1
            circuit = {"input": f"{unit}.{number}"} | circuit
            document["zones"][key] = {"number": f"{number}", "text": pair.name, "circuit": key, "areas": ["all"]}
        circuit |= {"path": [{"cable": f"{key}-run", "device": f"{key}-device"}], "note": _note(guess, plan, pair.name, words)}
        document["circuits"][key] = circuit
    text = "\n".join(line for key, value in document.items() for line in entry_lines(key, value, 0)) + "\n"
    read(text)
    return text


def _plain(node: Node) -> Any:  # noqa: ANN401 - whatever a document holds
    if node.kind == MAP:
        return {str(key.value): _plain(value) for key, value in node.value}
    if node.kind == LIST:
        return [_plain(value) for value in node.value]
    return None if node.null else node.value


def _device() -> dict[str, Any]:
    return {
        "kind": "contact",
        "maker": "unknown",
        "model": "found on an old pair",
        "provenance": "not identified yet: read its label",
        "contacts": {"alarm": {"rest": "closed"}, "tamper": {"rest": "closed"}},
    }


def _names(pairs: Sequence[OldPair]) -> dict[str, str]:
    out: dict[str, str] = {}
    for number, pair in enumerate(pairs, 1):
        slug = re.sub(r"[^a-z0-9]+", "-", pair.name.casefold()).strip("-")
        out[pair.name] = f"old-{slug}" if slug and f"old-{slug}" not in out.values() else f"old-{number}"
    return out


def _metres(pair: OldPair) -> tuple[float, str]:
    """Return the metres of a pair's run, and where they come from."""
    shorted = pair.ohm.get(PairState.SHORTED)
    if shorted is not None and 0 < shorted <= 60:
        return max(round(shorted / (2 * OHM_PER_KM / 1000)), 1), f"{show(shorted, 'Ω')} shorted at the device, taken as thin cable"
    return DEFAULT_M, "its length is a default: nobody measured it"


def _resistors(found: ResistorSet) -> dict[str, str]:
    slots = {"end_ohm": found.end_ohm, "alarm_ohm": found.alarm_ohm, "fault_ohm": found.fault_ohm}
    return {name: f"{ohm:g}" for name, ohm in slots.items() if ohm is not None}


def _note(guess: Guess, plan: Plan, pair: str, length: str) -> str:
    swap = plan.swap.get(pair, ())
    do = f"To change: {' and '.join(swap)} resistor. " if swap else "Stays as it is. " if pair in plan.stay else "No input for it yet. "
    return f"Found: {wired_words(guess)}. {do}{length[0].upper()}{length[1:]}."


def wired_words(guess: Guess) -> str:
    """Return a way of wiring in words, with what is odd about it and what was assumed."""
    slots = (("end", guess.resistors.end_ohm), ("alarm", guess.resistors.alarm_ohm), ("fault", guess.resistors.fault_ohm))
    parts = [f"{name} {show(ohm, 'Ω')}" for name, ohm in slots if ohm is not None]
    more = [*(f"odd: {words}" for words in guess.odd), *(f"taken as a default: {words}" for words in guess.assumed)]
    return "; ".join([", ".join([str(guess.topology), *parts]), *more])


def _notes(found: TakeOver, plan: Plan) -> str:
    parts = ["Begun from readings of old pairs. Sheets, lengths and devices marked as defaults have to be put right."]
    if found.unexplained:
        parts.append(f"No wiring explains {', '.join(found.unexplained)}: look for a fault or a second device there.")
    if plan.left_out:
        parts.append(f"No input is left for {', '.join(plan.left_out)}.")
    return " ".join(parts)
