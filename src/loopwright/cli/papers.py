"""``loopwright papers``: the records people sign and file, as PDF."""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal, world_words
from loopwright.cli.words import File

EPOCH = "SOURCE_DATE_EPOCH"
FINGERPRINT = 12


def papers(file: File, /, *, out: Annotated[Path, Parameter(name="--out")]) -> int:
    """Write the job's papers as PDF files, and print their names.

    Each file is written whole or not at all; papers of the same name are written over. As its revision a paper carries
    the first digits of the document's SHA-256, as sha256sum prints it. With SOURCE_DATE_EPOCH in the environment it
    carries that time, and comes out the same byte for byte.

    For example:

        loopwright papers shop.yaml --out papers

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    out
        The folder to write them to, made when it is not there.
    """
    from loopwright.cli.file import job_in, read_source
    from loopwright.cli.terminal import plain, say

    source = read_source(file)
    job = job_in(source, file)
    revision, now = sha256(source).hexdigest()[:FINGERPRINT], moment()
    from loopwright.appraisal.appraise import appraise
    from loopwright.papers import PAPERS

    appraisal = appraise(job)
    made = {f"{name}.pdf": paper(appraisal, revision=revision, now=now) for name, paper in PAPERS.items()}
    for path in put_all(out, made):
        say(plain(str(path)))
    return DONE


def moment() -> datetime:
    """Return the time the papers carry: now in this place's time, or what the environment says. Raises Refusal when it says no time."""
    stated = os.environ.get(EPOCH)
    if not stated:
        return datetime.now().astimezone()
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
