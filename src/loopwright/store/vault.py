"""The secrets of a job: codes, keys, account numbers and pass-words, in one sealed file beside the job and nowhere else.

Every change reads the file again under a lock, so two people's changes both stand. Everything that is done is noted before it is done.
A process keeps the keys in memory as long as the vault is open; Python cannot promise to wipe them after that.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from loopwright.store.audit import Record
from loopwright.store.beside import path_beside
from loopwright.store.code import facts_of
from loopwright.store.file import StoreError
from loopwright.store.held import held
from loopwright.store.seal import SALT_BYTES, Broken, Cost, Keys, keys_from
from loopwright.store.secret import Draw, Secret
from loopwright.store.vault_form import (
    MOST_BYTES,
    Form,
    NotAVault,
    checked,
    composed,
    good_name,
    parsed,
    secret_in,
    with_secret,
    without_secret,
)  # fmt: skip
from loopwright.store.whole import write_whole
from loopwright.values.code import JUDGED, CodeFacts, Use, use_of

SUFFIX, TRAIL_SUFFIX = ".vault", ".vault.trail"
OURS_ALONE = 0o600
SHORTEST_PASSPHRASE, LONGEST_PASSPHRASE = 12, 1024
USUAL_COST = Cost()
COMPARED_USES = JUDGED | {Use.FACTORY}
CREATED, OPENED, REFUSED, READ, PUT, REMOVED, COMPARED, NEW_PASSPHRASE, NOT_DONE = (
    "created", "opened", "opening refused", "read", "put", "removed", "compared", "passphrase changed", "not done after all",
)  # fmt: skip


class NotOpened(StoreError):
    """The passphrase does not fit the file; which of the two is at fault cannot be told."""


class NoVault(StoreError):
    """There is no vault."""


def vault_path(job: Path) -> Path:
    """Return where the vault of a job file is."""
    return path_beside(job, SUFFIX)


def trail_path(job: Path) -> Path:
    """Return where the trail of a job's vault is."""
    return path_beside(job, TRAIL_SUFFIX)


def good_passphrase(passphrase: Secret) -> Secret:
    """Return a passphrase that is long enough to seal with. Raises StoreError."""
    if not SHORTEST_PASSPHRASE <= len(passphrase.reveal()) <= LONGEST_PASSPHRASE:
        raise StoreError(
            f"A passphrase has {SHORTEST_PASSPHRASE} to {LONGEST_PASSPHRASE} characters. "
            "Four or five words drawn by lot are easy to keep in mind."
        )
    return passphrase


def names_in(path: Path) -> tuple[str, ...]:
    """Return the names in a vault as they stand in the file, in order; nothing is opened, so nothing is vouched for. Raises StoreError."""
    return tuple(_parsed(path)[0].boxes)


def create_vault(path: Path, passphrase: Secret, *, note: Record, cost: Cost = USUAL_COST, draw: Draw = secrets.token_bytes) -> Vault:
    """Make an empty vault and return it. Raises StoreError, when there is one already too."""
    salt = draw(SALT_BYTES)
    keys = keys_from(good_passphrase(passphrase), salt, cost)
    form = Form(salt=salt, cost=cost, written=1, boxes={})
    note(CREATED, path.name)
    with _in_words(path, "was not made"):
        write_whole(path, composed(form, keys), over=False, mode=OURS_ALONE)
    return Vault(path, salt, keys, note=note, draw=draw)


def open_vault(path: Path, passphrase: Secret, *, note: Record, draw: Draw = secrets.token_bytes) -> Vault:
    """Open a vault. Raises NotOpened when the passphrase does not fit, StoreError when the file cannot be read."""
    form, seal = _parsed(path)
    keys = keys_from(passphrase, form.salt, form.cost)
    try:
        checked(form, seal, keys)
    except Broken:
        note(REFUSED, path.name)
        raise NotOpened(
            f"{path.name} was not opened: the passphrase is not the one it was sealed with, or the file was changed since."
        ) from None
    note(OPENED, path.name)
    return Vault(path, form.salt, keys, note=note, draw=draw)


class Vault:
    """An open vault: one secret at a time."""

    __slots__ = ("_path", "_salt", "_keys", "_note", "_draw")

    def __init__(self, path: Path, salt: bytes, keys: Keys, *, note: Record, draw: Draw) -> None:
        """Take a file and the keys that fit it; ``create_vault`` and ``open_vault`` make this."""
        self._path = path
        self._salt = salt
        self._keys = keys
        self._note = note
        self._draw = draw

    def names(self) -> tuple[str, ...]:
        """Return the names of the secrets, in order. Raises StoreError."""
        return tuple(self._form().boxes)

    def get(self, name: str) -> Secret:
        """Return one secret, once it is noted that it was read. Raises StoreError."""
        secret = self._secret(self._form(), good_name(name))
        self._note(READ, name)
        return secret

    def matches(self, name: str, said: Secret) -> bool:
        """Return whether a secret is what was said, capitals and blanks aside, once it is noted that it was compared. Raises StoreError."""
        secret = self._secret(self._form(), good_name(name))
        self._note(COMPARED, name)
        return _spoken(secret) == _spoken(said)

    def put(self, name: str, secret: Secret) -> None:
        """Put a secret in, in place of one of that name. Raises StoreError; the file is then as it was."""
        name = good_name(name)
        self._change(PUT, name, lambda form: with_secret(form, name, secret, self._keys, self._draw))

    def remove(self, name: str) -> None:
        """Take a secret out. Raises StoreError; the file is then as it was."""
        name = good_name(name)

        def change(form: Form) -> Form:
            self._secret(form, name)
            return without_secret(form, name)

        self._change(REMOVED, name, change)

    def change_passphrase(self, new: Secret, *, cost: Cost = USUAL_COST) -> None:
        """Seal everything anew, with another salt and other keys. Raises StoreError; the file is then as it was.

        A copy of the file from before still opens with the old passphrase.
        """
        salt = self._draw(SALT_BYTES)
        keys = keys_from(good_passphrase(new), salt, cost)

        def change(form: Form) -> Form:
            anew = Form(salt=salt, cost=cost, written=form.written, boxes={})
            for name in form.boxes:
                anew = with_secret(anew, name, self._secret(form, name), keys, self._draw)
            return anew

        self._change(NEW_PASSPHRASE, self._path.name, change, keys)
        self._salt, self._keys = salt, keys

    def facts(self) -> tuple[CodeFacts, ...]:
        """Return what a rule may know of the codes, once it is noted that they were compared: never a code. Raises StoreError."""
        form = self._form()
        found = facts_of({name: self._secret(form, name) for name in form.boxes if use_of(name) in COMPARED_USES})
        self._note(COMPARED, self._path.name)
        return found

    def __repr__(self) -> str:
        """Return the file's name only."""
        return f"Vault({self._path.name})"

    def _form(self) -> Form:
        """Return what stands in the file now, looked through with the keys at hand."""
        form, seal = _parsed(self._path)
        if form.salt != self._salt:
            raise StoreError(f"{self._path.name}: the passphrase was changed since it was opened here. Open it again with the new one.")
        try:
            return checked(form, seal, self._keys)
        except Broken:
            raise _changed(self._path) from None

    def _secret(self, form: Form, name: str) -> Secret:
        try:
            return secret_in(form, name, self._keys)
        except Broken:
            raise _changed(self._path) from None

    def _change(self, act: str, subject: str, change: Callable[[Form], Form], keys: Keys | None = None) -> None:
        with _in_words(self._path, "was not written"), held(self._path):
            form = change(self._form())
            raw = composed(replace(form, written=form.written + 1), keys or self._keys)
            now = self._path.stat()
            self._note(act, subject)
            try:
                write_whole(self._path, raw, over=True, mode=OURS_ALONE, owner=(now.st_uid, now.st_gid))
            except OSError:
                self._note(NOT_DONE, subject)
                raise


def _spoken(secret: Secret) -> Secret:
    """Return a word as it sounds on the telephone: neither capitals nor blanks are heard."""
    return Secret("".join(secret.reveal().casefold().split()))


def _parsed(path: Path) -> tuple[Form, bytes]:
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
        with os.fdopen(handle, "rb") as source:
            raw = source.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise NoVault(f"{path.name}: there is no such vault. The first `loopwright vault FILE put NAME` makes it.") from None
    except OSError as error:
        raise StoreError(f"{path.name} cannot be read: {_words(error)}.") from error
    try:
        if len(raw) > MOST_BYTES:
            raise NotAVault("is larger than any vault.")
        return parsed(raw)
    except NotAVault as error:
        raise NotAVault(f"{path.name} {error}") from None


def _changed(path: Path) -> StoreError:
    return NotOpened(f"{path.name} was changed by something that does not have its passphrase. Nothing is read from it.")


@contextmanager
def _in_words(path: Path, doing: str) -> Iterator[None]:
    try:
        yield
    except FileExistsError as error:
        raise StoreError(f"{path.name} is there already, and is left as it is.") from error
    except OSError as error:
        raise StoreError(f"{path.name} {doing}: {_words(error)}.") from error


def _words(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()
