"""The wiring mistake behind what was reported: the acts and their events, as the keypad would show them, weighed by explain.

A proving asks three of the five questions of a circuit: at rest, operated, lid open. What the unit told of each is handed to the same
inference that names faults from a meter; nothing here knows what any mistake looks like.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loopwright.explain.explain import Inquiry
from loopwright.explain.explanation import Explanation
from loopwright.explain.meter import Instrument
from loopwright.explain.observation import Noted, Observations, seen_of, settle
from loopwright.explain.telling import tell
from loopwright.explain.unclear import Unclear
from loopwright.job.document import Job
from loopwright.prove.call import About, Call
from loopwright.prove.kind import Kind
from loopwright.prove.match import Window

_SHOWN = {Kind.ALARM: "active", Kind.HOLD_UP: "active", Kind.TAMPER: "tamper", Kind.FAULT: "fault"}
_STATES = {"operate": "operated", "lid": "lid open", "mask": "fault shown"}
LEAST_NAMED = 0.05
"""Answers less likely than this are not named (a choice of this page)."""


def signs(job: Job, acts: Sequence[Window], calls: Sequence[Call]) -> Mapping[str, tuple[Noted, ...]]:
    """Return by circuit what was shown of it, for the circuits behind something that was called out and is not over."""
    asked = {
        device
        for call in calls
        if call.about in (About.WRONG_KIND, About.NOTHING) and not call.over and call.sure
        for device in call.devices
    }
    circuits = {circuit for device in asked if (circuit := _circuit_of(job, device))}
    out: dict[str, tuple[Noted, ...]] = {}
    for circuit in sorted(circuits):
        last: dict[tuple[str, str], Window] = {}
        for window in acts:
            if window.walked.sure and _circuit_of(job, window.walked.device) == circuit and not window.others:
                last[window.walked.device, window.walked.act] = window
        shown = [Noted(where=circuit, shows="rest")]
        shown += [Noted(where=circuit, state=f"{_STATES[act]} {device}", shows=_shows(window)) for (device, act), window in last.items()]
        out[circuit] = tuple(shown)
    return out


def _circuit_of(job: Job, device: str) -> str:
    return next((name for name, circuit in job.circuits.items() if any(hop.device == device for hop in circuit.path)), "")


def _shows(window: Window) -> str:
    return _SHOWN[window.own[0].kind] if window.own else "rest"


def named(inquiry: Inquiry, noted: Sequence[Noted]) -> Explanation:
    """Return what follows from what was shown of one circuit; without looking for a next check, which takes longer."""
    seen = []
    for each in noted:
        try:
            seen.append(seen_of(inquiry.job, each, Instrument()))
        except Unclear:
            continue
    kept, contradictions = settle(seen)
    observed = Observations(seen=kept, contradictions=contradictions)
    weighed, left_out = inquiry.weigh(observed, ahead=False)
    return tell(inquiry.job, weighed, observed, left_out)


def answers(found: Explanation) -> list[tuple[float, str, str, str]]:
    """Return the mistakes that may be behind it, likeliest first: how likely, what, where, and what mends it."""
    return [
        (each.probability, each.causes[0].words, each.causes[0].where, each.causes[0].fix)
        for each in found.answers
        if each.probability >= LEAST_NAMED
    ]
