"""How long somebody has to wait after wrong passwords: counted for each name from each place, so that nobody is kept out by another.

Nothing here reads a clock; ``now`` is passed in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

MOST_COUNTED = 10_000
ANYBODY = ""
"""Stands for every name tried from one place."""


class Source(NamedTuple):
    """Where somebody is: the address, and whether it is this very machine."""

    address: str
    loopback: bool


class Tries(NamedTuple):
    """How many tries have failed, or are under way, and when the last one was."""

    number: int
    last: datetime


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """Tries that are free; then the wait doubles from ``first_wait_s`` to ``longest_wait_s``; quiet for so long, all is forgotten."""

    free: int = 5
    free_for_all_names: int = 20
    first_wait_s: int = 2
    longest_wait_s: int = 900
    forgotten_after_s: int = 3600


Key = tuple[str, str]
Attempts = Mapping[Key, Tries]


def keys_of(name: str, source: Source) -> tuple[Key, Key]:
    """Return what a try is counted under: this name from there, and any name from there."""
    return (name, source.address), (ANYBODY, source.address)


def wait_s(attempts: Attempts, name: str, source: Source, *, now: datetime, limits: Limits) -> int:
    """Return how long [s] whoever tries has to wait, 0 when not at all."""
    return max(_wait_s(attempts.get(key), key[0], now, limits) for key in keys_of(name, source))


def tried(attempts: Attempts, name: str, source: Source, *, now: datetime, limits: Limits) -> Attempts:
    """Return the attempts with one more. It is counted before it is looked at, so that many at once gain nothing."""
    counted = dict(attempts)
    for key in keys_of(name, source):
        before = counted.pop(key, None)
        number = before.number if before is not None and not _forgotten(before, now, limits) else 0
        counted[key] = Tries(number + 1, now)
    return _short(counted, now, limits)


def passed(attempts: Attempts, name: str, source: Source) -> Attempts:
    """Return the attempts after a right one: those of this name from there are forgiven, and this one was none of all names' either."""
    own, every = keys_of(name, source)
    left = {key: each for key, each in attempts.items() if key != own}
    if every in left:
        left[every] = Tries(left[every].number - 1, left[every].last)
    return left


def _wait_s(tries: Tries | None, name: str, now: datetime, limits: Limits) -> int:
    free = limits.free_for_all_names if name == ANYBODY else limits.free
    if tries is None or tries.number < free or _forgotten(tries, now, limits):
        return 0
    doublings = min(tries.number - free, limits.longest_wait_s.bit_length())
    wait = min(limits.longest_wait_s, limits.first_wait_s << doublings)
    over = tries.last + timedelta(seconds=wait) - now
    # A clock set back must not make anybody wait longer than the wait itself.
    return min(wait, max(0, -(-over // timedelta(seconds=1))))


def _forgotten(tries: Tries, now: datetime, limits: Limits) -> bool:
    return now - tries.last >= timedelta(seconds=limits.forgotten_after_s)


def _short(counted: dict[Key, Tries], now: datetime, limits: Limits) -> dict[Key, Tries]:
    """Return no more than can be kept in memory, whoever tries whatever; the longest quiet go first."""
    if len(counted) <= MOST_COUNTED:
        return counted
    kept = {key: each for key, each in counted.items() if not _forgotten(each, now, limits)}
    return dict(list(kept.items())[-MOST_COUNTED // 2 :])
