"""The keying plan of one unit: the fewest key presses that make it hold what the programme says, in the order of the entries.

Only what differs is entered; settings that share an address are entered at once; a factory restore goes before everything where that
makes the whole shorter. What the plan rests on is the unit's data sheet; what it was before, the factory's settings or what was found.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from loopwright.job.document import Job, Stage, YesNoUnknown
from loopwright.job.sheet import KeyingSheet
from loopwright.keying.entry import Field, State, default_keys, fields_of, keys_of, presses_of, wanted_keys, words_of_form
from loopwright.keying.form import Kind, Unfit, Value
from loopwright.keying.mind import minds_of, warnings_of
from loopwright.keying.row import star_parts
from loopwright.keying.spot import Spot, spots_of
from loopwright.keying.walk import Circle, Stop, after_all, presses_between, shortest
from loopwright.power.forecast import label_of

LIVE = frozenset({Stage.PROVED, Stage.IN_SERVICE})
"""Stages at which people, sirens and a receiving centre take what the unit does for real."""
Found = Mapping[str, Value]
"""What was found at a unit, by the key of the spot."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """One setting of an entry: what it is, what it holds before and after, and where in the document that stands."""

    path: str
    words: str
    before: str
    after: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One line of the plan. ``keys`` are never those of a code; ``shows`` is empty where nothing may be written down.

    ``presses`` is None at a unit that has no keys.
    """

    address: str
    keys: str
    presses: int | None
    parts: tuple[Part, ...]
    read_back: str
    shows: str
    clears: str
    minds: tuple[str, ...]
    by_hand: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Misfit:
    """Something of the programme that this unit cannot hold, or of its sheet that contradicts itself: where, what, what would be right."""

    path: str
    words: str
    sentence: str
    right: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """What to key at one unit, in order. ``presses`` are all, ways in and out counted; ``otherwise`` those with the other choice.

    ``how`` is "keyed", or "set by hand" at a unit whose sheet does not say how it is keyed, a wheel or a list without keys: there no
    presses are counted (None), neither in all nor of an entry.
    """

    unit: str
    label: str
    how: Literal["keyed", "set by hand"]
    way_in: str
    found: bool
    live: bool
    restore: str
    entries: tuple[Entry, ...]
    presses: int | None
    otherwise: int | None
    proved: bool
    right_already: int
    unread: int
    unsaid: tuple[str, ...]
    misfits: tuple[Misfit, ...]
    warnings: tuple[str, ...]

    @property
    def in_all(self) -> str:
        """Return what it takes in all, in words."""
        if self.presses is None:
            return f"{self.how}; its data sheet says nothing of keys, so none are counted"
        pressed = "1 key press" if self.presses == 1 else f"{self.presses} key presses"
        return f"{pressed}, ways in and out counted; {'no order takes fewer' if self.proved else 'a shorter order may exist'}"


@dataclass(frozen=True, kw_only=True, slots=True)
class _Way:
    """One way to do it: with a factory restore first or without."""

    restored: bool
    entries: tuple[Entry, ...]
    presses: int
    proved: bool
    right: int
    circle: tuple[Spot, ...]


def plan_of(job: Job, unit: str, found: Found | None = None, *, restore: bool | None = None) -> Plan:
    """Return the keying plan of a unit, from the factory's settings or from what was ``found``.

    ``restore`` says whether a factory restore goes first; left out, whichever is shorter. A unit fresh from the factory needs none.
    """
    said = job.sheet_of(unit).keying
    keying = said or KeyingSheet()
    fields = fields_of(spots_of(job, unit))
    wants, misfits = _wants(fields)
    start = _state(found)
    ways = (
        [_way(job, unit, keying, fields, wants, start, fresh=found is None)]
        if restore is not True or not keying.restore or found is None
        else []
    )
    if found is not None and keying.restore and restore is not False:
        restored = _restored(job, unit, keying, fields, wants, start)
        ways = [restored] if restore else [*ways, restored]
    best = min(ways, key=lambda way: way.presses)
    other = next((way.presses for way in ways if way is not best), None)
    spots = [spot for field in fields for spot in field.spots]
    live = job.stage in LIVE
    return Plan(
        unit=unit, label=label_of(job, unit), how="set by hand" if said is None else "keyed",
        way_in=keying.way_in, found=found is not None, live=live,
        restore=keying.restore if best.restored else "",
        entries=best.entries if said else tuple(replace(entry, presses=None) for entry in best.entries),
        presses=best.presses if said else None, otherwise=other if said else None, proved=best.proved,
        right_already=best.right, unread=sum(1 for spot in spots if found is not None and spot.key in wants and start(spot) is None),
        unsaid=tuple(dict.fromkeys(spot.words for spot in spots if spot.wanted is None)), misfits=(*misfits, *map(_waiting, best.circle)),
        warnings=warnings_of(best.entries, live=live, restore=best.restored),
    )  # fmt: skip


def _wants(fields: list[Field]) -> tuple[dict[str, str], list[Misfit]]:
    """Return what is to be keyed at each spot that is asked for, and what the unit cannot hold."""
    wants, misfits = {}, []
    for field in fields:
        for spot in field.spots:
            try:
                keys = wanted_keys(spot)
            except Unfit as why:
                misfits.append(Misfit(path=spot.path, words=spot.words, sentence=why.said.sentence, right=why.said.right))
                continue
            if keys is not None:
                wants[spot.key] = keys
    return wants, misfits


def _waiting(spot: Spot) -> Misfit:
    return Misfit(
        path=spot.path, words=spot.words, sentence=f"The sheet says of {spot.setting} that it waits for what waits for it.",
        right="What it is entered after, on the data sheet, has to be put right; the order here leaves it out of account.",
    )  # fmt: skip


def _state(found: Found | None) -> State:
    """Return what is keyed at a spot before anything is done."""
    if found is None:
        return default_keys

    def keyed(spot: Spot) -> str | None:
        try:
            return spot.form.keyed(found[spot.key]) if spot.key in found else None
        except Unfit:
            return None

    return keyed


def _restored(job: Job, unit: str, keying: KeyingSheet, fields: list[Field], wants: dict[str, str], start: State) -> _Way:
    def state(spot: Spot) -> str | None:
        return start(spot) if spot.sheet.kept else default_keys(spot)

    after = _way(job, unit, keying, fields, wants, state, fresh=True)
    steps = tuple(part for part in keying.restore.split(",") if part.strip())
    cost = keying.restore_presses + presses_between([steps], keying.in_presses, keying.out_presses)
    return _Way(
        restored=True, entries=after.entries, presses=after.presses + cost, proved=after.proved, right=after.right, circle=after.circle
    )


def _way(
    job: Job, unit: str, keying: KeyingSheet, fields: list[Field], wants: dict[str, str], state: State, *, fresh: bool
) -> _Way:  # fmt: skip
    """Return what is entered from a state. A unit ``fresh`` from the factory, or a restore, wants its clock and its codes."""
    codes = fresh or job.equipment[unit].default_codes_changed is not YesNoUnknown.YES

    def differs(spot: Spot) -> bool:
        if spot.key not in wants:
            return False
        if spot.form.kind is Kind.SECRET:
            return codes
        return fresh if spot.form.kind is Kind.CLOCK else state(spot) != wants[spot.key]

    todo = [field for field in fields if any(differs(spot) for spot in field.spots)]
    waits = _waits(todo)
    circle: tuple[Spot, ...] = ()
    stops = [Stop(steps=field.steps, after=waits[number]) for number, field in enumerate(todo)]
    try:
        walk = shortest(stops)
    except Circle as found:
        circle = tuple(todo[number].spots[0] for number in found.stops)
        free = frozenset(found.stops)
        walk = shortest([Stop(steps=each.steps, after=frozenset() if n in free else each.after) for n, each in enumerate(stops)])
    ordered = [todo[number] for number in walk.order]
    entries = tuple(_entry(field, keying, wants, state) for field in ordered)
    moves = presses_between([field.steps for field in ordered], keying.in_presses, keying.out_presses)
    right = sum(1 for field in fields for spot in field.spots if spot.key in wants and not differs(spot))
    return _Way(
        restored=False, entries=entries, presses=moves + sum(entry.presses or 0 for entry in entries), proved=walk.proved, right=right,
        circle=circle,
    )  # fmt: skip


def _waits(todo: list[Field]) -> dict[int, frozenset[int]]:
    """Return which entries each entry waits for, by number: what its settings are entered after, of the same row where both have one."""
    by_setting: dict[str, list[tuple[int, Spot]]] = {}
    for number, field in enumerate(todo):
        for spot in field.spots:
            by_setting.setdefault(spot.setting, []).append((number, spot))
    after: dict[int, frozenset[int]] = {}
    turns: dict[int, str | None] = {}
    for number, field in enumerate(todo):
        before = {n for spot in field.spots for name in spot.sheet.after for n, other in by_setting.get(name, ()) if _same_row(spot, other)}
        after[number] = frozenset(before - {number})
        turns[number] = next((spot.sheet.turn for spot in field.spots if spot.sheet.turn), None)
    return after_all(range(len(todo)), turns.get, after)


def _same_row(one: Spot, other: Spot) -> bool:
    mine = dict(zip(star_parts(one.sheet), one.rows, strict=True))
    others = dict(zip(star_parts(other.sheet), other.rows, strict=True))
    return all(mine[part] == others[part] for part in mine.keys() & others.keys())


def _entry(field: Field, keying: KeyingSheet, wants: Mapping[str, str], state: State) -> Entry:
    by_hand = field.by_hand()
    keys = keys_of(field, wants, state)
    shown = field.separator.join(each or "" for each in keys)
    words = "; ".join(f"{spot.words} {words_of_form(spot.form, spot.wanted)}" for spot in field.spots if spot.key in wants)
    return Entry(
        address=field.address, keys=words if by_hand else shown,
        presses=sum(presses_of(spot, each or "", keying) for spot, each in zip(field.spots, keys, strict=True)),
        parts=tuple(_part(spot, each or "", state) for spot, each in zip(field.spots, keys, strict=True)),
        read_back=_read_back(field), shows="" if by_hand else shown,
        clears="; ".join(dict.fromkeys(spot.sheet.clears for spot in field.spots if spot.sheet.clears)),
        minds=tuple(dict.fromkeys(mind for spot in field.spots if spot.key in wants for mind in minds_of(spot))), by_hand=by_hand,
    )  # fmt: skip


def _part(spot: Spot, keys: str, state: State) -> Part:
    before = state(spot)
    return Part(
        path=spot.path, words=spot.words, before="" if before is None else _said(spot, before),
        after=words_of_form(spot.form, spot.wanted) if spot.wanted is not None else _said(spot, keys),
    )  # fmt: skip


def _said(spot: Spot, keys: str) -> str:
    try:
        return spot.form.words(spot.form.meant(keys))
    except Unfit:
        return ""


def _read_back(field: Field) -> str:
    """Return how an entry is read back where that is not plain: the same address shows what was keyed."""
    own = "; ".join(dict.fromkeys(spot.sheet.read_back for spot in field.spots if spot.sheet.read_back))
    if own:
        return own
    kinds = {spot.form.kind for spot in field.spots}
    if Kind.SECRET in kinds:
        return "Never read a code back: have it tried once, and see that it is taken."
    return "It shows the time of your watch." if Kind.CLOCK in kinds else ""
