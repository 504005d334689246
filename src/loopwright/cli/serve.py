"""``loopwright serve``: the workbench in a browser."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from loopwright.cli.refusal import Refusal
from loopwright.cli.words import File, Flag

HOST = "127.0.0.1"
OWN_COPY = "demo-business.yaml"
LOWEST_PORT, HIGHEST_PORT = 0, 65535


def serve(file: File | None = None, /, *, port: int = 8417, no_browser: Flag = False, no_history: Flag = False) -> int:
    """Open the workbench in a browser, for this machine alone.

    Without a file it opens a copy of the business example, kept in your data folder from one time to the next
    ($XDG_DATA_HOME/loopwright, otherwise ~/.local/share/loopwright). Ctrl-C stops it.

    Every change is kept, with who made it and when, in a database beside the file: shop.yaml.history.db. Undo goes
    on from there the next time, and what was changed elsewhere is taken in.

    For example:

        loopwright serve
        loopwright serve shop.yaml
        loopwright serve shop.yaml --port 9000 --no-browser

    Parameters
    ----------
    file
        The job document to work on; what is changed in the browser is written to it.
    port
        Port to listen on; when it is taken, one that is free.
    no_browser
        Only print the address.
    no_history
        Keep no history; undo lasts until the workbench stops.
    """
    if not LOWEST_PORT <= port <= HIGHEST_PORT:
        raise Refusal(f"--port {port}: out of bounds. Accepted: {LOWEST_PORT} to {HIGHEST_PORT}.")
    path = own_copy() if file is None else _given(file)
    from loopwright.web.serve import serve as open_workbench

    return open_workbench(path, host=HOST, port=port, open_browser=not no_browser, history=not no_history)


def _given(file: str) -> Path:
    """Return the path of a file that can be read and is a job. Raises Refusal when not: the browser is no place to learn that."""
    from loopwright.cli.file import STDIN, read_job

    if file == STDIN:
        raise Refusal("serve works on a file, so that changes have a place to go; - cannot be one.")
    read_job(file)
    return Path(file)


def own_copy() -> Path:
    """Return the user's own copy of the business example, made now if it is not there. The words say where it is."""
    from loopwright.cli.file import put
    from loopwright.cli.new import demo_text
    from loopwright.cli.terminal import plain, say

    folder, note = _data_folder()
    path = folder / OWN_COPY
    if not path.exists():
        put(path, demo_text("business").encode("utf-8"))
    say(f"Working on the business example in {plain(str(path))}.{note}")
    return path


def _data_folder() -> tuple[Path, str]:
    """Return a folder that can be written to: the user's data folder, or a temporary one, and then a sentence that says so."""
    for folder in _wanted():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if (folder / OWN_COPY).exists() or os.access(folder, os.W_OK | os.X_OK):
                return folder, ""
        except (OSError, ValueError):
            continue
    return Path(tempfile.mkdtemp(prefix="loopwright-")), " There is no data folder to write to, so this copy may not be kept."


def _wanted() -> list[Path]:
    data, home = os.environ.get("XDG_DATA_HOME", ""), os.environ.get("HOME", "")
    # The XDG Base Directory Specification: a path that is not absolute is to be ignored.
    folders = [Path(data) / "loopwright"] if data.startswith("/") else []
    return folders + ([Path(home) / ".local" / "share" / "loopwright"] if home.startswith("/") else [])
