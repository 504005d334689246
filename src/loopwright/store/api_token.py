"""Tokens by which another program may use the HTTP API: made at the machine, shown once, kept as hashes in a file of their own.

A token is 32 random bytes, so its SHA-256 is as good as the slow hashes a password needs (NIST SP 800-63B, 5.1.2, look-up secrets, from
memory).
"""

from __future__ import annotations

import base64
import hmac
import json
import os
import re
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Any

from loopwright.store.audit import Record
from loopwright.store.file import StoreError
from loopwright.store.ours import read_own, writing_own
from loopwright.store.person import Right
from loopwright.store.secret import Draw, Secret
from loopwright.store.store import sha256_of, stamp
from loopwright.store.user import data_folders

FORMAT = 1
TOKEN_BYTES = 32
LEAD = "lw_"
"""How every token begins, so that one that lies about where it should not can be found."""
FOLDER, SUFFIX, TRAIL_SUFFIX = "tokens", ".tokens", ".trail"
PLACE_DIGITS, LONGEST_KEPT = 20, 100
MOST_TOKENS, MOST_DAYS, USUAL_DAYS = 200, 3660, 90
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9._-]{0,39}")


class Scope(StrEnum):
    """What a token may be made for."""

    READ = "read"
    CHANGE = "change"


SCOPE_RIGHTS: dict[Scope, frozenset[Right]] = {
    Scope.READ: frozenset({Right.READ_JOB}),
    Scope.CHANGE: frozenset({Right.READ_JOB, Right.CHANGE_JOB, Right.ENTER_READINGS}),
}
"""What is not listed is refused; secrets and people are for no token."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ApiToken:
    """A token as it is kept: its name, what it is for, who made it and when, when it ends, and its hash."""

    name: str
    scopes: frozenset[Scope]
    made_by: str
    made_at: datetime
    ends_at: datetime
    sha256: str

    @property
    def rights(self) -> frozenset[Right]:
        """Return the rights the scopes stand for."""
        return frozenset(right for scope in self.scopes for right in SCOPE_RIGHTS[scope])


Book = dict[str, ApiToken]


class ApiTokens:
    """The tokens in a file. Making and removing is noted in a trail first; what cannot be noted is not done."""

    def __init__(self, path: Path, *, note: Record, draw: Draw = secrets.token_bytes) -> None:
        """Take the file, made with the first token."""
        self._path = path
        self._note = note
        self._draw = draw

    def everyone(self) -> Book:
        """Return every token by name, ended ones too. Raises StoreError, also when it is somebody else's file or others may write it."""
        try:
            return _parsed(read_own(self._path))
        except FileNotFoundError:
            return {}
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            pass
        raise StoreError(f"{self._path.name} is damaged: it cannot be read as a list of tokens.")

    def find(self, given: Secret, *, now: datetime) -> ApiToken | None:
        """Return the token that was given if it is one and has not ended. Raises StoreError."""
        digest = sha256_of(given.utf8())
        found = [each for each in self.everyone().values() if hmac.compare_digest(each.sha256, digest)]
        return found[0] if found and now < found[0].ends_at else None

    def make(self, name: str, scopes: frozenset[Scope], *, by: str, now: datetime, days: int = USUAL_DAYS) -> Secret:
        """Make a token and return it, the only time it can be seen. Raises StoreError."""
        if not _NAME.fullmatch(name):
            raise StoreError("The name of a token is a letter, then up to 39 letters, digits, dots, dashes or underlines.")
        if not scopes or not 1 <= days <= MOST_DAYS:
            raise StoreError(f"A token is for something, and lasts 1 to {MOST_DAYS} days.")
        secret = Secret(LEAD + base64.urlsafe_b64encode(self._draw(TOKEN_BYTES)).decode("ascii").rstrip("="))
        made = ApiToken(
            name=name, scopes=scopes, made_by=by, made_at=now, ends_at=now + timedelta(days=days), sha256=sha256_of(secret.utf8())
        )

        def change(book: Book) -> Book:
            if name in book:
                raise StoreError(f"There is a token called {name} already; remove it first, or take another name.")
            if len(book) >= MOST_TOKENS:
                raise StoreError(f"There are {MOST_TOKENS} tokens; remove one first.")
            return book | {name: made}

        self._change("token made", f"{name} to {' and '.join(sorted(scopes))}, until {stamp(made.ends_at)}", change)
        return secret

    def remove(self, name: str) -> None:
        """Take a token away; it counts no more from now on. Raises StoreError."""

        def change(book: Book) -> Book:
            if name not in book:
                raise StoreError(f"There is no token called {name}.")
            return {each: kept for each, kept in book.items() if each != name}

        self._change("token removed", name, change)

    def _change(self, act: str, subject: str, change: Callable[[Book], Book]) -> None:
        """Change what is in the file now, one process at a time."""
        if not self._path.exists():
            change({})
        with writing_own(self._path, _spelled({}), folder=True) as write:
            after = change(self.everyone())
            self._note(act, subject)
            write(_spelled(after))


def tokens_path(job: Path) -> Path:
    """Return where the tokens of a job are kept: among this user's own things, by the place the job has on this machine.

    Beside the job they would travel with its folder, and a folder from somebody else would bring tokens of theirs. Raises StoreError
    when the system names no place for the user's own things.
    """
    folders = data_folders()
    if not folders:
        raise StoreError("There is no data folder to keep tokens in: set HOME or XDG_DATA_HOME.")
    real = os.path.realpath(job)
    return folders[0] / FOLDER / f"{os.path.basename(real)[:LONGEST_KEPT]}.{sha256_of(os.fsencode(real))[:PLACE_DIGITS]}{SUFFIX}"


def tokens_trail_path(tokens: Path) -> Path:
    """Return where it is noted which tokens were made and removed."""
    return tokens.with_name(tokens.name + TRAIL_SUFFIX)


def _spelled(book: Mapping[str, ApiToken]) -> bytes:
    rows = {
        each.name: {
            "scopes": sorted(each.scopes),
            "made_by": each.made_by,
            "made_at": stamp(each.made_at),
            "ends_at": stamp(each.ends_at),
            "sha256": each.sha256,
        }
        for each in book.values()
    }
    return (json.dumps({"format": FORMAT, "tokens": rows}, ensure_ascii=True, indent=1, sort_keys=True) + "\n").encode("ascii")


def _parsed(raw: bytes) -> Book:
    values = json.loads(raw)
    if values["format"] != FORMAT:
        raise ValueError("another format")
    return {name: _token(name, row) for name, row in values["tokens"].items()}


def _token(name: str, row: Mapping[str, Any]) -> ApiToken:
    if not isinstance(row["sha256"], str) or not isinstance(row["made_by"], str):
        raise TypeError("not a token")
    made_at, ends_at = (datetime.fromisoformat(row[each]).astimezone(UTC) for each in ("made_at", "ends_at"))
    scopes = frozenset(Scope(each) for each in row["scopes"])
    return ApiToken(name=name, scopes=scopes, made_by=row["made_by"], made_at=made_at, ends_at=ends_at, sha256=row["sha256"])
