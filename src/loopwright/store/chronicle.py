"""The revisions of a job as a person would list them: what each was, in words, and the bursts of work they fold into."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from loopwright.job.document import Job
from loopwright.job.labels import place_words
from loopwright.job.speech import listed
from loopwright.store.store import Mark, Revision
from loopwright.store.trail import BACK, BEGINS, FOUND, OUTSIDE, REASON, REDO, UNDO

USUAL_MARKS = ("as designed", "as fitted", "handed over")
"""Names commonly given to a revision (common practice, no source); any other may be given."""
BURST = timedelta(minutes=10)
"""Quiet after which the work of one person counts as begun anew: a choice, no source."""
MOST_TOLD = 3
SOME = "a change"
_MORE = re.compile(r" and ([0-9]+) more$")


class Kind(StrEnum):
    """What a revision is."""

    EDIT = "edit"
    UNDO = "undo"
    REDO = "redo"
    BACK = "back"
    REASON = "reason"
    OUTSIDE = "outside"
    BEGINS = "begins"


_BY_WHY = {UNDO: Kind.UNDO, REDO: Kind.REDO, OUTSIDE: Kind.OUTSIDE, FOUND: Kind.OUTSIDE, BEGINS: Kind.BEGINS}
_FOLD = {Kind.EDIT, Kind.UNDO, Kind.REDO}


def kind_of(revision: Revision) -> Kind:
    """Return what a revision is."""
    if revision.summary == REASON:
        return Kind.REASON
    return Kind.BACK if revision.summary.startswith(BACK) else _BY_WHY.get(revision.why, Kind.EDIT)


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One revision in words, with the names it was given; ``why`` is the reason somebody gave for it."""

    revision: Revision
    kind: Kind
    words: str
    marks: tuple[str, ...] = ()

    @property
    def number(self) -> int:
        """Return the revision's number."""
        return self.revision.number


@dataclass(frozen=True, kw_only=True, slots=True)
class Burst:
    """Revisions one person made in one go, the latest first."""

    entries: tuple[Entry, ...]

    @property
    def first(self) -> Entry:
        """Return the earliest."""
        return self.entries[-1]

    @property
    def last(self) -> Entry:
        """Return the latest."""
        return self.entries[0]

    @property
    def by(self) -> str:
        """Return whose work it is."""
        return self.last.revision.by

    @property
    def marks(self) -> tuple[str, ...]:
        """Return the names any of the revisions was given."""
        return tuple(name for entry in self.entries for name in entry.marks)

    @property
    def words(self) -> str:
        """Return what was done, in a line."""
        if len(self.entries) == 1:
            return self.last.words
        told = list(dict.fromkeys(entry.words for entry in reversed(self.entries)))
        return f"{len(self.entries)} changes: {listed(told, most=MOST_TOLD)}"


def entries_of(revisions: Sequence[Revision], marks: Iterable[Mark], job: Job) -> tuple[Entry, ...]:
    """Return revisions, the latest first, in words; ``job`` gives the names of what they changed."""
    named: dict[int, list[str]] = {}
    for mark in marks:
        named.setdefault(mark.revision, []).append(mark.name)
    known = {each.number: each for each in revisions}
    before: dict[str, Revision] = {}
    undone: dict[int, int] = {}
    for each in reversed(revisions):
        if kind_of(each) is Kind.UNDO and each.by in before:
            undone[each.number] = before[each.by].place.step
        before[each.by] = each
    return tuple(
        Entry(revision=each, kind=kind_of(each), words=_words(each, known, undone, job), marks=tuple(named.get(each.number, ())))
        for each in revisions
    )


def _words(revision: Revision, known: Mapping[int, Revision], undone: Mapping[int, int], job: Job) -> str:
    """Return what a revision is, in words that begin small."""

    def step(number: int) -> str:
        return change_words(known[number].summary, job) if number in known else f"revision {number}"

    match kind_of(revision):
        case Kind.REASON:
            return f"why: {revision.why}"
        case Kind.BACK:
            return f"went {revision.summary}"
        case Kind.UNDO:
            number = undone.get(revision.number, 0)
            return f"took back {step(number)}" if number else "took back a step"
        case Kind.REDO:
            return f"did again: {step(revision.place.step)}"
        case Kind.OUTSIDE | Kind.BEGINS:
            return revision.why
        case Kind.EDIT:
            return change_words(revision.summary, job)


def change_words(summary: str, job: Job) -> str:
    """Return a summary kept with a revision as a person would say it: ``cables/W31/length_m: 60`` is length of W31: 60."""
    if not summary:
        return SOME
    found = _MORE.search(summary)
    first = summary[: found.start()] if found else summary
    more = f" and {found[1]} more" if found else ""
    path, colon, text = first.partition(": ")
    if colon:
        return f"{place_words(job, path)}{': one more' if text == 'one more' else f': {text}'}{more}"
    for ending, said in ((" added", "added"), (" taken out", "taken out")):
        if first.endswith(ending):
            return f"{place_words(job, first.removesuffix(ending))} {said}{more}"
    path, middle, new = first.partition(" is now ")
    return f"{path.rpartition('/')[2]} renamed {new}{more}" if middle else first


def bursts(entries: Sequence[Entry]) -> tuple[Burst, ...]:
    """Return entries, the latest first, folded: the work of one person within minutes is one."""
    folded: list[list[Entry]] = []
    for entry in entries:
        if folded and _goes_on(entry, folded[-1][-1]):
            folded[-1].append(entry)
        else:
            folded.append([entry])
    return tuple(Burst(entries=tuple(each)) for each in folded)


def _goes_on(earlier: Entry, later: Entry) -> bool:
    one, other = earlier.revision, later.revision
    if earlier.kind not in _FOLD or later.kind not in _FOLD or one.by != other.by:
        return False
    return other.at - one.at <= BURST and one.at.astimezone().date() == other.at.astimezone().date()


def span_words(burst: Burst) -> str:
    """Return from when to when a burst was made, in this place's time of day."""
    first, last = (f"{each.revision.at.astimezone():%H:%M}" for each in (burst.first, burst.last))
    return first if first == last else f"{first}–{last}"


def day_words(at: datetime) -> str:
    """Return the day of a moment in this place's time, with how far that is from UTC.

    >>> from datetime import UTC
    >>> day_words(datetime(2026, 3, 1, 12, tzinfo=UTC))[:20]
    'Sunday 1 March 2026,'
    """
    here = at.astimezone()
    offset = f"{here:%z}"
    return f"{here:%A} {here.day} {here:%B %Y}, UTC{offset[:3]}:{offset[3:5]}"
