"""What is noticed of accounts while messages come in: a clock that is wrong, a path that changed, a poll that does not come."""

from __future__ import annotations

from collections import OrderedDict, deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from statistics import median

from loopwright.signalling import moment
from loopwright.signalling.received import Arrival, Matter, Notice, Way
from loopwright.signalling.repeats import Source, source_of
from loopwright.signalling.verdict import NOT_LISTED, POLLS

MOST_ACCOUNTS = 1000
MOST_PATHS = 8
INTERVALS = 5
LATE_TIMES, LATE_S = 1.5, 5.0
"""A poll is late after its interval one and a half times and five seconds more. Our choice: the clauses seen name no number."""


By = tuple[Way, str]
"""By which way, and from which address."""


@dataclass(slots=True)
class _Path:
    last_at: datetime
    polled_at: datetime | None = None
    intervals_s: deque[float] = field(default_factory=lambda: deque(maxlen=INTERVALS))
    late: bool = False


@dataclass(slots=True)
class _Account:
    paths: OrderedDict[By, _Path] = field(default_factory=OrderedDict)
    events_by: By | None = None
    clock_off: bool = False


class Watch:
    """Accounts as they were heard of late. Bounded; the longest silent leave first."""

    def __init__(self, *, poll_s: float | None = None) -> None:
        """Take the interval of polls [s]; without one it is learnt from those that come."""
        self._poll_s = poll_s
        self._accounts: OrderedDict[Source, _Account] = OrderedDict()

    def heard(self, arrival: Arrival) -> list[Notice]:
        """Return what is worth saying about a message that came in."""
        verdict, at, way, peer = arrival
        head = verdict.head
        if head is None:
            return []
        source, by = source_of(head), (way, peer)
        account = self._accounts.get(source)
        if account is None:
            account = self._accounts[source] = _Account()
            if len(self._accounts) > MOST_ACCOUNTS:
                self._accounts.popitem(last=False)
            notices = list(_unlisted(arrival, head.account))
        else:
            self._accounts.move_to_end(source)
            if head.token not in POLLS and _as_before(account, by, at, verdict.skew_s):
                return []
            notices = []
        notices += _clock(account, arrival, head.account)
        notices += _by_path(account, by, at, head.account, poll=head.token in POLLS)
        return notices

    def tick(self, now: datetime) -> list[Notice]:
        """Return what is worth saying because nothing came."""
        notices = []
        for (_, _, named), account in self._accounts.items():
            for path, state in account.paths.items():
                interval_s = self._interval_s(state)
                if state.late or interval_s is None or (now - state.last_at).total_seconds() <= interval_s * LATE_TIMES + LATE_S:
                    continue
                state.late = True
                since = f"{state.last_at:%H:%M:%S} UTC; one is due every {interval_s:.0f} s"
                words = f"Account {named}: no poll by {_named(path)} since {since}."
                notices.append(Notice(at=now, matter=Matter.LATE_POLL, words=words, account=named))
        return notices

    def _interval_s(self, state: _Path) -> float | None:
        if state.polled_at is None:
            return None
        return self._poll_s or (median(state.intervals_s) if len(state.intervals_s) >= 2 else None)


def _as_before(account: _Account, by: By, at: datetime, skew_s: float | None) -> bool:
    """Take note of an event if it came by the path of the one before, with a clock as right as then; return whether it did."""
    if account.events_by != by or account.clock_off:
        return False
    path = account.paths.get(by)
    if path is None or path.late or not (skew_s is None or moment.in_time(skew_s)):
        return False
    path.last_at = at
    return True


def _unlisted(arrival: Arrival, account: str) -> Iterator[Notice]:
    if NOT_LISTED in arrival.verdict.warnings:
        words = f"Account {account or 'without a number'} is not listed here; what it sends is kept and marked so."
        yield Notice(at=arrival.at, matter=Matter.UNLISTED, words=words, account=account)


def _clock(state: _Account, arrival: Arrival, account: str) -> Iterator[Notice]:
    skew_s = arrival.verdict.skew_s
    if skew_s is None:
        return
    off = not moment.in_time(skew_s)
    if off and not state.clock_off:
        words = f"Account {account}: its clock is {abs(skew_s):.0f} s {'ahead' if skew_s > 0 else 'behind'}."
        yield Notice(at=arrival.at, matter=Matter.CLOCK, words=words, account=account)
    elif state.clock_off and not off:
        yield Notice(at=arrival.at, matter=Matter.CLOCK, words=f"Account {account}: its clock is right again.", account=account)
    state.clock_off = off


def _named(by: By) -> str:
    return " ".join(by)


def _by_path(account: _Account, path: By, at: datetime, name: str, *, poll: bool) -> Iterator[Notice]:
    state = account.paths.get(path)
    if state is None:
        if account.paths:
            words = f"Account {name}: a path not seen before, {_named(path)}; known so far: {', '.join(map(_named, account.paths))}."
            yield Notice(at=at, matter=Matter.PATH, words=words, account=name)
        state = account.paths[path] = _Path(last_at=at)
        if len(account.paths) > MOST_PATHS:
            account.paths.popitem(last=False)
    elif state.late:
        words = f"Account {name}: heard by {_named(path)} again after {(at - state.last_at).total_seconds():.0f} s."
        yield Notice(at=at, matter=Matter.POLL_BACK, words=words, account=name)
        state.late = False
    elif not poll and account.events_by and account.events_by != path:
        words = f"Account {name}: events come by {_named(path)} now, and came by {_named(account.events_by)} before."
        yield Notice(at=at, matter=Matter.PATH, words=words, account=name)
    if poll:
        if state.polled_at is not None and state.polled_at == state.last_at:
            state.intervals_s.append((at - state.polled_at).total_seconds())
        state.polled_at = at
    else:
        account.events_by = path
    state.last_at = at
