"""``loopwright receive``: this machine as the receiving centre of a site, for the hour of a test."""

from __future__ import annotations

import queue
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.cli.passphrase import Words
    from loopwright.receiver.running import Running
    from loopwright.receiver.server import Place
    from loopwright.signalling.received import Happening
    from loopwright.store.accounts import Listed
    from loopwright.store.vault import Vault

HERE = "127.0.0.1"
USUAL_PORT = 8418
MOST_WAITING = 10_000
SHOWN_BYTES = 60


def receive(
    file: File,
    /,
    *,
    host: str = HERE,
    port: int = USUAL_PORT,
    test_h: float = 1.0,
    poll_s: Annotated[float | None, Parameter(show_default=False)] = None,
    flushed: Flag = False,
    no_vault: Flag = False,
    plain_too: Flag = False,
    show_key: Flag = False,
    passphrase_file: Annotated[str | None, Parameter(show_default=False)] = None,
    passphrase_fd: Annotated[int | None, Parameter(show_default=False)] = None,
) -> int:
    """Receive what a control unit reports by DC-09, and print each event as words as it comes. Ctrl-C ends it.

    It opens one port by TCP and UDP at one address of this machine, for an hour unless told otherwise. WHILE IT IS ON TEST NOBODY
    RESPONDS TO AN ALARM: what the control unit reports comes here and goes to no receiving centre. Tell the customer and the centre first.

    Accounts and keys are those of the job's vault: account/NAME is a number, key/NAME the key that goes with it. What comes in plain
    from an account with a key is refused; from an account that is not listed it is kept and marked so. A message is acknowledged once it
    is in shop.yaml.received.db. `loopwright received` lists what is there.

    For example:

        loopwright receive shop.yaml
        loopwright receive shop.yaml --host 192.0.2.7 --port 9000 --test-h 2

    Parameters
    ----------
    file
        The job document, a file.
    host
        The one address of this machine to listen at; only this machine itself reaches it unless told.
    port
        The port, the same for TCP and UDP; 0 takes one that is free.
    test_h
        Hours until the port is shut; 12 at most.
    poll_s
        Seconds between two polls of a path; learnt from those that come unless told.
    flushed
        Acknowledge only what the disk has written, so that it outlasts a loss of power; slower.
    no_vault
        List no account and open no vault.
    plain_too
        Take plain messages of accounts with a key too; otherwise anybody on the network could speak for them.
    show_key
        Print the keys, on a terminal only, to be entered at the control unit.
    passphrase_file
        A file of yours alone with the passphrase of the vault in its first line.
    passphrase_fd
        The number of an open file descriptor to read the same from.
    """
    from loopwright.cli.file import STDIN, read_job
    from loopwright.cli.passphrase import Words
    from loopwright.receiver.server import NotOpened, Place
    from loopwright.store.accounts import accounts_in
    from loopwright.store.file import StoreError
    from loopwright.store.secret import no_core
    from loopwright.store.vault import vault_path

    if file == STDIN:
        raise Refusal("What is received is kept beside the job file, so a file is needed here.")
    job = read_job(file)
    no_core()
    try:
        place = Place(host=HERE if host == "localhost" else host, port=port, test_h=test_h, poll_s=poll_s).checked()
        vault = None
        if not no_vault and vault_path(Path(file)).exists():
            vault = _opened(Path(file), Words(passphrase_file, passphrase_fd, piped=False))
        listed = accounts_in(vault, plain_too=plain_too) if vault else ()
        return _receive(Path(file), job.title, place, vault, listed, flushed=flushed, show_key=show_key)
    except (StoreError, NotOpened) as error:
        raise Refusal(str(error)) from None


def _opened(job: Path, words: Words) -> Vault:
    from datetime import UTC, datetime

    from loopwright.store.audit import Audit
    from loopwright.store.user import who
    from loopwright.store.vault import names_in, open_vault, trail_path, vault_path

    # Before the passphrase is asked for: a file that is no vault needs none.
    names_in(vault_path(job))
    audit = Audit(trail_path(job), by=who(), clock=lambda: datetime.now(UTC))
    return open_vault(vault_path(job), words.passphrase(), note=audit.note)


def _receive(job: Path, title: str, place: Place, vault: Vault | None, listed: tuple[Listed, ...], *, flushed: bool, show_key: bool) -> int:
    import secrets
    from datetime import UTC, datetime

    from loopwright.cli.terminal import plain, say
    from loopwright.receiver.intake import Bench
    from loopwright.receiver.running import Running
    from loopwright.signalling.verdict import Desk
    from loopwright.store.aes import ChainedAes
    from loopwright.store.received import ReceivedFile, received_path

    desk = Desk(accounts={each.number: each.account for each in listed}, cipher=ChainedAes(), draw=secrets.token_bytes)
    waiting: queue.Queue[Happening] = queue.Queue(MOST_WAITING)
    missed = [0]

    def tell(happening: Happening) -> None:
        """Hand on to be printed; whoever does not read the terminal holds up nobody."""
        try:
            waiting.put_nowait(happening)
        except queue.Full:
            missed[0] += 1

    keeper = ReceivedFile(received_path(job), flushed=flushed)
    try:
        running = Running(place, Bench(desk=desk, keeper=keeper, tell=tell, clock=lambda: datetime.now(UTC), slow=flushed))
        say(plain(f"{title}: receiving at {place.host} port {running.port}, TCP and UDP."))
        if place.is_loopback:
            say("Only this machine reaches it: --host with its address on the site's network lets the control unit in.")
        _say_accounts(listed)
        if show_key and vault:
            _show_keys(vault, listed)
        try:
            _follow(running, waiting)
        finally:
            running.stop()
            _rest(waiting)
    finally:
        keeper.close()
    if missed[0]:
        say(f"{missed[0]} more were not printed; `loopwright received` lists every event.")
    return DONE


def _say_accounts(listed: tuple[Listed, ...]) -> None:
    from loopwright.cli.terminal import plain, say

    for each in listed:
        key = f"its key is in the vault as {each.key_name}" if each.key_name else "no key: it sends in plain"
        say(plain(f"Account {each.number} ({each.name}); {key}."))
    if not listed:
        say("No account is listed. What comes in plain is kept and marked so; what is encrypted cannot be read.")


def _show_keys(vault: Vault, listed: tuple[Listed, ...]) -> None:
    import sys

    from loopwright.cli.terminal import plain, say

    if not sys.stdout.isatty():
        raise Refusal("--show-key: keys are printed on a terminal only. `loopwright vault` reads them elsewhere.")
    for each in listed:
        if each.key_name:
            say(plain(f"{each.key_name}: {vault.get(each.key_name).reveal()}"))


def _follow(running: Running, waiting: queue.Queue[Happening]) -> None:
    from loopwright.cli.terminal import say

    try:
        while running.open:
            try:
                say(line_of(waiting.get(timeout=0.2)))
            except queue.Empty:
                _flush()
    except KeyboardInterrupt:
        return


def _rest(waiting: queue.Queue[Happening]) -> None:
    from loopwright.cli.terminal import say

    while not waiting.empty():
        say(line_of(waiting.get_nowait()))


def _flush() -> None:
    import sys

    sys.stdout.flush()


def line_of(happening: Happening) -> str:
    """Return what happened on one line that cannot steer a terminal."""
    from loopwright.cli.terminal import plain
    from loopwright.signalling.received import Notice, Received
    from loopwright.signalling.verdict import Answer

    at = f"{happening.at:%H:%M:%S}"
    if isinstance(happening, Notice):
        return plain(f"{at}  {happening.matter.upper()}: {happening.words}")
    if isinstance(happening, Received):
        number = f"[{happening.number}] " if happening.number else ""
        again = " A repeat; it is stored once." if happening.duplicate_of else ""
        remarks = "".join(f" But {each}" for each in happening.warnings)
        return plain(f"{at}  {number}{happening.account} by {happening.path}: {happening.words}{again}{remarks}")
    octets = happening.octets[:SHOWN_BYTES]
    shown = f" Bytes: {octets!r}{' ...' if len(happening.octets) > SHOWN_BYTES else ''}" if octets else ""
    answer = "not answered" if happening.answer is Answer.SILENCE else f"answered {happening.answer}"
    account = f"account {happening.account}, " if happening.account else ""
    return plain(f"{at}  Refused, {answer}: {account}{happening.way} {happening.peer}: {happening.reason}{shown}")
