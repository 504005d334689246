"""``loopwright vault``: the secrets of a job, one at a time."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File

if TYPE_CHECKING:
    from loopwright.cli.passphrase import Words
    from loopwright.store.audit import Audit
    from loopwright.store.vault import Vault

Act = Literal["put", "get", "list", "remove", "passwd", "trail"]
NAMELESS = ("list", "passwd", "trail")


def vault(
    file: File,
    act: Act,
    name: Annotated[str | None, Parameter(show_default=False)] = None,
    /,
    *,
    passphrase_file: Annotated[str | None, Parameter(show_default=False)] = None,
    passphrase_fd: Annotated[int | None, Parameter(show_default=False)] = None,
) -> int:
    """Keep the job's secrets in an encrypted file beside it: codes, keys, account numbers, pass-words.

    put asks for the secret, or reads it from standard input where that is no terminal; the first put makes the vault.
    get prints one secret. list prints the names, which are not encrypted. passwd seals everything with another passphrase.
    trail prints who read and changed what, and says whether a line of that was changed, with exit status 1 when one was.
    Neither a secret nor the passphrase is ever written on the command line, where the shell and the list of processes would
    keep it. A forgotten passphrase cannot be had again.

    For example:

        loopwright vault shop.yaml put user/1
        loopwright vault shop.yaml get user/1
        loopwright vault shop.yaml list
        loopwright vault shop.yaml passwd --passphrase-file both.txt

    Parameters
    ----------
    file
        The job document.
    act
        What to do: put, get, list, remove, passwd or trail.
    name
        The name of the secret: a letter first, then letters, digits, . _ - and /.
    passphrase_file
        A file of yours alone with the passphrase in its first line, and for passwd the new one in its second.
    passphrase_fd
        The number of an open file descriptor to read the same from.
    """
    from loopwright.cli.passphrase import Words
    from loopwright.store.audit import Audit
    from loopwright.store.file import StoreError
    from loopwright.store.secret import no_core
    from loopwright.store.user import who
    from loopwright.store.vault import trail_path

    if (name is None) != (act in NAMELESS):
        raise Refusal(f"{act} takes no NAME." if act in NAMELESS else f"{act} needs the NAME of a secret.")
    no_core()
    job = Path(file.removesuffix(".vault"))
    words = Words(passphrase_file, passphrase_fd, piped=act == "put")
    from datetime import UTC, datetime

    audit = Audit(trail_path(job), by=who(), clock=lambda: datetime.now(UTC))
    try:
        if act == "trail":
            from loopwright.cli.trail import say_trail

            return say_trail(audit)
        return _list(job) if act == "list" else _act(job, act, name or "", words, audit)
    except StoreError as error:
        raise Refusal(str(error)) from None


def _list(job: Path) -> int:
    from loopwright.cli.terminal import say
    from loopwright.store.vault import names_in, vault_path

    for name in names_in(vault_path(job)):
        say(name)
    return DONE


def _act(job: Path, act: Act, name: str, words: Words, audit: Audit) -> int:
    from loopwright.cli.terminal import plain, say
    from loopwright.store.vault import vault_path
    from loopwright.store.vault_form import good_name

    shown = plain(vault_path(job).name)
    name = good_name(name) if name else name
    opened = _opened(job, words, audit, make=act == "put")
    if act == "get":
        words.show(opened.get(name))
    elif act == "put":
        opened.put(name, words.secret(name))
        say(f"{name} is in {shown}.")
    elif act == "remove":
        opened.remove(name)
        say(f"{name} is taken out of {shown}.")
    else:
        opened.change_passphrase(words.new_passphrase())
        say(f"{shown} is sealed with the new passphrase. Copies made before still open with the old one.")
    return DONE


def _opened(job: Path, words: Words, audit: Audit, *, make: bool) -> Vault:
    """Return the vault, open; a new one when there is none and one is to be made."""
    from loopwright.store.vault import create_vault, names_in, open_vault, vault_path

    path = vault_path(job)
    if make and not path.exists():
        if not job.is_file():
            raise Refusal(f"{job}: there is no such file, so there is no job to keep secrets of.")
        return create_vault(path, words.first_passphrase(), note=audit.note)
    # Before the passphrase is asked for: a file that is no vault needs none.
    names_in(path)
    return open_vault(path, words.passphrase(), note=audit.note)
