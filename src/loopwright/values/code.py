"""What may be known of a code by whoever judges it: its length and what it is like. Never the code."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Use(StrEnum):
    """What a secret is for. The first part of its name says it: ``user/owner`` is a user's code."""

    USER = "user"
    DURESS = "duress"
    INSTALLER = "installer"
    FACTORY = "factory"
    KEY = "key"
    ACCOUNT = "account"
    WORD = "word"
    OTHER = "other"


JUDGED = frozenset({Use.USER, Use.DURESS, Use.INSTALLER})
"""What somebody keys in. A factory code is only held against; a key, an account or a pass-word is no code."""


def use_of(name: str) -> Use:
    """Return what a secret is for.

    >>> use_of("user/owner"), use_of("installer"), use_of("users/owner"), use_of("other/x")
    (<Use.USER: 'user'>, <Use.INSTALLER: 'installer'>, <Use.OTHER: 'other'>, <Use.OTHER: 'other'>)
    """
    head = name.partition("/")[0]
    return Use(head) if head in set(Use) else Use.OTHER


def whose(name: str) -> str:
    """Return whose a secret is: the rest of its name.

    >>> whose("user/owner"), whose("installer")
    ('owner', '')
    """
    return name.partition("/")[2]


@dataclass(frozen=True, kw_only=True, slots=True)
class CodeFacts:
    """Facts of one code, by the name it has in the vault.

    ``same_as`` and ``one_away`` name the other codes that are the same, and those that one character more, less or changed makes the same.
    """

    name: str
    length: int
    digits_only: bool
    is_factory: bool = False
    is_sequence: bool = False
    is_repeated: bool = False
    same_as: tuple[str, ...] = ()
    one_away: tuple[str, ...] = ()
