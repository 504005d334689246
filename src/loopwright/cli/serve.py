"""``loopwright serve``: the workbench in a browser."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import Refusal
from loopwright.cli.server import JobName, on_server, server_job
from loopwright.cli.words import File, Flag
from loopwright.store.user import data_folders

if TYPE_CHECKING:
    from ipaddress import IPv4Address, IPv6Address

    from loopwright.store.folder import JobFolder
    from loopwright.store.schedule import Copies
    from loopwright.store.stored import ServerJob
    from loopwright.web.lan import Network

HOST = "127.0.0.1"
OWN_COPY = "demo-business.yaml"
LOWEST_PORT, HIGHEST_PORT = 0, 65535
USUAL_EVERY_H, LEAST_EVERY_H, MOST_EVERY_H = 4.0, 0.01, 8760.0
USUAL_KEPT = 60


def serve(
    file: File | None = None,
    /,
    *,
    port: int = 8417,
    lan: Flag = False,
    host: Annotated[str | None, Parameter(show_default=False)] = None,
    behind_proxy: Annotated[str | None, Parameter(show_default=False)] = None,
    name: Annotated[tuple[str, ...], Parameter(show_default=False, negative=())] = (),
    people: Annotated[str | None, Parameter(show_default=False)] = None,
    no_browser: Flag = False,
    no_history: Flag = False,
    job: JobName = None,
    backup: Annotated[str | None, Parameter(show_default=False)] = None,
    every: Annotated[float, Parameter(show_default=False)] = USUAL_EVERY_H,
    keep: Annotated[int, Parameter(show_default=False)] = USUAL_KEPT,
) -> int:
    """Open the workbench in a browser, for this machine alone unless others are asked in.

    It opens one job file, or a folder of them: that begins with the list of all premises, where new ones are made too. A file that
    comes into the folder, or is changed there by another program, is seen without a new start.

    Without a file it opens your data folder ($XDG_DATA_HOME/loopwright, otherwise ~/.local/share/loopwright), and in it a copy of the
    business example, kept from one time to the next. Ctrl-C stops it.

    Every change is kept, with who made it and when, in a database beside the file: shop.yaml.history.db. Undo goes
    on from there the next time, and what was changed elsewhere is taken in.

    With --backup, copies of the job with its history and vault are made in a folder, when something has changed;
    `loopwright restore` puts one back. One that fails is told on the foot of every page and tried again.

    With --lan, or --host and an address of this machine, others reach it from the local network: by HTTPS, with a certificate of
    its own whose fingerprint is printed, and only people who sign in (`loopwright people`). With --behind-proxy a proxy of yours
    speaks HTTPS in its place. Serve to the internet by neither.

    Instead of a file it takes the address of a PostgreSQL server with jobs in it (`loopwright put-in`). Several servers may work on
    one job there; the password is taken from PGPASSWORD, ~/.pgpass or a service, never from the command line.

    For example:

        loopwright serve
        loopwright serve shop.yaml
        loopwright serve jobs
        loopwright serve shop.yaml --port 9000 --no-browser
        loopwright serve shop.yaml --backup /mnt/other-disk --every 2 --keep 100
        loopwright serve shop.yaml --lan
        loopwright serve postgresql://ada@db.example/office --job shop --lan
        loopwright serve shop.yaml --behind-proxy 127.0.0.1 --name bench.example

    Parameters
    ----------
    file
        The job document to work on; what is changed in the browser is written to it. Or a folder of job documents.
        Or postgresql://person@server/database.
    port
        Port to listen on; when it is taken, one that is free.
    lan
        Let people in from the local network, at every address of this machine.
    host
        The one address of this machine to listen on.
    behind_proxy
        The address your own proxy speaks from. It ends HTTPS, passes the Host header on as it came, and says for whom it speaks
        (X-Forwarded-For, X-Forwarded-Proto); from any other address nothing is taken.
    name
        A further name the workbench is reached by; may be said more than once.
    people
        The file the people are kept in; otherwise the one in your data folder.
    no_browser
        Only print the address.
    no_history
        Keep no history; undo lasts until the workbench stops.
    job
        The job on the server, where it keeps several.
    backup
        The folder of copies, best on another disk.
    every
        Hours from one copy to the next; 4 unless said.
    keep
        How many copies stay, the latest; 60 unless said.
    """
    if not LOWEST_PORT <= port <= HIGHEST_PORT:
        raise Refusal(f"--port {port}: out of bounds. Accepted: {LOWEST_PORT} to {HIGHEST_PORT}.")
    listen_on, network = _reach(lan, host, behind_proxy, name, people)
    place, first = own_folder() if file is None else (_given(file, job, history=not no_history), "")
    if job is not None and (file is None or not on_server(file)):
        kind = "a file is one job" if isinstance(place, Path) else "those of a folder are chosen in the browser"
        raise Refusal(f"--job: names a job on a server; {kind}.")
    copies = None if backup is None else _copies(place, backup, every, keep)
    from loopwright.web.serve import serve as open_workbench

    return open_workbench(
        place, host=listen_on, port=port, open_browser=not no_browser, history=not no_history, network=network, copies=copies, first=first
    )  # fmt: skip


def _copies(place: Path | ServerJob | JobFolder, folder: str, every_h: float, keep: int) -> Copies:
    """Return where copies are to be made, and how often. Raises Refusal."""
    from loopwright.store.folder import JobFolder
    from loopwright.store.schedule import Copies

    if not isinstance(place, Path | JobFolder):
        raise Refusal("--backup: a server's own pg_dump makes its backups.")
    if not LEAST_EVERY_H <= every_h <= MOST_EVERY_H:
        raise Refusal(f"--every {every_h:g}: out of bounds. Accepted: {LEAST_EVERY_H:g} to {MOST_EVERY_H:g} hours.")
    if keep < 1:
        raise Refusal(f"--keep {keep}: out of bounds. Accepted: 1 or more.")
    return Copies(folder=Path(folder), every_s=every_h * 3600, keep=keep)


def _reach(lan: bool, host: str | None, proxy: str | None, names: tuple[str, ...], people: str | None) -> tuple[str, Network | None]:
    """Return where to listen, and how others reach the workbench; None when nobody else does. Raises Refusal."""
    address = _address("--host", "127.0.0.1" if host == "localhost" else host)
    speaker = _address("--behind-proxy", proxy)
    here = HOST if address is None else str(address)
    if not lan and speaker is None and (address is None or address.is_loopback):
        if names or people is not None:
            raise Refusal("--name and --people are for others: say --lan, --host ADDRESS or --behind-proxy ADDRESS too.")
        return here, None
    if lan and (address is not None or speaker is not None):
        raise Refusal("--lan is every address of this machine; it goes with neither --host nor --behind-proxy.")
    if speaker is not None and not names:
        raise Refusal("--behind-proxy needs --name NAME: the name people reach the proxy by.")
    from loopwright.cli.folder import people_path
    from loopwright.web.lan import ANYWHERE, Network

    return here, Network(
        people=people_path(people), host=ANYWHERE if lan else here, names=names, proxy="" if speaker is None else str(speaker)
    )  # fmt: skip


def _address(option: str, said: str | None) -> IPv4Address | IPv6Address | None:
    from ipaddress import ip_address

    try:
        return None if said is None else ip_address(said)
    except ValueError:
        raise Refusal(f"{option} {said}: not an IP address.") from None


def _given(file: str, job: str | None, *, history: bool) -> Path | ServerJob | JobFolder:
    """Return a file that is a job, a folder, or a job on a server. Raises Refusal when not: the browser is no place to learn that."""
    from loopwright.cli.file import STDIN, read_job

    if on_server(file):
        if not history:
            raise Refusal("--no-history: a server keeps every change; it cannot be told not to.")
        return server_job(file, job)
    if file == STDIN:
        raise Refusal("serve works on a file, so that changes have a place to go; - cannot be one.")
    if os.path.isdir(file):
        return _folder(Path(file))
    read_job(file)
    return Path(file)


def _folder(path: Path) -> JobFolder:
    from loopwright.store.file import StoreError
    from loopwright.store.folder import JobFolder

    try:
        folder = JobFolder(path)
        folder.entries()
    except StoreError as error:
        raise Refusal(str(error)) from None
    return folder


def own_folder() -> tuple[JobFolder, str]:
    """Return the user's own folder, and the name in it of their copy of the business example, made now if it is not there.

    The words say where it is.
    """
    from loopwright.cli.file import put
    from loopwright.cli.new import demo_text
    from loopwright.cli.terminal import plain, say

    folder, note = _data_folder()
    path = folder / OWN_COPY
    if not path.exists():
        put(path, demo_text("business").encode("utf-8"))
    say(f"Working on the business example in {plain(str(path))}.{note}")
    return _folder(folder), path.stem


def _data_folder() -> tuple[Path, str]:
    """Return a folder that can be written to: the user's data folder, or a temporary one, and then a sentence that says so."""
    for folder in data_folders():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if (folder / OWN_COPY).exists() or os.access(folder, os.W_OK | os.X_OK):
                return folder, ""
        except (OSError, ValueError):
            continue
    return Path(tempfile.mkdtemp(prefix="loopwright-")), " There is no data folder to write to, so this copy may not be kept."
