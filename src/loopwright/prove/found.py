"""Everything of a proving at one moment, worked out from what was said and what arrived."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from loopwright.circuits.forecast import CircuitForecast
from loopwright.job.document import Job
from loopwright.power.forecast import PowerForecast
from loopwright.prove.board import Board, board
from loopwright.prove.devices import zones_of
from loopwright.prove.due import to_prove
from loopwright.prove.heard import of_received, of_tap
from loopwright.prove.item import Item
from loopwright.prove.record import Record
from loopwright.prove.set_up import poll_of
from loopwright.prove.standing import Standing, standings
from loopwright.prove.walk import walking_order
from loopwright.signalling.received import Polled, Received


@dataclass(frozen=True, kw_only=True, slots=True)
class Due:
    """What must be proved of a job, and in which order it is walked; both depend on the job and its forecasts alone."""

    job: Job
    circuits: tuple[CircuitForecast, ...]
    items: tuple[Item, ...]
    order: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """How a proving stands at a moment: ``before`` is the one before it, whose readings are the baseline.

    ``photos`` are the photographs by digest, where a paper is to show them.
    """

    due: Due
    record: Record
    before: Record | None
    board: Board
    standings: tuple[Standing, ...]
    now: datetime
    photos: Mapping[str, bytes] = field(default_factory=dict)

    @property
    def by_key(self) -> dict[str, Standing]:
        """Return how each thing stands, by its key."""
        return {each.item.key: each for each in self.standings}


def due_of(job: Job, circuits: Sequence[CircuitForecast], power: PowerForecast) -> Due:
    """Return what must be proved of a job."""
    devices = [name for name in job.equipment if zones_of(job, name)]
    return Due(job=job, circuits=tuple(circuits), items=to_prove(job, circuits, power), order=walking_order(job, devices))


def found_of(
    due: Due, record: Record, received: Iterable[Received], *, now: datetime, before: Record | None = None, polled: Sequence[Polled] = ()
) -> Found:
    """Return how a proving stands: ``received`` is what a receiver stored, of which that after ``record.after`` counts."""
    heard = [of_tap(tap) for tap in record.taps]
    heard += [of_received(each) for each in received if each.number > record.after]
    sheets = [dict(each.said) for each in record.setup_of.values()]
    poll_s = next((s for said in sheets if (s := poll_of(said))), None)
    accounts = frozenset(account.upper() for said in sheets if (account := said.get("account", "")))
    seen = board(
        due.job, due.circuits, heard, record.walked, now=now, order=due.order, poll_s=poll_s, accounts=accounts, polled=polled
    )  # fmt: skip
    stand = standings(due.items, record, seen, before)
    return Found(due=due, record=record, before=before, board=seen, standings=stand, now=now)
