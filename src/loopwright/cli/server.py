"""Jobs on a database server: the address, which job is meant, and where on this machine what goes with it is kept."""

from __future__ import annotations

import hashlib
import re
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import Refusal, either
from loopwright.store.address import is_address, shown_address, tells_password
from loopwright.store.user import data_folders

if TYPE_CHECKING:
    from loopwright.store.sql import SqlStore
    from loopwright.store.stored import ServerJob

JobName = Annotated[str | None, Parameter(name="--job", show_default=False)]
FOLDER = "servers"
WHERE_FROM = "PGPASSWORD, the file ~/.pgpass or PGPASSFILE names, or the service PGSERVICE names"


def on_server(place: str) -> bool:
    """Return whether a server is meant rather than a file. Raises Refusal when the address holds a password."""
    if is_address(place) and tells_password(place):
        raise Refusal(
            f"{shown_address(place)}: a password stands in this address, where every user of the machine can read it. "
            f"Leave it out; it is taken from {WHERE_FROM}."
        )
    return is_address(place)


def chosen(jobs: tuple[str, ...], job: str | None) -> str:
    """Return the name of the job that is meant. Raises Refusal."""
    if job is not None and job in jobs:
        return job
    if job is None and len(jobs) == 1:
        return jobs[0]
    if not jobs:
        raise Refusal("the history keeps no job yet.")
    raise Refusal(f"{f'--job {job}' if job else '--job'}: choose one of the jobs it keeps. Accepted: {either(jobs)}.")


def server_job(address: str, job: str | None) -> ServerJob:
    """Return the job that is meant on a server. Raises Refusal."""
    from loopwright.store.stored import ServerJob

    store = opened(address)
    try:
        jobs = store.jobs()
    finally:
        store.close()
    if not jobs:
        raise Refusal(f"{shown_address(address)} keeps no job yet. `loopwright put-in shop.yaml {shown_address(address)}` puts one in.")
    name = chosen(jobs, job)
    return ServerJob(address, name, beside(address, name))


def opened(address: str, *, read_only: bool = False) -> SqlStore:
    """Return the store at an address. Raises Refusal."""
    from loopwright.store.file import StoreError
    from loopwright.store.sql import open_store

    try:
        return open_store(address, read_only=read_only)
    except StoreError as error:
        raise Refusal(str(error)) from None


def beside(address: str, job: str, folders: Iterable[Path] | None = None) -> Path:
    """Return where on this machine the vault of a job on a server are kept: beside a file that is not there."""
    key = hashlib.sha256(f"{shown_address(address)}\0{job}".encode("utf-8", "replace")).hexdigest()[:12]
    name = re.sub(r"[^A-Za-z0-9._-]", "_", job).strip(".")[:60] or "job"
    found = next(iter(data_folders() if folders is None else folders), None)
    return (found or Path(tempfile.gettempdir()) / f"loopwright-{key}") / FOLDER / f"{name}-{key}" / name
