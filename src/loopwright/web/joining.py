"""Joining a change meant for an earlier text with what others have done since: what clashes is said, and nothing is written over."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from loopwright.job.document import Job
from loopwright.job.edit import RenameItem, apply
from loopwright.job.labels import place_words
from loopwright.job.merge import ABSENT, Clash, Merged, Side, merged
from loopwright.store.own import Step
from loopwright.store.store import Revision
from loopwright.values.error import JobError, Problem

MOST_NAMED = 3
_RENAMED = re.compile(r"(\S+)/([^/\s]+) is now ([^/\s]+)")


class Clashed(JobError):
    """What somebody meant to change has been changed by others since; nothing was changed now."""

    def __init__(self, problems: list[Problem], clashes: tuple[Clash, ...]) -> None:
        """Take the problems in words, and what clashes."""
        super().__init__(problems)
        self.clashes = clashes


class Brought(NamedTuple):
    """A change brought to the present text: the texts it goes from and to, by the names that rows have now."""

    base: str
    ours: str


def renaming_of(summary: str, *, backwards: bool = False) -> RenameItem | None:
    """Return the renaming a revision's summary tells of, or the one that takes it back; None when it tells of another change.

    >>> renaming_of("cables/W22 is now W23"), renaming_of("cables/W22 is now W23", backwards=True)
    (RenameItem(path='cables/W22', new_id='W23'), RenameItem(path='cables/W23', new_id='W22'))
    """
    found = _RENAMED.fullmatch(summary)
    if found is None:
        return None
    above, old, new = found.groups()
    return RenameItem(f"{above}/{new}", old) if backwards else RenameItem(f"{above}/{old}", new)


def brought(base: str, ours: str, since: Iterable[Revision]) -> Brought:
    """Return a change with the rows that were renamed since called by their names of now."""
    for revision in since:
        renaming = renaming_of(revision.summary)
        if renaming is not None:
            base, ours = _renamed(base, renaming), _renamed(ours, renaming)
    return Brought(base, ours)


def _renamed(text: str, renaming: RenameItem) -> str:
    try:
        return apply(text, renaming).text
    except JobError:
        return text


def joined(base: str, ours: str, now: str, since: Iterable[Revision], side: Side | None = None) -> Merged:
    """Return what a change from ``base`` to ``ours`` makes of the present text. Raises JobError when it cannot be made in it."""
    if base == now:
        return Merged(text=ours)
    return merged(*brought(base, ours, since), now, side=side)


def others(since: Iterable[Revision], by: str) -> str:
    """Return who else has changed the job, in words.

    >>> others((), "Ana")
    'somebody else'
    """
    names = list(dict.fromkeys(each.by for each in since if each.by != by))
    return f"{', '.join(names[:-1])} or {names[-1]}" if len(names) > 1 else names[0] if names else "somebody else"


def edit_clashed(clashes: tuple[Clash, ...], job: Job, who: str) -> Clashed:
    """Return what is said of an edit that clashes with what others have changed."""
    return Clashed([Problem(path=each.path, line=0, column=0, message=_of_edit(each, job, who)) for each in clashes], clashes)


def _of_edit(clash: Clash, job: Job, who: str) -> str:
    place = place_words(job, clash.path)
    if clash.theirs is ABSENT:
        return f"Changed meanwhile: {place} was taken out by {who}. Nothing was put in its place."
    if clash.ours is ABSENT:
        return f"Changed meanwhile by {who}: {place} is not what it was. Nothing was taken out; press again if that is meant."
    return (
        f"Changed meanwhile by {who}: {place} is {value_words(clash.theirs)} now; you entered {value_words(clash.ours)}. "
        "Nothing was written over; enter it again if that is meant."
    )


def step_clashed(clashes: tuple[Clash, ...], step: Step, job: Job, who: str) -> Clashed:
    """Return what is said of a step back or forward over something that others have changed since."""
    name = "Undo" if step.way < 0 else "Redo"
    said = "; ".join(_of_step(each, job, name) for each in clashes[:MOST_NAMED])
    more = f"; and {len(clashes) - MOST_NAMED} more" if len(clashes) > MOST_NAMED else ""
    words = f"Changed by {who} since: {said}{more}. Nothing was written over."
    return Clashed([Problem(path="", line=0, column=0, message=words)], clashes)


def _of_step(clash: Clash, job: Job, name: str) -> str:
    place = place_words(job, clash.path)
    if clash.theirs is ABSENT:
        return f"{place} is not there any more; {name} would put {value_words(clash.ours)}"
    if clash.ours is ABSENT:
        return f"{place} is {value_words(clash.theirs)} now; {name} would take it out"
    return f"{place} is {value_words(clash.theirs)} now; {name} would put {value_words(clash.ours)}"


def choices(clashes: tuple[Clash, ...]) -> list[dict[str, str]]:
    """Return what can be chosen between, as the words of two buttons."""
    if len(clashes) == 1:
        ours, theirs = clashes[0].ours, clashes[0].theirs
        puts = "Take it out" if ours is ABSENT else f"Put {value_words(ours)}"
        leaves = "Leave it out" if theirs is ABSENT else f"Leave {value_words(theirs)}"
    else:
        puts, leaves = "Put mine", "Leave it all as it is now"
    return [{"side": "ours", "words": puts}, {"side": "theirs", "words": leaves}]


def value_words(value: Any) -> str:  # noqa: ANN401 - whatever a document says
    """Return a value of a document in words.

    >>> value_words("70 m"), value_words(["a", "b"]), value_words({"from": "x"}), value_words(ABSENT)
    ('‘70 m’', '‘a, b’', 'what it was', 'nothing')
    """
    if value is ABSENT or value is None or value == []:
        return "nothing"
    if isinstance(value, str):
        return f"‘{value}’"
    if isinstance(value, list) and all(isinstance(each, str) for each in value):
        return f"‘{', '.join(value)}’"
    return "what it was" if isinstance(value, Mapping) else "another list"
