"""The accounts a receiver serves, out of a vault: ``account/NAME`` is a number, ``key/NAME`` the key that goes with it, if there is one."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from loopwright.signalling.key import keys_of
from loopwright.signalling.verdict import Account
from loopwright.store.file import StoreError
from loopwright.store.vault import Vault
from loopwright.values.code import Use, use_of, whose

_NUMBER = re.compile(r"0|[0-9A-F]{3,16}")


@dataclass(frozen=True, kw_only=True, slots=True)
class Listed:
    """An account: the name it has in the vault behind the stroke, its number, and its keys, which show themselves to nobody."""

    name: str
    number: str
    account: Account = field(repr=False)

    @property
    def key_name(self) -> str:
        """Where its key stands in the vault, empty where it has none."""
        return f"{Use.KEY}/{self.name}" if self.account.keys else ""


def accounts_in(vault: Vault, *, plain_too: bool = False) -> tuple[Listed, ...]:
    """Return the accounts of a vault; that each was read is noted. ``plain_too``: those with a key may send in plain.

    Raises StoreError, which says nothing of what it read.
    """
    names = vault.names()
    found: dict[str, Listed] = {}
    for name in names:
        if use_of(name) is not Use.ACCOUNT:
            continue
        number = vault.get(name).reveal().strip().upper()
        if not _NUMBER.fullmatch(number):
            raise StoreError(f"{name}: 3 to 16 hexadecimal digits make an account. What stands there is none, and is not repeated.")
        if number in found:
            raise StoreError(f"{name} and {Use.ACCOUNT}/{found[number].name} are the same number.")
        found[number] = Listed(name=whose(name), number=number, account=_account(vault, f"{Use.KEY}/{whose(name)}", names, plain_too))
    return tuple(found.values())


def _account(vault: Vault, name: str, names: tuple[str, ...], plain_too: bool) -> Account:
    if name not in names:
        return Account()
    keys = keys_of(vault.get(name).reveal().strip())
    if not keys:
        raise StoreError(f"{name}: 32, 48 or 64 hexadecimal digits, or 16, 24 or 32 characters, make a key. What stands there is none.")
    # Digits are meant as digits; that they fit as characters is found out, and told, but not taken for right.
    return Account(keys=keys[:1], misread=keys[1:], plain_too=plain_too)
