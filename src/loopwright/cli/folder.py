"""Where the people are kept: among the user's own things, unless another file is named."""

from __future__ import annotations

from pathlib import Path

from loopwright.store.user import data_folders

PEOPLE = "people"


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
