"""A proving of an open job: what was said, what arrived, and how everything stands by it, worked out when it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from threading import Lock
from typing import Protocol

from loopwright.appraisal.appraise import Appraisal
from loopwright.explain.explain import Inquiry
from loopwright.explain.explanation import Explanation
from loopwright.explain.observation import Noted
from loopwright.job.document import Job
from loopwright.prove.found import Due, Found, due_of, found_of
from loopwright.prove.record import Record
from loopwright.prove.standing import progress
from loopwright.prove.wiring import named, signs
from loopwright.signalling.received import Polled, Received
from loopwright.store.photo_file import PhotoFile, photo_path
from loopwright.store.proof_file import ProofFile, proof_path
from loopwright.store.received import ReceivedReader, received_path
from loopwright.values.recent import Recent
from loopwright.web.receiving import Standing as Port
from loopwright.web.session import Session

MOST_READ = 1000


class Feed(Protocol):
    """Where received events are kept."""

    def since(self, number: int, *, most: int = MOST_READ) -> Sequence[Received]:
        """Return the events of the messages after this number, in their order, of at most so many messages."""

    def last(self) -> int:
        """Return the number of the last message, 0 where there is none."""

    def polls(self) -> Sequence[Polled]:
        """Return what is known of the polls, by account and path."""


class Proving:
    """The proving of an open job. ``feed`` is where received events are kept, None while nothing was received."""

    def __init__(self, session: Session, clock: Callable[[], datetime]) -> None:
        """Take the session; nothing is read and nothing worked out yet."""
        self._session = session
        self.clock = clock
        self.file = ProofFile(proof_path(session.file.path))
        self.photos = PhotoFile(photo_path(session.file.path))
        self.photographing = Lock()
        """Held from a picture being kept until something speaks of it, so that nobody else lets go of it meanwhile."""
        self.feed: Feed | None = None
        self.port: Callable[[], Port | None] | None = None
        """Gives the port that is open for the test; None where none can be."""
        self.words = ""
        """How the room stands, in a word: as it was found last."""
        self._lock, self._reading = Lock(), Lock()
        self._due: tuple[Appraisal, Due] | None = None
        self._inquiry: tuple[Job, Inquiry] | None = None
        self._named: Recent[Explanation] = Recent(most_names=64, each=1)

    def last(self) -> int:
        """Return the number of the last message received, 0 where nothing receives. Raises StoreError."""
        with self._reading:
            feed = self._opened()
            return feed.last() if feed is not None else 0

    def _opened(self) -> Feed | None:
        """Return where received events are kept, once a receiver has begun to: its file lies beside the job."""
        if self.feed is None:
            path = received_path(self._session.file.path)
            self.feed = ReceivedReader(path) if path.exists() else None
        return self.feed

    def tag(self) -> str:
        """Return what tells one state from another: something was said, something arrived, or the job was changed."""
        port = self.port() if self.port is not None else None
        # A page that says for how many minutes it still listens is drawn anew with each of them, and when something was refused.
        listening = f".{port.until:%H%M%S}.{port.left_min}.{port.turnings}" if port is not None else ""
        return f"{self.file.state()}.{self.last()}.{self._session.state.revision}{listening}"

    def found(self, appraisal: Appraisal, record: Record | None = None) -> Found:
        """Return how everything stands now; with ``record`` as if that were what was said. Raises StoreError."""
        kept = self.file.load()
        said = kept.record if record is None else record
        found = found_of(
            self.due(appraisal), said, self._received(said.after), now=self.clock(), before=kept.last, polled=self._polled()
        )  # fmt: skip
        rows = progress(found.standings)
        self.words = f"proved {sum(row.proved for row in rows)} of {sum(row.of for row in rows)}" if said.id else ""
        return found

    def due(self, appraisal: Appraisal) -> Due:
        """Return what must be proved of the job."""
        if self._due is None or self._due[0] is not appraisal:
            self._due = (appraisal, due_of(appraisal.job, appraisal.circuits, appraisal.power))
        return self._due[1]

    def _received(self, after: int) -> list[Received]:
        out: list[Received] = []
        with self._reading:
            feed = self._opened()
            while feed is not None and (page := feed.since(out[-1].number if out else after, most=MOST_READ)):
                out += page
        return out

    def _polled(self) -> Sequence[Polled]:
        with self._reading:
            feed = self._opened()
            return feed.polls() if feed is not None else ()

    def named(self, appraisal: Appraisal, found: Found) -> dict[str, Explanation]:
        """Return by circuit what the wiring mistake may be behind what was called out."""
        out = {}
        for circuit, noted in signs(appraisal.job, found.board.acts, found.board.calls).items():
            out[circuit] = self._explained(appraisal, circuit, noted)
        return out

    def _explained(self, appraisal: Appraisal, circuit: str, noted: tuple[Noted, ...]) -> Explanation:
        with self._lock:
            if self._inquiry is None or self._inquiry[0] is not appraisal.job:
                self._inquiry = (appraisal.job, Inquiry(appraisal.job, appraisal.power.network))
                self._named.clear()
            known = self._named.find(circuit, (noted,))
            if known is None:
                known = named(self._inquiry[1], noted)
                self._named.put(circuit, (noted,), known)
            return known
