"""What a switched output does in a course of events: an observer that areas, zones and the system never depend on.

An output follows an event (docs/programme.md lists them) in one area or in any: as long as it lasts, for a pulse or a time, or until
somebody clears it. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from loopwright.job.document import Area, OutputRule
from loopwright.programme.followed import EVENTS, Followed
from loopwright.rehearse.state import Output


def followed(rule: OutputRule) -> Followed | None:
    """Return the event a rule follows, or None for one that is not told here."""
    said = rule.follows.strip().lower()
    return next((event for word, event in EVENTS.items() if said.startswith(word)), None)


def areas_of(rule: OutputRule, areas: Mapping[str, Area]) -> tuple[str, ...]:
    """Return the areas a rule names, or all of them where it names none."""
    said = rule.follows.strip().lower()
    return tuple(key for key, area in areas.items() if said.endswith((f" {area.name.lower()}", f" {key.lower()}"))) or tuple(areas)


def begins(event: Followed, areas: Iterable[str], outputs: Iterable[Output]) -> bool:
    """Return whether one of the outputs of a step begins an event."""
    return any(_begins(event, areas, each) for each in outputs)


def _begins(event: Followed, areas: Iterable[str], output: Output) -> bool:
    return output.word in event.begins and (output.place in areas if output.place else output.about in event.of_system)


@dataclass(frozen=True, kw_only=True, slots=True)
class On:
    """An output that has left its rest: since when [s], and until when [s] where a time ends it."""

    since_s: float
    until_s: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """How an output stands: ``on`` or at rest, and where what it follows lasts, each with the zone or condition that began it there."""

    on: On | None = None
    lasts: Mapping[str, str] = field(default_factory=dict)


def at_first(rule: OutputRule, areas: Iterable[str]) -> Standing:
    """Return how an output stands where every area is unset and nothing has happened."""
    event = followed(rule)
    if event is not EVENTS["unset"] or rule.how != "follow":
        return Standing()
    return Standing(on=On(since_s=0.0, until_s=rule.duration_s), lasts=dict.fromkeys(areas, ""))


def after(rule: OutputRule, areas: Iterable[str], stands: Standing, time_s: float, outputs: Iterable[Output]) -> Standing:
    """Return how an output stands after a step at a time [s] that gave something out."""
    event = followed(rule)
    assert event is not None
    on, lasts = stands.on, dict(stands.lasts)
    if on is not None and on.until_s is not None and time_s >= on.until_s:
        on = None
    for each in outputs:
        if _begins(event, areas, each):
            until_s = None if rule.duration_s is None or rule.how == "latch" else time_s + rule.duration_s
            held = until_s is not None or rule.how == "latch" or (rule.how == "follow" and event.ends)
            on = On(since_s=time_s, until_s=until_s) if held else None  # A moment, with no time to hold it: nobody sees it.
            if rule.how == "follow" and event.ends:
                lasts[_where(event, each)] = each.about
        elif rule.how == "latch" and each.word == "cleared" and _clears(event, areas, each):
            on = None
        elif _where(event, each) in lasts and _ends(event, each, lasts[_where(event, each)]):
            del lasts[_where(event, each)]
            on = on if lasts else None
    return Standing(on=on, lasts=lasts)


def _where(event: Followed, output: Output) -> str:
    """Return where an event lasts: in its area, or as the condition that it is."""
    if not event.of_system:
        return output.place
    return output.word if output.word in event.of_system else output.about


def _ends(event: Followed, output: Output, began: str) -> bool:
    """Return whether an event is over. Entry is, with the alarm of the zone that began it or of nobody; another alarm ends no entry."""
    if output.word == "alarm" and "entry" in event.begins:
        return output.about in ("", began)
    return output.word in event.ends


def _clears(event: Followed, areas: Iterable[str], output: Output) -> bool:
    """Return whether what is cleared lets go of a latch: the tamper or hold-up itself, or an alarm in one of the areas."""
    latched = event.of_system & {"tamper", "hold-up"}
    return output.about in latched if latched else output.place in areas


def on_now(rule: OutputRule, areas: Mapping[str, Area], course: Sequence[tuple[float, tuple[Output, ...]]], at_s: float) -> On | None:
    """Return whether an output has left its rest at a time [s], after a course of events, each with its time [s] and what it gave out."""
    if followed(rule) is None:
        return None
    here = areas_of(rule, areas)
    stands = at_first(rule, here)
    for time_s, outputs in course:
        stands = after(rule, here, stands, time_s, outputs)
    return after(rule, here, stands, at_s, ()).on
