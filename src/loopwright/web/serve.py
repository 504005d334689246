"""Starting the workbench: a port that is free, an address that is printed, a browser where there is one."""

from __future__ import annotations

import atexit
import gc
import os
import secrets
import socket
import sys
import tempfile
import webbrowser
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn
from fastapi import FastAPI
from starlette.types import ASGIApp

from loopwright.store.api_token import ApiTokens, tokens_path, tokens_trail_path
from loopwright.store.audit import Audit
from loopwright.store.file import JobFile, StoreError
from loopwright.store.folder import JobFolder
from loopwright.store.kept import KeptJob, keep
from loopwright.store.schedule import Copies, Schedule
from loopwright.store.stored import ServerJob, open_stored
from loopwright.store.trail import MemoryTrail
from loopwright.store.user import who
from loopwright.values.error import JobError
from loopwright.web.app import create_app
from loopwright.web.guard import LOOPBACK
from loopwright.web.patience import Patient
from loopwright.web.session import Session
from loopwright.web.several import create_several
from loopwright.web.shelf import Opened, Shelf
from loopwright.web.visitor import NOBODY, Visitor

if TYPE_CHECKING:
    from loopwright.web.entrance import Entrance
    from loopwright.web.lan import Network

UNUSABLE, STOPPED = 2, 0
MOST_AT_ONCE = 256
"""Connections that are open at the same time; more are told to come back."""


def serve(
    place: Path | ServerJob | JobFolder,
    *,
    host: str = "127.0.0.1",
    port: int = 8417,
    open_browser: bool = True,
    history: bool = True,
    network: Network | None = None,
    copies: Copies | None = None,
    first: str = "",
) -> int:
    """Show a job file, or a job on a server, or the jobs of a folder, in the browser until Ctrl-C; return the exit code.

    Problems go to standard error. ``first`` is the job of a folder that the printed address leads to.

    With ``history`` every change of a file is kept in a database beside it; a server keeps them all. ``host`` is one of this
    machine's own; others come in by a ``network``, which names the address to listen on itself. ``copies`` says where copies of a
    job file are made by themselves.
    """
    if network is None and host not in LOOPBACK:
        print(f"{host} is not this machine alone: without people and TLS nothing is shown there.", file=sys.stderr)
        return UNUSABLE
    there = network.host if network else host
    if isinstance(place, JobFolder):
        shelf = Shelf(place, lambda path: opened_part(path, history=history, copies=copies))
        try:
            return _shown(Several(shelf, first), str(place.path), host=there, port=port, open_browser=open_browser, network=network)
        finally:
            shelf.close_all()
    try:
        session = opened(place, history=history)
    except (StoreError, JobError) as error:
        print(f"{place.name if isinstance(place, Path) else place} cannot be opened.\n{error}", file=sys.stderr)
        return UNUSABLE
    schedule = _scheduled(session, copies) if copies is not None else None
    try:
        shown = str(session.file.path if isinstance(place, Path) else place)
        return _shown(Single(session), shown, host=there, port=port, open_browser=open_browser, network=network)
    finally:
        if schedule is not None:
            schedule.stop()
        if not isinstance(session.file, JobFile):
            session.file.close()


def _scheduled(session: Session, copies: Copies) -> Schedule:
    """Begin to make copies of the open job; how they go stands on the foot of every page, and trouble on standard error."""
    schedule = Schedule(
        session.file.path, copies, clock=lambda: datetime.now(UTC), tell=lambda words: print(words, file=sys.stderr, flush=True)
    )  # fmt: skip
    session.copied = lambda: schedule.words
    schedule.start()
    return schedule


@dataclass(frozen=True, slots=True)
class Single:
    """One job, shown alone."""

    session: Session

    def app(self, *, token: str | None, hosts: frozenset[str], visitor: Visitor = NOBODY, entrance: Entrance | None = None) -> FastAPI:
        """Return its application."""
        try:
            tokens = tokens_of(self.session.file.path)
        except StoreError:
            # The user has no place of their own, so no token has been made.
            tokens = None
        return create_app(self.session, token=token, hosts=hosts, visitor=visitor, tokens=tokens, entrance=entrance)


@dataclass(frozen=True, slots=True)
class Several:
    """The jobs of a folder; ``first`` is the one the printed address leads to."""

    shelf: Shelf
    first: str = ""

    def app(self, *, token: str | None, hosts: frozenset[str], visitor: Visitor = NOBODY, entrance: Entrance | None = None) -> FastAPI:
        """Return the application for them all."""
        return create_several(
            self.shelf, token=token, hosts=hosts, visitor=visitor, tokens_of=tokens_of, entrance=entrance, first=self.first
        )  # fmt: skip


def opened_part(path: Path, *, history: bool, copies: Copies | None) -> Opened:
    """Return an open job of a folder, with what closes it: copies of it are made as long as it is open. Raises StoreError or JobError."""
    session = opened(path, history=history)
    schedule = _scheduled(session, copies) if copies is not None else None

    def close() -> None:
        if schedule is not None:
            # What was changed since the last one is not left without a copy till the job is opened again.
            schedule.stop()
            schedule.make()
        if not isinstance(session.file, JobFile):
            session.file.close()

    return Opened(session, close)


def opened(place: Path | ServerJob, *, history: bool) -> Session:
    """Return the open job. A history that cannot be kept is told on standard error. Raises StoreError or JobError."""
    return _opened_file(place, history=history) if isinstance(place, Path) else _opened_there(place)


def _opened_there(place: ServerJob) -> Session:
    stored = open_stored(place, by=who(), clock=lambda: datetime.now(UTC))
    try:
        return Session(stored)
    except BaseException:
        stored.close()
        raise


def _opened_file(path: Path, *, history: bool) -> Session:
    if not history or not path.is_file():
        return Session(MemoryTrail(JobFile(path), by=who()))
    file, trouble = keep(path, by=who(), clock=lambda: datetime.now(UTC))
    try:
        session = Session(file)
    except StoreError as error:
        if isinstance(file, KeptJob):
            file.close()
        # The file itself may be in order: then it is the history that cannot be written.
        session, trouble = Session(MemoryTrail(JobFile(path), by=who())), f"{error} No history is kept now; the job file is saved as ever."
    if trouble:
        print(trouble, file=sys.stderr)
    return session


def tokens_of(job: Path) -> ApiTokens:
    """Return the tokens other programs come to a job with. Raises StoreError."""
    path = tokens_path(job)
    return ApiTokens(path, note=Audit(tokens_trail_path(path), by=who(), clock=lambda: datetime.now(UTC)).note)


def _shown(shown: Single | Several, place: str, *, host: str, port: int, open_browser: bool, network: Network | None) -> int:
    try:
        listening = listen(host, port)
    except OSError as error:
        print(f"No port could be opened on {host}: {error.strerror or error}", file=sys.stderr)
        return UNUSABLE
    try:
        config, address = _for_others(shown, place, network, listening) if network else _for_here(shown, place, host, listening)
    except StoreError as error:
        listening.close()
        print(error, file=sys.stderr)
        return UNUSABLE
    if open_browser and has_display():
        webbrowser.open(address)
    settle_memory()
    try:
        uvicorn.Server(config).run(sockets=[listening])
    except KeyboardInterrupt:
        pass
    finally:
        listening.close()
    print("\nStopped. Every change had been saved as it was made.")
    return STOPPED


def _for_here(shown: Single | Several, place: str, host: str, listening: socket.socket) -> tuple[uvicorn.Config, str]:
    """Return the server for whoever sits at this machine, and the address of a page that leads to it with the key."""
    token = secrets.token_urlsafe(24)
    address = address_of(host, listening.getsockname()[1], token)
    which = "this job" if isinstance(shown, Single) else "these jobs"
    print(f"Loopwright shows {place} at\n\n    {address}\n\nThe address holds the key to {which}. Ctrl-C stops.", flush=True)
    app = shown.app(token=token, hosts=LOOPBACK | {host}, visitor=Visitor(name=who()))
    return server_config(app), doorstep(address) if has_display() else ""


def _for_others(shown: Single | Several, place: str, network: Network, listening: socket.socket) -> tuple[uvicorn.Config, str]:
    """Return the server for people who sign in, and the address at which they do. Raises StoreError."""
    from loopwright.web.lan import entrance_for, greeting, speaks_tls

    entrance, why = entrance_for(network, listening.getsockname()[1])
    spoken = speaks_tls(entrance)
    where = greeting(entrance, why, drawn=sys.stdout.isatty())
    print(f"Loopwright shows {place} at\n\n{where}\n\nCtrl-C stops.", flush=True)
    app = shown.app(token=None, hosts=entrance.ways.hosts, entrance=entrance)
    config = server_config(app)
    config.load()
    config.ssl = spoken
    return config, entrance.ways.addresses[-1]


def server_config(app: ASGIApp, protocol: type[Patient] = Patient) -> uvicorn.Config:
    """Return how the server runs. It takes nobody's word for where a request comes from: with a proxy, the entrance does that."""
    return uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, proxy_headers=False, timeout_graceful_shutdown=2,
        limit_concurrency=MOST_AT_ONCE, http=protocol, ws="none",
    )  # fmt: skip


def settle_memory() -> None:
    """Let the collector of unused memory look at what an edit makes, not at the whole program again and again.

    Measured on the bindery: the slowest edits in twenty take two thirds as long.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)


def listen(host: str, port: int) -> socket.socket:
    """Return a socket that listens on the port, or on any free one when it is taken. Raises OSError."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for wanted in (port, 0):
        made = socket.socket(family, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((host, wanted))
            made.listen(64)
            return made
        except OSError:
            made.close()
            if wanted == 0:
                raise
    raise OSError("no port")


def address_of(host: str, port: int, token: str) -> str:
    """Return the address to open, key included.

    >>> address_of("::1", 8417, "abc")
    'http://[::1]:8417/?key=abc'
    """
    named = f"[{host}]" if ":" in host else host
    return f"http://{named}:{port}/?key={token}"


def has_display() -> bool:
    """Return whether there is a screen a browser could open on."""
    return sys.platform in ("darwin", "win32") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def doorstep(address: str) -> str:
    """Return the address of a page that only this user can read and that leads on to ``address``.

    A command line can be read by every user of the machine, so the key must not stand in the browser's.
    """
    handle, name = tempfile.mkstemp(prefix="loopwright-", suffix=".html")
    atexit.register(Path(name).unlink, missing_ok=True)
    with os.fdopen(handle, "w", encoding="utf-8") as out:
        out.write(
            f'<!doctype html><meta charset="utf-8"><meta http-equiv="refresh" content="0; url={escape(address)}"><title>Loopwright</title>'
        )
    return Path(name).as_uri()
