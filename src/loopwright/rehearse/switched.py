"""What a switched output does in a course of events: an observer that areas, zones and the system never depend on.

An output follows an event (docs/programme.md lists them) in one area or in any: as long as it lasts, for a pulse or a time, or until
somebody clears it. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from loopwright.job.document import Area, OutputRule
from loopwright.rehearse.state import Output


@dataclass(frozen=True, kw_only=True, slots=True)
class Followed:
    """An event an output may follow: the words that begin it, those that end it (none: it is a moment), and what they are about."""

    begins: frozenset[str]
    ends: frozenset[str] = frozenset()
    about: str = ""


_OVER = frozenset({"unset", "cleared"})
EVENTS: Mapping[str, Followed] = {
    "alarm": Followed(begins=frozenset({"alarm"}), ends=_OVER),
    "strobe": Followed(begins=frozenset({"alarm"}), ends=_OVER),
    "confirmed": Followed(begins=frozenset({"confirmed"}), ends=_OVER),
    "tamper": Followed(begins=frozenset({"tamper"}), ends=frozenset({"cleared"})),
    "hold-up": Followed(begins=frozenset({"hold-up"}), ends=frozenset({"cleared"})),
    "duress": Followed(begins=frozenset({"duress"})),
    "chime": Followed(begins=frozenset({"chime"})),
    "soak": Followed(begins=frozenset({"soak-test"})),
    "lock": Followed(begins=frozenset({"locked-out"})),
    "unset": Followed(begins=frozenset({"unset"}), ends=frozenset({"exit-begins", "set"})),
    "set": Followed(begins=frozenset({"set"}), ends=frozenset({"unset"})),
    "entry": Followed(begins=frozenset({"entry", "exit-error"}), ends=frozenset({"unset", "alarm"})),
    "exit": Followed(begins=frozenset({"exit-begins"}), ends=frozenset({"set", "unset", "setting-fails", "setting-stops", "exit-error"})),
    "sounder": Followed(begins=frozenset({"sounds"}), ends=frozenset({"silent"})),
    "mains": Followed(begins=frozenset({"fault"}), ends=frozenset({"restored"}), about="mains"),
    "battery": Followed(begins=frozenset({"fault"}), ends=frozenset({"restored"}), about="battery"),
    "low": Followed(begins=frozenset({"fault"}), ends=frozenset({"restored"}), about="battery"),
    "path": Followed(begins=frozenset({"fault"}), ends=frozenset({"restored"}), about="path"),
    "fault": Followed(begins=frozenset({"fault"}), ends=frozenset({"restored"})),
}
"""By the word with which what is followed begins."""


def followed(rule: OutputRule) -> Followed | None:
    """Return the event a rule follows, or None for one that is not told here."""
    said = rule.follows.strip().lower()
    return next((event for word, event in EVENTS.items() if said.startswith(word)), None)


def areas_of(rule: OutputRule, areas: Mapping[str, Area]) -> tuple[str, ...]:
    """Return the areas a rule names, or all of them where it names none."""
    said = rule.follows.strip().lower()
    return tuple(key for key, area in areas.items() if said.endswith((f" {area.name.lower()}", f" {key.lower()}"))) or tuple(areas)


def begins(rule: OutputRule, event: Followed, areas: Iterable[str], outputs: Iterable[Output]) -> bool:
    """Return whether one of the outputs of a step begins what a rule follows."""
    return any(_meant(each, event.begins, event, areas) for each in outputs)


def _meant(output: Output, words: frozenset[str], event: Followed, areas: Iterable[str]) -> bool:
    return output.word in words and output.place in ("", *areas) and (not event.about or output.about == event.about)


@dataclass(frozen=True, kw_only=True, slots=True)
class On:
    """An output that has left its rest: since when [s], and until when [s] where a time ends it."""

    since_s: float
    until_s: float | None = None


def on_now(rule: OutputRule, areas: Mapping[str, Area], course: Sequence[tuple[float, tuple[Output, ...]]], at_s: float) -> On | None:
    """Return whether an output has left its rest at a time [s], after a course of events, each with its time [s] and what it gave out."""
    event = followed(rule)
    if event is None:
        return None
    here, now = areas_of(rule, areas), None
    ends = frozenset({"cleared"}) if rule.how == "latch" else frozenset() if rule.how in ("pulse", "timed") else event.ends
    for time_s, outputs in course:
        if begins(rule, event, here, outputs):
            now = On(since_s=time_s, until_s=None if rule.duration_s is None or rule.how == "latch" else time_s + rule.duration_s)
            if not ends and now.until_s is None:
                now = None  # A moment, with no time to hold it: nobody sees it.
        elif any(_meant(each, ends, event, here) for each in outputs):
            now = None
    return None if now is None or (now.until_s is not None and at_s >= now.until_s) else now
