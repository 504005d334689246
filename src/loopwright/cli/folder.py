"""Where the user's own things are kept: the folder the system has for them."""

from __future__ import annotations

import os
from pathlib import Path

PEOPLE = "people"


def data_folders() -> list[Path]:
    """Return the user's data folders, the one that is asked for first; none when the system names none."""
    data, home = os.environ.get("XDG_DATA_HOME", ""), os.environ.get("HOME", "")
    # The XDG Base Directory Specification: a path that is not absolute is to be ignored.
    folders = [Path(data) / "loopwright"] if data.startswith("/") else []
    return folders + ([Path(home) / ".local" / "share" / "loopwright"] if home.startswith("/") else [])


def people_path(given: str | None, *, make: bool = False) -> Path:
    """Return the file of the people: the one that is given, or the user's own; with ``make`` its folder is made. Raises Refusal."""
    from loopwright.cli.refusal import Refusal, world_words

    if given is not None:
        return Path(given)
    folders = data_folders()
    if not folders:
        raise Refusal("There is no data folder to keep the people in: say --people FILE.")
    try:
        if make:
            folders[0].mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refusal(f"{folders[0]}: {world_words(error)}. --people FILE keeps them elsewhere.") from None
    return folders[0] / PEOPLE
