"""From what a page posts to an edit of the document. Nothing is judged here: the reader says what cannot stand, in its own words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Literal, NoReturn

from pydantic import BaseModel, Field

from loopwright.job.document import Job
from loopwright.job.edit import AddItem, Edit, RemoveField, RemoveItem, RenameItem, SetField
from loopwright.job.labels import label_at, row_at
from loopwright.job.shape import ListShape
from loopwright.job.splice import Splices
from loopwright.values.error import JobError, Problem
from loopwright.web.dictionary import as_entered, field_at, is_entry, shape_of_cell, shown, value_at
from loopwright.web.entered import added

TURNS = re.compile("[\u202a-\u202e\u2066-\u2069]")
"""Signs that turn the direction of reading: what stands behind them is shown otherwise than it is."""
TURNED = "This holds a sign that cannot be seen and changes what is read. Type it instead of pasting it."
LONGEST_PATH, LONGEST_TEXT, MOST_FIELDS, MOST_REVISIONS = 300, 8000, 300, 2**31 - 1


class Change(BaseModel, extra="forbid"):
    """One change as a page posts it.

    ``seen`` is what stood in the cell when it was changed, ``revision`` the one the page showed: what has moved since is not written over.
    ``side`` says what is to hold where a step back or forward meets what others have changed: what it puts (ours), or what is there.
    ``held`` is the drawing the page holds: what is the same in the next is not sent again.
    """

    do: Literal["set", "add", "remove", "rename", "tick", "untick", "undo", "redo", "reload"]
    path: str = Field(default="", max_length=LONGEST_PATH)
    text: str = Field(default="", max_length=LONGEST_TEXT)
    seen: str | None = Field(default=None, max_length=LONGEST_TEXT)
    revision: int | None = Field(default=None, ge=0, le=MOST_REVISIONS)
    side: Literal["ours", "theirs"] | None = None
    fields: dict[str, str] = Field(default_factory=dict, max_length=MOST_FIELDS)
    mark: str = Field(default="", max_length=64)
    room: str = Field(default="front", max_length=20)
    query: str = Field(default="", max_length=8000)
    held: str = Field(default="", max_length=64)


def edit_of(change: Change, job: Job) -> Edit:
    """Return the edit a change stands for.

    Raises JobError when the place is none that can be changed so.
    """
    for field, text in (("", change.text), *change.fields.items()):
        if TURNS.search(text):
            _refuse(f"{change.path}/{field}" if field else change.path, TURNED)
    if change.do == "add":
        return added(change.path, {key: text.strip() for key, text in change.fields.items()}, job)
    if shape_of_cell(change.path) is None:
        _refuse(change.path, "There is no such place in a job.")
    if change.do in ("tick", "untick"):
        return _ticked(change, job)
    if change.do == "remove":
        return RemoveItem(change.path)
    if change.do == "rename":
        return RenameItem(change.path, change.text.strip())
    return _set(change, job)


def refuse_moved(change: Change, job: Job) -> None:
    """Raise JobError when a cell holds something else by now than what the page showed."""
    if (now := moved(change, job)) is not None:
        _refuse(change.path, conflict_words(change, now))


def moved(change: Change, job: Job) -> str | None:
    """Return what a cell holds by now, when that is neither what the page showed nor what is entered; None when nothing moved.

    A row that is not there any more is told of where the change is joined with what others have done.
    """
    if change.do != "set" or change.seen is None or shape_of_cell(change.path) is None:
        return None
    part, name = row_at(change.path)
    if name and value_at(job, f"{part}/{name}") is None:
        return None
    now = shown(change.path, value_at(job, change.path), job.region.units)[0]
    return None if now.strip() in (change.seen.strip(), change.text.strip()) else now


def conflict_words(change: Change, now: str) -> str:
    """Return a conflict in words: both values, and how each is chosen."""
    theirs = f"‘{now}’" if now else "nothing"
    return (
        f"Changed meanwhile: {label_at(change.path)} is {theirs} now; you entered ‘{change.text.strip()}’. Nothing was written over. "
        "Enter keeps yours, Escape takes the other."
    )


def _set(change: Change, job: Job) -> Edit:
    path, declared, given = change.path, field_at(change.path), change.path in job.given
    if not change.text.strip():
        if is_entry(path):
            return RemoveItem(path) if value_at(job, path) is not None else Splices(())
        # A word chosen from a list arrives as it stands there; only an emptied cell says that its default shall hold.
        if declared is not None and not declared.required:
            return RemoveField(path) if given else Splices(())
    return SetField(path, as_entered(path, change.text, job.region.units))


def _ticked(change: Change, job: Job) -> Edit:
    """Return the edit that puts a value into a list, or takes it out; a list that was a default is written out with it."""
    if not isinstance(shape_of_cell(change.path), ListShape):
        _refuse(change.path, "There is nothing to tick here.")
    now = [str(each) for each in value_at(job, change.path) or ()]
    wanted = change.text.strip()
    if (change.do == "tick") == (wanted in now):
        return Splices(())
    if change.path in job.given:
        return AddItem(change.path, None, wanted) if change.do == "tick" else RemoveItem(f"{change.path}/{now.index(wanted)}")
    above, _, name = change.path.rpartition("/")
    return AddItem(above, name, [*now, wanted] if change.do == "tick" else [each for each in now if each != wanted])


def next_id(taken: Iterable[str], start: str, digits: int = 2) -> str:
    """Return the next name of a numbered row.

    >>> next_id(['W01', 'W07', 'attic'], 'W')
    'W08'
    """
    numbers = [int(found[1]) for name in taken if (found := re.fullmatch(re.escape(start) + r"(\d{1,6})", name))]
    return f"{start}{max(numbers, default=0) + 1:0{digits}d}"


def _refuse(path: str, message: str) -> NoReturn:
    raise JobError([Problem(path=path, line=0, column=0, message=message)])
