"""A walked site, kept beside its job: what its unit reported was sent over TCP to a receiver, what was said stands in the record."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from tests.prove.walk import BEGIN, Site, designed, miswired, tour

import loopwright.demo
from loopwright.prove.record import AtCentre, RadioRow, Record
from loopwright.receiver.intake import Bench
from loopwright.receiver.running import Running
from loopwright.receiver.sending import Wire, send_walk
from loopwright.receiver.server import Place
from loopwright.signalling.received import Received, Way
from loopwright.signalling.sender import Fate
from loopwright.signalling.verdict import Account, Desk
from loopwright.signalling.walk import Step
from loopwright.store.aes import ChainedAes
from loopwright.store.proof_file import ProofFile, proof_path
from loopwright.store.received import ReceivedFile, received_path

BY = "J. Pell"


def walked(job: Path, devices: Sequence[str], more: Record = Record()) -> Record:  # noqa: B008 - a record is frozen
    """Write the bindery with its three mistakes, walk these devices, and keep what came and what was said; ``more`` is said beside."""
    job.write_text(loopwright.demo.text("business"), encoding="utf-8")
    design = designed()
    acts, events = tour(Site(design, miswired(design)), devices)
    assert _sent(job, sorted(events, key=lambda each: each.at)) == {Fate.ACKNOWLEDGED}
    made = replace(more, id="r", begun_at=BEGIN.isoformat(), by=BY, walked=tuple(acts))
    ProofFile(proof_path(job)).change(lambda _: made, mark="whole-walk", of="", by=BY, at=BEGIN.isoformat())
    return made


def _sent(job: Path, events: Sequence[Received]) -> set[Fate]:
    now = [BEGIN]
    keeper = ReceivedFile(received_path(job))
    desk = Desk(accounts={"4711": Account()}, cipher=ChainedAes(), draw=secrets.token_bytes)
    running = Running(Place(host="127.0.0.1", port=0), Bench(desk=desk, keeper=keeper, tell=lambda _: None, clock=lambda: now[0]))
    wire = Wire("127.0.0.1", running.port, Way.TCP)

    def steps() -> Iterator[Step]:
        for event in events:
            now[0] = event.at
            yield Step(after_s=0.0, account="4711", form="ADM-CID", data=str(event.event))

    sent = list(send_walk(steps(), wire, key=None, cipher=ChainedAes(), draw=secrets.token_bytes, sleep=lambda _: None))
    wire.close()
    running.stop()
    keeper.close()
    return {each.fate for each in sent}


def told(key: str, answer: str, at: datetime, *, time: str = "", operator: str = "") -> AtCentre:
    """Return what the receiving centre told of a signal."""
    return AtCentre(id=key, at=at.isoformat(), by=BY, key=key, answer=answer, time=time, operator=operator)


def fob(at: datetime, identity: str, what: str, **more: object) -> RadioRow:
    """Return a radio device or a fob that was entered."""
    return RadioRow(**{"id": identity, "at": at.isoformat(), "by": BY, "identity": identity, "what": what, "kind": "fob"} | more)  # type: ignore[arg-type]
