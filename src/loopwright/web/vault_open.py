"""Vaults that are open in this server: for the session one was opened in, for a bounded time, and only in this process's memory."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, NamedTuple

from loopwright.store.attempt import Attempts, Limits, Source, passed, tried, wait_s
from loopwright.store.file import StoreError
from loopwright.store.secret import Secret, no_core

if TYPE_CHECKING:
    from loopwright.store.audit import Record
    from loopwright.store.vault import Vault
    from loopwright.values.code import CodeFacts

IDLE_S, LONGEST_S = 10 * 60, 2 * 60 * 60
"""How long a vault stays open without use, and in any case [s]."""
LOOKED_S = 5
"""So often it is looked whether whoever a vault is open for is still in, since the people may be changed outside of this program [s]."""
LIMITS = Limits()
Opening = Callable[[Path], "Vault"]
Sittings = Callable[[], frozenset[str]]
"""Gives the marks of everybody who is signed in."""


class Holder(NamedTuple):
    """Whom a vault is open for: a person, and what marks their session and what they are in it, empty for who sits at the machine."""

    name: str
    sitting: str = ""


class Shut(Exception):  # noqa: N818 - what is so, not what went wrong in the program
    """The vault is not open for whoever asks."""


class Wait(Exception):  # noqa: N818 - what is to be done
    """Whoever tries has to wait first; ``seconds`` says how long."""

    def __init__(self, seconds: int) -> None:
        super().__init__(f"Too many passphrases were tried. Wait {seconds} s, then try again.")
        self.seconds = seconds


@dataclass(slots=True)
class _Held:
    """An open vault: since when, when it was used last [s of the clock], and the facts of its codes as the file stood then."""

    vault: Vault
    opened_s: float
    used_s: float
    facts: dict[tuple[int, ...], tuple[CodeFacts, ...]] = field(default_factory=dict)


class OpenVaults:
    """The vault of one job, open in each session its passphrase was given in.

    ``clock`` counts seconds; ``sittings`` says who is still in. It is None where nobody signs in.
    """

    def __init__(self, job: Path, clock: Callable[[], float] = monotonic, *, sittings: Sittings | None = None) -> None:
        self._job = job
        self._clock = clock
        self._sittings = sittings
        self._held: dict[Holder, _Held] = {}
        self._lock = threading.RLock()
        self._one_at_a_time = threading.Lock()
        self._attempts: Attempts = {}
        self._timer: threading.Timer | None = None

    @property
    def path(self) -> Path:
        """Return where the vault is, or would be."""
        # Only here: the ciphers are a twentieth of a second of start-up.
        from loopwright.store.vault import vault_path

        return vault_path(self._job)

    @property
    def trail(self) -> Path:
        """Return where it is noted who asked for what."""
        from loopwright.store.vault import trail_path

        return trail_path(self._job)

    def open(self, who: Holder, passphrase: Secret, *, note: Record) -> None:
        """Open the vault for a person. Raises StoreError when the passphrase does not fit, Wait when too many were tried."""
        from loopwright.store.vault import names_in, open_vault

        # Before a try is counted: a file that is no vault needs no passphrase.
        names_in(self.path)
        self._take(who, lambda path: open_vault(path, passphrase, note=note))

    def make(self, who: Holder, passphrase: Secret, *, note: Record) -> None:
        """Make the vault, open for a person. Raises StoreError, when there is one too."""
        from loopwright.store.vault import create_vault

        self._take(who, lambda path: create_vault(path, passphrase, note=note))

    def vault(self, who: Holder) -> Vault:
        """Return the vault that is open for a person, which counts as a use of it. Raises Shut."""
        with self._lock:
            held = self._still_held(who)
            held.used_s = self._clock()
            return held.vault

    def facts(self, who: Holder) -> tuple[CodeFacts, ...]:
        """Return facts of the codes; they are worked out, and noted, once for each state of the file. Raises Shut or StoreError."""
        with self._lock:
            held = self._still_held(who)
        try:
            now = self.path.stat()
        except OSError:
            raise StoreError(f"{self.path.name} is not there any more.") from None
        stamp = (now.st_ino, now.st_mtime_ns, now.st_size)
        if stamp not in held.facts:
            held.facts = {stamp: held.vault.facts()}
        return held.facts[stamp]

    def names(self, who: Holder) -> tuple[str, ...]:
        """Return the names of the secrets, which is no use of the vault. Raises Shut or StoreError."""
        with self._lock:
            vault = self._still_held(who).vault
        return vault.names()

    def left_s(self, who: Holder) -> float:
        """Return how long the vault stays open for a person without use [s], 0 when it is shut."""
        with self._lock:
            try:
                return self._due_s(self._still_held(who)) - self._clock()
            except Shut:
                return 0.0

    def close(self, who: Holder) -> None:
        """Forget the keys a person's passphrase gave."""
        with self._lock:
            self._held.pop(who, None)

    def forget_gone(self) -> None:
        """Forget the keys of everybody who has gone, or is not what they were when they opened the vault."""
        with self._lock:
            self._sweep(gone=True)

    def close_all(self) -> None:
        """Forget every key."""
        with self._lock:
            self._held.clear()

    def _take(self, who: Holder, opening: Opening) -> None:
        """Open a vault in one thread at a time, since each try takes much memory, and hold it."""
        # Who asks is known by now, so tries are counted by that alone: where somebody sits keeps nobody else waiting.
        source, now = Source(who.name, loopback=False), datetime.now(UTC)
        with self._lock:
            if seconds := wait_s(self._attempts, who.name, source, now=now, limits=LIMITS):
                raise Wait(seconds)
            self._attempts = tried(self._attempts, who.name, source, now=now, limits=LIMITS)
        no_core()
        with self._one_at_a_time:
            vault = opening(self.path)
        with self._lock:
            self._attempts = passed(self._attempts, who.name, source)
            self._held[who] = _Held(vault, self._clock(), self._clock())
            # Opening takes a second, in which somebody may have been turned out.
            self._sweep(gone=True)
            self._watch()

    def _still_held(self, who: Holder) -> _Held:
        self._sweep()
        if who not in self._held:
            raise Shut
        return self._held[who]

    def _sweep(self, *, gone: bool = False) -> None:
        now = self._clock()
        self._held = {who: held for who, held in self._held.items() if self._due_s(held) > now}
        if gone and self._held and self._sittings is not None:
            still = self._sittings()
            self._held = {who: held for who, held in self._held.items() if who.sitting in still}

    def _due_s(self, held: _Held) -> float:
        return min(held.used_s + IDLE_S, held.opened_s + LONGEST_S)

    def _watch(self) -> None:
        """See to it that keys are forgotten when they are due, though nobody asks for anything any more."""
        if self._timer is None and self._held:
            wait = min(self._due_s(held) for held in self._held.values()) - self._clock()
            if self._sittings is not None:
                wait = min(wait, LOOKED_S)
            self._timer = threading.Timer(max(wait, 0) + 0.5, self._rung)
            self._timer.daemon = True
            self._timer.start()

    def _rung(self) -> None:
        with self._lock:
            self._timer = None
            self._sweep(gone=True)
            self._watch()
