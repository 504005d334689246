"""Starting the workbench: a port that is free, an address that is printed, a browser where there is one."""

from __future__ import annotations

import atexit
import gc
import getpass
import os
import secrets
import socket
import sys
import tempfile
import webbrowser
from datetime import UTC, datetime
from html import escape
from pathlib import Path

import uvicorn

from loopwright.store.file import JobFile, StoreError
from loopwright.store.kept import KeptJob, keep
from loopwright.values.error import JobError
from loopwright.web.app import create_app
from loopwright.web.guard import LOOPBACK
from loopwright.web.session import Session
from loopwright.web.visitor import Visitor

UNUSABLE, STOPPED = 2, 0


def serve(path: Path, *, host: str = "127.0.0.1", port: int = 8417, open_browser: bool = True, history: bool = True) -> int:
    """Show a job file in the browser until Ctrl-C; return the exit code. Problems go to standard error.

    With ``history`` every change is kept in a database beside the file.
    """
    try:
        session = opened(path, history=history)
    except (StoreError, JobError) as error:
        print(f"{path.name} cannot be opened.\n{error}", file=sys.stderr)
        return UNUSABLE
    try:
        return _shown(session, host=host, port=port, open_browser=open_browser)
    finally:
        if isinstance(session.file, KeptJob):
            session.file.close()


def opened(path: Path, *, history: bool) -> Session:
    """Return the open job. A history that cannot be kept is told on standard error. Raises StoreError or JobError."""
    if not history or not path.is_file():
        return Session(JobFile(path))
    file, trouble = keep(path, by=who(), clock=lambda: datetime.now(UTC))
    try:
        session = Session(file)
    except StoreError as error:
        if isinstance(file, KeptJob):
            file.close()
        # The file itself may be in order: then it is the history that cannot be written.
        session, trouble = Session(JobFile(path)), f"{error} No history is kept now; the job file is saved as ever."
    if trouble:
        print(trouble, file=sys.stderr)
    return session


def who() -> str:
    """Return who is at work, as the system knows the person."""
    try:
        return os.environ.get("USER") or getpass.getuser()
    except (OSError, KeyError):
        return "unknown"


def _shown(session: Session, *, host: str, port: int, open_browser: bool) -> int:
    try:
        listening = listen(host, port)
    except OSError as error:
        print(f"No port could be opened on {host}: {error.strerror or error}", file=sys.stderr)
        return UNUSABLE
    token = secrets.token_urlsafe(24)
    address = address_of(host, listening.getsockname()[1], token)
    print(f"Loopwright shows {session.file.path} at\n\n    {address}\n\nThe address holds the key to this job. Ctrl-C stops.", flush=True)
    if open_browser and has_display():
        webbrowser.open(doorstep(address))
    settle_memory()
    config = uvicorn.Config(
        create_app(session, token=token, hosts=LOOPBACK | {host}, visitor=Visitor(name=who())),
        log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=2,
    )  # fmt: skip
    try:
        uvicorn.Server(config).run(sockets=[listening])
    except KeyboardInterrupt:
        pass
    finally:
        listening.close()
    print("\nStopped. Every change had been saved as it was made.")
    return STOPPED


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
