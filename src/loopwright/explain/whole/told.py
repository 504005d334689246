"""From the words of an observation file to a word asked of the whole: where, which word, and what was answered."""

from __future__ import annotations

import math
from difflib import get_close_matches

from loopwright.explain.check import YES_NO, Check
from loopwright.explain.unclear import Unclear
from loopwright.explain.weigh.likelihood import Seen
from loopwright.explain.whole.event_times import chances_of, events_in
from loopwright.explain.whole.history import SINCE
from loopwright.explain.whole.part import told
from loopwright.explain.whole.scope import PART
from loopwright.explain.whole.word import Word, words
from loopwright.job.document import Job

TIMES = "hours"
"""The word that may be answered with times."""
MONTH_FIRST = "US"
"""The country where 3/4/2026 is a day of March."""
ANSWERS = {"true": "yes", "false": "no"}
FIRST_DAY = "first-day"
"""How earlier versions asked since when it is wrong, with yes and no."""


def told_of(job: Job, where: str, name: str, answer: str) -> Seen:
    """Return one entry of what was told, tied to its check. Raises Unclear with a sentence."""
    name = " ".join(name.lower().split()).replace(" ", "-")
    said = ANSWERS.get(answer.lower().strip(), answer.lower().strip())
    if name == FIRST_DAY and said in YES_NO:
        since = words()[SINCE]
        return Seen(check=check_at(job, where, since), told=since.outcomes[:1] if said == "yes" else since.outcomes[1:], text=said)
    word = words().get(name)
    if word is None:
        close = get_close_matches(name.lower(), words(), 1, 0.5)
        hint = f" Did you mean {close[0]}?" if close else ""
        raise Unclear(f"'{name}' is no word of what can be told.{hint} docs/observations.md lists them.")
    if word.id == TIMES and any(letter.isdigit() for letter in answer):
        return _times(job, check_at(job, where, word), answer, word)
    if said not in word.outcomes:
        raise Unclear(f"'{answer}' is no answer to '{word.asks}?'. Accepted: {', '.join(word.outcomes)}.")
    return Seen(check=check_at(job, where, word), told=(said,), text=said)


def _times(job: Job, check: Check, text: str, word: Word) -> Seen:
    """Return times, typed or pasted from a log, as how well each pattern explains them. Raises Unclear when there is none in it."""
    zone = job.zones[check.place].number if check.place else None
    events = events_in(text, zone=zone, month_first=job.region.country == MONTH_FIRST)
    if not events:
        named = ", ".join(word.outcomes)
        raise Unclear(f"There is no time in that. Write times such as 2026-11-20 02:10, one a line, or one of: {named}.")
    found = chances_of(events)
    best = max(found, key=lambda name: found[name])
    weights = tuple(math.exp(found[name] - found[best]) for name in word.outcomes)
    count = f"{len(events)} times" if len(events) > 1 else "once"
    return Seen(check=check, told=(best,), weights=weights, text=f"{count}, fits '{best}' best" if len(events) > 1 else count)


def shown_check(job: Job, where: str, at: str) -> Check | None:
    """Return the check of a trouble the keypad shows of the whole; None when ``at`` is none of them."""
    word = words().get(at.lower().strip())
    return check_at(job, where, word) if word is not None and word.shows else None


def check_at(job: Job, where: str, word: Word) -> Check:
    """Return the check that asks a word at a place: a zone by itself or by its circuit, a radio device by its name, else the whole."""
    if word.at == "zone":
        return told(word, _zone(job, where))
    return told(word, where if word.at == "radio" and where in job.equipment else "")


def _zone(job: Job, where: str) -> str:
    if where in job.zones or where == PART:
        return where if where in job.zones else ""
    found = next((name for name, zone in job.zones.items() if zone.circuit == where or _input(job, name) == where), None)
    if found is None:
        raise Unclear(f"'{where}' is no zone of this job. Write a zone or its circuit, or {PART} where it is not known which.")
    return found


def _input(job: Job, zone: str) -> str | None:
    circuit = job.zones[zone].circuit
    return job.circuits[circuit].input if circuit is not None else None
