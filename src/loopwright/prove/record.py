"""What is said while a system is proved, as it is kept: plain values, every one with who and when.

Moments are ISO 8601 with their zone. Nothing is taken out: what is put right stands after what it replaces.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Protocol, TypeVar


@dataclass(frozen=True, kw_only=True, slots=True)
class Tool:
    """An instrument: its serial number and the day it was calibrated, and what its paper says of its accuracy where it is a meter."""

    id: str
    name: str
    serial: str = ""
    calibrated_on: str = ""
    accuracy_pct: float | None = None
    digits: float | None = None
    counts: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """What was found of one thing: ``answer`` yes or no, or a ``reading`` as it was displayed. An entry with neither takes it back.

    ``photo`` is the digest of a photograph that was taken of it.
    """

    id: str
    at: str
    by: str
    key: str
    answer: str = ""
    reading: str = ""
    tool: str = ""
    note: str = ""
    photo: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Walked:
    """What somebody said they were doing: ``act`` at a device, operate, lid or mask. ``sure`` is False where it is inferred."""

    id: str
    at: str
    by: str
    device: str
    act: str = "operate"
    sure: bool = True


@dataclass(frozen=True, kw_only=True, slots=True)
class Tapped:
    """What a keypad showed, tapped by hand where nothing reports over a network."""

    id: str
    at: str
    by: str
    zone: int
    kind: str
    restored: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class AtCentre:
    """What the receiving centre told of one signal: ``time`` is its own, ``answer`` whether it arrived."""

    id: str
    at: str
    by: str
    key: str
    answer: str
    time: str = ""
    operator: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Signed:
    """A gap that somebody signed for: of what, why, who and when. An empty reason takes it back."""

    id: str
    at: str
    by: str
    key: str
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class RadioRow:
    """A radio device or a fob. ``margin_db`` is what the unit told in its place; a ``gone`` fob is lost and removed from the unit."""

    id: str
    at: str
    by: str
    identity: str
    what: str
    kind: str
    holder: str = ""
    margin_db: float | None = None
    checked_in: str = ""
    gone: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class SetUp:
    """The set-up sheet of one path, as it was filled in: pairs of a field's name and its text. No key has a field here."""

    id: str
    at: str
    by: str
    path: str
    said: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Issued:
    """A certificate: who issued it when, in which role, and how many gaps were named in it."""

    at: str
    by: str
    gaps: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Record:
    """Everything said of one proving, from its first word to the closed day. ``marks`` name the changes made, each once.

    ``after`` is the number of the last received message that belongs to the proving before.
    """

    id: str = ""
    begun_at: str = ""
    by: str = ""
    after: int = 0
    tools: tuple[Tool, ...] = ()
    entries: tuple[Entry, ...] = ()
    walked: tuple[Walked, ...] = ()
    taps: tuple[Tapped, ...] = ()
    centre: tuple[AtCentre, ...] = ()
    signed: tuple[Signed, ...] = ()
    radio: tuple[RadioRow, ...] = ()
    setups: tuple[SetUp, ...] = ()
    issued: Issued | None = None
    closed_at: str = ""
    marks: tuple[str, ...] = ()

    @property
    def tool(self) -> Tool | None:
        """Return the instrument in use: the one named last."""
        return self.tools[-1] if self.tools else None

    def said_of(self, key: str) -> Entry | None:
        """Return what stands of one thing: the entry of the latest moment; None where there is none or it was taken back."""
        return self.standing.get(key)

    @property
    def standing(self) -> dict[str, Entry]:
        """Return what stands, by what it was said of: what was said last, whenever it came in."""
        found: dict[str, Entry] = {}
        for each in in_order(self.entries):
            found[each.key] = each
        return {key: each for key, each in found.items() if each.answer or each.reading}

    @property
    def photos(self) -> dict[str, str]:
        """Return the digests of the photographs that stand, by what they are of."""
        return {key: each.photo for key, each in self.standing.items() if each.photo}

    @property
    def gaps_signed(self) -> dict[str, Signed]:
        """Return the gaps that are signed for, by what they are of."""
        found = {each.key: each for each in in_order(self.signed)}
        return {key: each for key, each in found.items() if each.reason}

    @property
    def told_by_centre(self) -> dict[str, AtCentre]:
        """Return what the receiving centre told last, by signal."""
        found = {each.key: each for each in in_order(self.centre)}
        return {key: each for key, each in found.items() if each.answer}

    @property
    def radio_rows(self) -> tuple[RadioRow, ...]:
        """Return the radio devices and fobs, each as it was said last."""
        found = {each.identity: each for each in in_order(self.radio)}
        return tuple(found.values())

    @property
    def setup_of(self) -> dict[str, SetUp]:
        """Return the set-up sheets by path, each as it was filled in last."""
        return {each.path: each for each in in_order(self.setups)}


class Dated(Protocol):
    """Something said, with its moment."""

    @property
    def at(self) -> str:
        """Return when it was said."""


D = TypeVar("D", bound=Dated)


def in_order(rows: Iterable[D]) -> list[D]:
    """Return what was said in the order of its moments; what a telephone sent late stands where it was said."""
    return sorted(rows, key=lambda each: datetime.fromisoformat(each.at))


def size_of(record: Record) -> int:
    """Return how many things a record holds, for whoever bounds it."""
    return sum(len(value) for each in fields(record) if isinstance(value := getattr(record, each.name), tuple) and each.name != "marks")
