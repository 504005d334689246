"""``loopwright papers``: the records people sign and file, as PDF."""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal, world_words
from loopwright.cli.words import File

EPOCH = "SOURCE_DATE_EPOCH"


def papers(file: File, /, *, out: Annotated[Path, Parameter(name="--out")]) -> int:
    """Write the job's papers as PDF files, and print their names.

    Each file is written whole or not at all; papers of the same name are written over. With SOURCE_DATE_EPOCH in the
    environment the papers carry that time, and come out the same byte for byte.

    For example:

        loopwright papers shop.yaml --out papers

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    out
        The folder to write them to, made when it is not there.
    """
    from loopwright.cli.file import read_job
    from loopwright.cli.terminal import plain, say

    job = read_job(file)
    now = moment()
    from loopwright.appraisal.appraise import appraise
    from loopwright.papers import PAPERS

    appraisal = appraise(job)
    made = {f"{name}.pdf": paper(appraisal, revision=0, now=now) for name, paper in PAPERS.items()}
    for path in put_all(out, made):
        say(plain(str(path)))
    return DONE


def moment() -> datetime:
    """Return the time the papers carry: now, or what the environment says. Raises Refusal when it says no time."""
    stated = os.environ.get(EPOCH)
    if not stated:
        return datetime.now(UTC)
    try:
        return datetime.fromtimestamp(int(stated), UTC)
    except (ValueError, OverflowError, OSError):
        raise Refusal(f"{EPOCH}={stated}: is not a time. Accepted: whole seconds since 1970.") from None


def put_all(folder: Path, made: Mapping[str, bytes]) -> list[Path]:
    """Write files into a folder, and nowhere else. Raises Refusal when one cannot be."""
    from loopwright.cli.file import put

    for name in made:
        if name != os.path.basename(name) or name in ("", ".", ".."):
            raise Refusal(f"{name}: is not the name of a file in {folder}.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        words = world_words(error) if isinstance(error, OSError) else str(error)
        raise Refusal(f"{folder}: cannot be made: {words}.") from None
    written = []
    for name, data in made.items():
        put(folder / name, data, over=True)
        written.append(folder / name)
    return written
