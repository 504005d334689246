"""One question at a time: what is asked, how it can be answered, and what an answer tells explain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loopwright.desk.caller import caller_choice, caller_words, hindrance_words
from loopwright.desk.case import CHECK, HINDRANCE, OPENING, Case
from loopwright.desk.opening import AREA, HOURS, KEYPAD, ZONE, Ask, Choice, asks
from loopwright.explain.expected.setting import Cause, Hindrance
from loopwright.explain.explanation import NextCheck
from loopwright.job.document import Job
from loopwright.job.sheet import Kind
from loopwright.power.forecast import label_of

NONE = "none"
"""The answer for none of the places, or for a time that never was."""
LONGEST_HOURS = 24.0 * 365 * 20
NAMES = ("where", "place", "state", "look", "told")
"""What names a check in an observation file, its result left out."""
_YES_NO = (("yes", "Yes"), ("no", "No"))
HINDERED: Mapping[Hindrance, tuple[dict[str, str], ...]] = {
    Hindrance.RIGHT: ({"where": "system", "told": "refused"},),
    Hindrance.MEMORY: ({"where": "system", "place": "memory"},),
    Hindrance.TAMPER: ({"where": "system", "place": "lid"},),
    Hindrance.PATH: ({"where": "system", "place": "path"}, {"where": "system", "place": "line"}),
    Hindrance.MAINS: ({"where": "{control}", "place": "mains"},),
    Hindrance.BATTERY: ({"where": "{control}", "place": "battery"},),
    Hindrance.SERVICE_MODE: ({"where": "system", "place": "service"},),
}
"""What explain is told by the answer whether something keeps it from being set, so that it is not asked a second time."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Question:
    """What is asked now. ``choices`` are the answers to press; with ``hours`` a number is typed, with ``places`` one of many is chosen.

    ``why`` says what it is for, ``minutes`` how long it takes the caller, ``bits`` the information expected of it; ``caution`` is in brief.
    ``none`` are the words for none of the places, or for a time that never was.
    """

    key: str
    words: str
    choices: tuple[tuple[str, str], ...] = ()
    places: tuple[tuple[str, str], ...] = ()
    hours: bool = False
    none: str = ""
    why: str = ""
    minutes: float = 0.0
    bits: float = 0.0
    caution: str = ""
    entry: Mapping[str, str] = field(default_factory=dict)


def opening_question(job: Job, ask: Ask) -> Question | None:
    """Return an opening question about this design; None where the design has nothing to choose from, or one area only."""
    places = places_of(job, ask.of)
    if (ask.of in (ZONE, KEYPAD, AREA) and not places) or (ask.of == AREA and len(places) == 1):
        return None
    return Question(
        key=f"{OPENING}:{ask.key}",
        words=ask.words,
        choices=tuple((each.key, each.words) for each in ask.answers),
        places=places,
        hours=ask.of == HOURS,
        none=ask.none,
    )


def hindrance_question(cause: Cause) -> Question:
    """Return the question whether something keeps an area from being set, in words for callers; why is for whoever asks."""
    words, caution = hindrance_words(cause.hindrance)
    return Question(key=f"{HINDRANCE}:{cause.hindrance}", words=words, choices=_YES_NO, why=cause.check, caution=caution)


def check_question(job: Job, check: NextCheck) -> Question:
    """Return a check of the model as a question to the caller, in words for callers."""
    entry = named(check.entry)
    return Question(
        key=key_of(entry),
        words=caller_words(job, entry),
        choices=tuple((word, caller_choice(word)) for word in check.outcomes),
        minutes=check.minutes,
        bits=check.bits,
        caution=check.caution,
        entry=entry,
    )


def key_of(entry: Mapping[str, str]) -> str:
    """Return the key of the question behind an entry of an observation file."""
    return f"{CHECK}:" + "|".join(entry.get(name, "") for name in NAMES)


def named(entry: Mapping[str, str]) -> dict[str, str]:
    """Return what names a check in an entry of an observation file, by the names answers have here."""
    return {name: entry.get("at" if name == "place" else name, "") for name in NAMES}


def places_of(job: Job, kind: str) -> tuple[tuple[str, str], ...]:
    """Return what of a design can be chosen as an answer, with what people call it."""
    match kind:
        case "zone":
            return tuple((name, f"{zone.number} {zone.text}") for name, zone in job.zones.items())
        case "keypad":
            return tuple((name, label_of(job, name)) for name in job.equipment if job.sheet_of(name).addressed)
        case "area":
            return tuple((name, area.name) for name, area in job.areas.items())
        case _:
            return ()


def control_of(job: Job) -> str:
    """Return the control unit of a design that feeds itself, empty where there is none."""
    units = (name for name in job.equipment if job.sheet_of(name).kind is Kind.CONTROL and job.sheet_of(name).supply is not None)
    return next(units, "")


def told_by(job: Job, question: Question, answer: str, keypad: str = "") -> dict[str, str]:
    """Return what an answer tells explain, in the words of an observation file; empty where it tells nothing.

    ``keypad`` is the one the call is about, where it was told.
    """
    kind, _, name = question.key.partition(":")
    if kind == CHECK:
        asked = question.entry.get("look") or question.entry.get("told")
        return dict(question.entry) | ({} if asked else {"shows": answer})
    if kind == HINDRANCE:
        rows = HINDERED.get(Hindrance(name), ())
        # Yes to one of two things tells neither; no tells both.
        if len(rows) == 1 or (rows and answer == "no"):
            return _seen(job, rows[0] | {"answer" if "told" in rows[0] else "shows": answer})
        return {}
    if kind != OPENING:
        return {}
    ask = asks()[name]
    choice = choice_of(ask, answer)
    seen = choice.seen if choice is not None else ask.none_seen if answer == NONE else ask.seen if answer in dict(question.places) else {}
    return _seen(job, seen, answer, keypad)


def also_told(job: Job, key: str, answer: str, keypad: str = "") -> tuple[dict[str, str], ...]:
    """Return what else an answer tells explain, beside what :func:`told_by` returns."""
    kind, _, name = key.partition(":")
    if kind == HINDRANCE and answer == "no":
        return tuple(row for each in HINDERED.get(Hindrance(name), ())[1:] if (row := _seen(job, each | {"shows": answer})))
    choice = choice_of(asks()[name], answer) if kind == OPENING and name in asks() else None
    found = _seen(job, choice.also, answer, keypad) if choice is not None else {}
    return (found,) if found else ()


def _seen(job: Job, seen: Mapping[str, str], place: str = "", keypad: str = "") -> dict[str, str]:
    """Return an observation with its braces filled in; empty where the design has no such thing."""
    filled = {"told_answer" if key == "answer" else key: _filled(job, word, place, keypad) for key, word in seen.items()}
    return filled if all(filled.values()) else {}


def choice_of(ask: Ask, answer: str) -> Choice | None:
    """Return the choice an answer to an opening question is."""
    return next((each for each in ask.answers if each.key == answer), None)


def _filled(job: Job, word: str, place: str, keypad: str) -> str:
    """Return a word of an observation with its braces filled in; empty where the design has no such thing."""
    control = control_of(job)
    watched = (
        [f"{control}.{name}" for name, spec in job.sheet_of(control).outputs.items() if spec.supervision is not None] if control else []
    )
    return {"{control}": control, "{siren}": next(iter(watched), ""), "{place}": place, "{keypad}": keypad}.get(word, word)


def queue_of(case: Case, ask: tuple[str, ...]) -> tuple[str, ...]:
    """Return the opening questions of a case in order: those of the complaint, each followed by what its answer opens."""
    out: list[str] = []
    waiting = list(ask)
    while waiting:
        name = waiting.pop(0)
        if name in out:
            continue
        out.append(name)
        said = case.answered(f"{OPENING}:{name}")
        choice = choice_of(asks()[name], said.answer) if said is not None else None
        waiting[:0] = choice.then if choice is not None else ()
    return tuple(out)
