"""How a check is put to a caller: plain words in the second person, of places as people call them (``caller.toml``)."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from loopwright.explain.whole.word import words
from loopwright.job.document import Job
from loopwright.job.sheet import Kind
from loopwright.power.forecast import label_of

THERE = "it"
"""What a place nobody has named is called, where the wording has no other for it."""


@cache
def table() -> Mapping[str, Mapping[str, str]]:
    """Return the wordings by what they are of and the id of the check."""
    found: dict[str, dict[str, str]] = tomllib.loads(files("loopwright.desk").joinpath("caller.toml").read_text(encoding="utf-8"))
    return found


def caller_words(job: Job, entry: Mapping[str, str]) -> str:
    """Return a check as a question to a caller; ``entry`` names it as an observation file does, with ``place`` for ``at``.

    Raises KeyError for a check no caller can do.
    """
    where, at, state = entry.get("where", ""), entry.get("place", ""), entry.get("state", "")
    asked = entry.get("look") or entry.get("told") or (at if at in words() else "")
    place = _called(job, (at or where) if entry.get("look") else where)
    if place == THERE and asked in table()["anywhere"]:
        return table()["anywhere"][asked]
    if entry.get("look"):
        return _filled(table()["look"][entry["look"]], job, at or where)
    if asked:
        wording = table()["told"].get(asked)
        if wording is not None:
            return _filled(wording, job, where)
        asks = words()[asked].asks
        return f"{asks}?" if place == THERE else f"{place}: {asks[0].lower()}{asks[1:]}?"
    for group in ("missing", "power"):
        if at in table()[group]:
            return _filled(table()[group][at], job, where)
    if where not in job.circuits:
        return table()["output"]["trouble"]
    done, _, device = state.partition(" ")
    return _filled(table()["state"][done or "rest"], job, device if done == "operated" and device else where)


def hindrance_words(hindrance: str) -> tuple[str, str]:
    """Return how a caller is asked whether something keeps it from being set, and what to mind, in brief."""
    return table()["hindrance"][hindrance], table()["mind"].get(hindrance, "")


def caller_choice(outcome: str) -> str:
    """Return an outcome of a check as a caller says it."""
    return table()["shown"].get(outcome.replace(" ", "-"), outcome.capitalize())


def _filled(wording: str, job: Job, place: str) -> str:
    return wording.replace("{do}", _set_off(job, place)).replace("{place}", _called(job, place))


def _set_off(job: Job, place: str) -> str:
    """Return how a caller sets off what is at a place: no detector is opened, and no button is pressed."""
    kinds = {job.sheet_of(name).kind for name in _devices(job, place)}
    if kinds == {Kind.CONTACT}:
        return "Open the door or window at {place}"
    return (
        "Walk through the room at {place}" if kinds == {Kind.DETECTOR} else "Open the door or window at {place}, or walk through the room"
    )


def _devices(job: Job, place: str) -> tuple[str, ...]:
    """Return the devices a place stands for: itself, or those of its circuit."""
    if place in job.equipment:
        return (place,)
    circuit = (job.zones[place].circuit or "") if place in job.zones else place
    path = job.circuits[circuit].path if circuit in job.circuits else ()
    return tuple(hop.device for hop in path if hop.device is not None)


def is_of_hold_up(job: Job, place: str) -> bool:
    """Return whether a place is a hold-up device, or one of its circuit or zone: no caller is asked to set one off."""
    return any(job.sheet_of(name).kind is Kind.HOLD_UP for name in _devices(job, place.partition("/")[2] or place))


def _called(job: Job, place: str) -> str:
    """Return what people call a place; a circuit by the text of its zone."""
    zone = job.zones.get(place) or next((each for each in job.zones.values() if place and each.circuit == place), None)
    if zone is not None:
        return zone.text or f"number {zone.number}"
    return label_of(job, place) if place in job.equipment else THERE
