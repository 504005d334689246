"""One entry at the unit: an address with everything that is keyed there at once, and what that is read back by."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

from loopwright.job.sheet import KeyingSheet
from loopwright.keying.form import Form, Kind, Unfit, Value
from loopwright.keying.spot import Spot, too_high
from loopwright.keying.walk import Steps

CODE_PRESSES, CLOCK_PRESSES = 6, 10
"""Presses taken for a code, which nobody may look at here, and for date and time (common practice, no source)."""
HAND = frozenset({Kind.SECRET, Kind.CLOCK})

State = Callable[[Spot], str | None]
"""What is keyed at a spot now; None where it is not known."""


@dataclass(frozen=True, kw_only=True)
class Field:
    """One address of the unit and the settings that share it, in their order within the entry."""

    address: str
    spots: tuple[Spot, ...]

    @property
    def steps(self) -> Steps:
        """Return the steps of the address."""
        return tuple(part.strip() for part in self.address.split(",") if part.strip())

    @cached_property
    def separator(self) -> str:
        """Return what is keyed between the settings: nothing where each but the last always has as many characters."""
        return "" if all(spot.form.width is not None for spot in self.spots[:-1]) else " "

    def by_hand(self) -> bool:
        """Return whether a code or the clock is entered here, so that nothing of it is written down."""
        return any(spot.form.kind in HAND for spot in self.spots)

    def apart(self, shown: str) -> dict[str, Value]:
        """Return what the unit shows here as the value of each setting, by the spot's key. Raises Unfit."""
        if len(self.spots) == 1:
            return {self.spots[0].key: self.spots[0].form.meant(shown)}
        pattern = r"\s*".join(f"({spot.form.pattern})" for spot in self.spots)
        found = re.fullmatch(pattern, " ".join(shown.split()), re.IGNORECASE)
        if found is None:
            raise Unfit("This is not what stands there.", "; ".join(f"{spot.words}: {spot.form.shows}" for spot in self.spots))
        return {spot.key: spot.form.meant(text) for spot, text in zip(self.spots, found.groups(), strict=True)}


def fields_of(spots: list[Spot]) -> list[Field]:
    """Return the fields of a unit: spots with one address are one, each in its place, in the order of the sheet."""
    by_address: dict[str, list[Spot]] = {}
    for spot in spots:
        by_address.setdefault(spot.address.casefold(), []).append(spot)
    last = len(spots) + 1
    fields = [
        Field(address=members[0].address, spots=tuple(sorted(members, key=lambda each: (each.sheet.place or last, each.order))))
        for members in by_address.values()
    ]
    pages: dict[str, int] = {}
    for field in fields:
        pages.setdefault(field.steps[0] if field.steps else "", len(pages))
    return sorted(
        fields, key=lambda field: (pages[field.steps[0] if field.steps else ""], _in_order(field.steps[:-1]), field.spots[0].order)
    )


def _in_order(steps: Steps) -> list[tuple[int, str]]:
    """Return what puts steps in the order people count in: leaf 2 before leaf 12."""
    return [(int(part), "") if part.isdecimal() else (0, part) for step in steps for part in re.split(r"(\d+)", step)]


def wanted_keys(spot: Spot) -> str | None:
    """Return what has to be keyed for what the programme wants; None where it says nothing. Raises Unfit."""
    if spot.wanted is None:
        return None
    if (why := too_high(spot)) is not None:
        raise why
    return "" if spot.form.kind in HAND else spot.form.keyed(spot.wanted)


def default_keys(spot: Spot) -> str | None:
    """Return what the factory left there, as it would be keyed; None where it is not to be known."""
    try:
        return None if spot.form.kind in HAND else spot.form.keyed(spot.default)
    except Unfit:
        return None


def keys_of(field: Field, wants: Mapping[str, str], state: State) -> list[str | None]:
    """Return what is keyed for each setting of a field; what nobody asked for stays as it is. None: not known."""
    return [wants[spot.key] if spot.key in wants else state(spot) or default_keys(spot) for spot in field.spots]


def presses_of(spot: Spot, keys: str, sheet: KeyingSheet) -> int:
    """Return how many keys are pressed for what is keyed of one setting."""
    match spot.form.kind:
        case Kind.SECRET:
            return CODE_PRESSES
        case Kind.CLOCK:
            return CLOCK_PRESSES
        case Kind.TEXT:
            return len(keys) * sheet.letter_presses
        case Kind.CHOICE if sheet.choice_presses is not None:
            return sheet.choice_presses
        case _:
            return len(keys)


def words_of_form(form: Form, value: Value | None) -> str:
    """Return what a setting is to hold, in words; a code and the clock by where they come from."""
    if form.kind is Kind.SECRET:
        return "from the vault"
    if form.kind is Kind.CLOCK:
        return "by your watch"
    return "" if value is None else form.words(value)
