"""Who runs the program, and where the system keeps what is theirs."""

from __future__ import annotations

import os
import pwd
from pathlib import Path

OWN_FOLDER = "loopwright"


def who() -> str:
    """Return who runs the program by the system's own record; the environment can say anything."""
    try:
        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:
        return f"user {os.getuid()}"


def data_folders() -> list[Path]:
    """Return the user's data folders, the one that is asked for first; none when the system names none."""
    data, home = os.environ.get("XDG_DATA_HOME", ""), os.environ.get("HOME", "")
    # The XDG Base Directory Specification: a path that is not absolute is to be ignored.
    folders = [Path(data) / OWN_FOLDER] if data.startswith("/") else []
    return folders + ([Path(home) / ".local" / "share" / OWN_FOLDER] if home.startswith("/") else [])
