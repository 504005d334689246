"""Checks on what the programme is told against its rulesets: numbers within their ranges, choices among the words allowed."""

from __future__ import annotations

from loopwright.programme.heard import SOUNDS
from loopwright.rules.facts import Facts
from loopwright.rules.ruleset import Choice, Limit
from loopwright.rules.worked import marked, severity_by
from loopwright.values.finding import Finding

RANGES = {
    "cancel_s": "Cancel window",
    "confirm_s": "Confirmation time",
    "entry_alarm_s": "Time an alarm during entry is held",
    "blind_s": "Time inputs are ignored after power returns",
    "lock_out_trips": "Count of alarms before a zone is locked out",
}
"""Numbers of the programme with a range; entry, exit, sounder and abort times have checks of their own."""
CHOICES = {
    "exit_restart": "a second exit",
    "unvacated": "full set with nobody gone out",
    "confirm_in_entry": "confirmation by alarms after entry has begun",
    "tamper_reset": "clearing of a tamper",
    "prevents": "who may set in spite of {}",
    "sounds": "sound of {}",
}


def check_ranges(facts: Facts) -> list[Finding]:
    """Every number of the programme that is entered is within the rules it is under."""
    found = []
    for name, words in RANGES.items():
        value = getattr(facts.job.programme, name)
        if value is None:
            continue
        found += [_out_of_range(name, words, value, limit) for limit in facts.ruleset.limits_on(name) if not _inside(limit, value)]
    return found


def _inside(limit: Limit, value: float) -> bool:
    return (limit.least is None or value >= limit.least) and (limit.most is None or value <= limit.most)


def _out_of_range(name: str, words: str, value: float, limit: Limit) -> Finding:
    unit = " s" if name.endswith("_s") else ""
    least = f"at least {limit.least:g}{unit}" if limit.least is not None else ""
    most = f"at most {limit.most:g}{unit}" if limit.most is not None else ""
    asked = marked(" and ".join(part for part in (least, most) if part), limit.source)
    nearest = limit.least if limit.least is not None and value < limit.least else limit.most
    return Finding(
        code="programme-range",
        severity=severity_by(limit.source),
        subject=f"programme/{name}",
        sentence=f"{words} is {value:g}{unit}; {limit.clause} asks for {asked}.",
        remedy=f"Set it to {nearest:g}{unit}.",
        clause=limit.clause,
        source=limit.source,
    )


def check_choices(facts: Facts) -> list[Finding]:
    """Every choice of the programme is one its rules allow; of who may override and what sounds, those that are said."""
    found = []
    for key, choice in facts.ruleset.choices.items():
        place = key.partition(".")[0]
        said = _said(facts, place)
        if said is not None and said not in choice.allowed:
            found.append(_not_allowed(place, said, choice))
    return found


def _said(facts: Facts, place: str) -> str | None:
    name, _, entry = place.partition("/")
    value = getattr(facts.job.programme, name)
    if entry:
        value = value.get(entry)
    return ("yes" if value else "no") if isinstance(value, bool) else value


def _not_allowed(place: str, said: str, choice: Choice) -> Finding:
    name, _, entry = place.partition("/")
    words = CHOICES[name].format(SOUNDS[entry].words if name == "sounds" else entry)
    asked = marked(" or ".join(choice.allowed), choice.source)
    return Finding(
        code="programme-choice",
        severity=severity_by(choice.source),
        subject=f"programme/{place}",
        sentence=f"{words[:1].upper()}{words[1:]}: {said} is chosen; {choice.clause} allows {asked}.",
        remedy=f"Choose {choice.allowed[0]}, or name the rules the job is under.",
        clause=choice.clause,
        source=choice.source,
    )
