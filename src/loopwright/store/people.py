"""The people of a workbench in one file: passwords hashed, secrets for one-time codes sealed under the password they go with."""

from __future__ import annotations

import base64
import json
import secrets
import unicodedata
from collections.abc import Callable
from copy import copy
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from loopwright.store.audit import Record
from loopwright.store.file import StoreError
from loopwright.store.one_time import one_time_secret, step_taken
from loopwright.store.ours import read_own, writing_own
from loopwright.store.person import OneTime, Person, Role, good_password, good_person_name, likeness
from loopwright.store.seal import SALT_BYTES, Broken, Cost, keys_from
from loopwright.store.secret import Draw, Secret

FORMAT = 1
USUAL_COST = Cost(passes=3, memory_kib=64 * 1024, lanes=4)
"""RFC 9106 section 4, the second recommended option: a password is looked at whenever somebody signs in."""
Everybody = dict[str, Person]


class People:
    """The people in a file. Who may change whom is the front door's to ask; that one owner stays is kept here."""

    def __init__(self, path: Path, *, note: Record, cost: Cost = USUAL_COST, draw: Draw = secrets.token_bytes) -> None:
        """Take the file, made when the first person is added."""
        self._path = path
        self._note = note
        self._cost = cost
        self._draw = draw
        self._hasher = PasswordHasher(time_cost=cost.passes, memory_cost=cost.memory_kib, parallelism=cost.lanes, salt_len=SALT_BYTES)
        self._nobody = self._hashed(Secret(base64.b64encode(draw(SALT_BYTES)).decode("ascii")))

    def everybody(self) -> Everybody:
        """Return everybody by name. Raises StoreError, also when it is somebody else's file or others may write it."""
        try:
            return _parsed(read_own(self._path))
        except FileNotFoundError:
            return {}
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            pass
        raise StoreError(f"{self._path.name} is damaged: it cannot be read as a list of people.")

    def find(self, name: str) -> Person | None:
        """Return a person who is active, None when there is none of that name. Raises StoreError."""
        found = self.everybody().get(unicodedata.normalize("NFC", name))
        return found if found is not None and found.active else None

    def noting(self, note: Record) -> People:
        """Return the same people, for changes that are noted in the name of somebody else."""
        other = copy(self)
        other._note = note
        return other

    def add(self, name: str, role: Role, password: Secret, *, owner: bool = False, given_until: datetime | None = None) -> None:
        """Add a person; with ``given_until`` the password is one they have to change. Raises StoreError."""
        name = good_person_name(name)
        hashed = self._hashed(good_password(password, name))
        made = Person(name=name, role=role, owner=owner, password_hash=hashed, given_until=given_until)

        def change(people: Everybody) -> Everybody:
            if likeness(name) in map(likeness, people):
                raise StoreError("There is somebody of that name already, or of one that looks like it.")
            if not people and not owner:
                raise StoreError("The first person is the owner.")
            return people | {name: made}

        self._change("person added", f"{name} as {'owner' if owner else role}", change)

    def set_role(self, name: str, role: Role) -> None:
        """Give a person another role. Raises StoreError."""
        self._change_one(f"role changed to {role}", name, lambda person: replace(person, role=role))

    def set_active(self, name: str, *, active: bool) -> None:
        """Let a person in again, or no more. Raises StoreError; the last owner stays."""
        self._change_one("let in again" if active else "let in no more", name, lambda person: replace(person, active=active))

    def change_password(self, name: str, old: Secret, new: Secret) -> None:
        """Change a password, by the person who knows the old one. Raises StoreError."""
        hashed = self._hashed(good_password(new, name))

        def change(person: Person) -> Person:
            if not self.fits(person, old):
                raise StoreError("The password so far is not right.")
            if new == old:
                raise StoreError("The new password is the one so far.")
            one_time = person.one_time
            if one_time is not None:
                one_time = self._sealed(name, new, self._unsealed(person, old), one_time.used_step)
            return replace(person, password_hash=hashed, one_time=one_time, given_until=None)

        self._change_one("password changed", name, change)

    def set_password(self, name: str, new: Secret, *, given_until: datetime | None) -> None:
        """Set the password of somebody who has lost it, and end their one-time codes, which were sealed under it. Raises StoreError."""
        hashed = self._hashed(good_password(new, name))
        self._change_one(
            "password set anew, without one-time codes", name,
            lambda person: replace(person, password_hash=hashed, one_time=None, given_until=given_until),
        )  # fmt: skip

    def start_one_time(self, name: str, password: Secret) -> Secret:
        """Return a new secret for one-time codes; it counts once a code of it has been given. Raises StoreError."""
        if not self.fits(self.find(name), password):
            raise StoreError("The password is not right.")
        return one_time_secret(self._draw)

    def confirm_one_time(self, name: str, password: Secret, secret: Secret, code: Secret, *, now: datetime) -> None:
        """From now on ask for one-time codes of this secret. Raises StoreError when the code or the password is not right."""
        step = step_taken(secret, code, now=now, used_step=-1)

        def change(person: Person) -> Person:
            if step is None or not self.fits(person, password):
                raise StoreError("The code or the password is not right.")
            return replace(person, one_time=self._sealed(name, password, secret, step))

        self._change_one("one-time codes begun", name, change)

    def drop_one_time(self, name: str) -> None:
        """Ask for no one-time codes any more, the device being lost. Raises StoreError."""
        self._change_one("one-time codes ended", name, lambda person: replace(person, one_time=None))

    def fits(self, person: Person | None, password: Secret) -> bool:
        """Return whether a password is right; for nobody it takes as long to say no."""
        try:
            fits = self._hasher.verify(self._nobody if person is None else person.password_hash, password.utf8())
        except (VerificationError, InvalidHashError):
            return False
        return fits and person is not None and person.active

    def take_code(self, name: str, password: Secret, code: Secret | None, *, now: datetime) -> bool:
        """Return whether the one-time code is right where one is asked for, and let it be used once only. Raises StoreError."""
        person = self.find(name)
        if person is None or person.one_time is None:
            return person is not None
        secret, taken = self._unsealed(person, password), False
        if code is None:
            return False

        def change(people: Everybody) -> Everybody:
            nonlocal taken
            now_there = people[name]
            if now_there.one_time is None or now_there.one_time != person.one_time:
                # Another sign-in has used a code meanwhile, or the secret is another one.
                return people
            step = step_taken(secret, code, now=now, used_step=now_there.one_time.used_step)
            if step is None:
                return people
            taken = True
            return people | {name: replace(now_there, one_time=replace(now_there.one_time, used_step=step))}

        self._change("", name, change)
        return taken

    def _hashed(self, password: Secret) -> str:
        return self._hasher.hash(password.utf8(), salt=self._draw(SALT_BYTES))

    def _sealed(self, name: str, password: Secret, secret: Secret, used_step: int) -> OneTime:
        salt = self._draw(SALT_BYTES)
        nonce, sealed = keys_from(password, salt, self._cost).seal(secret, _bound_to(name), self._draw)
        return OneTime(salt=salt, nonce=nonce, sealed=sealed, used_step=used_step)

    def _unsealed(self, person: Person, password: Secret) -> Secret:
        kept = person.one_time
        try:
            if kept is None:
                raise Broken
            return keys_from(password, kept.salt, self._cost).unseal(kept.nonce, kept.sealed, _bound_to(person.name))
        except Broken:
            raise StoreError(f"{self._path.name}: the secret for one-time codes cannot be read; drop it and begin anew.") from None

    def _change_one(self, act: str, name: str, change: Callable[[Person], Person]) -> None:
        def changed(people: Everybody) -> Everybody:
            if name not in people:
                raise StoreError("There is nobody of that name.")
            after = people | {name: change(people[name])}
            if not any(each.owner and each.active for each in after.values()):
                raise StoreError("The last owner stays: somebody must be able to let people in.")
            return after

        self._change(act, name, changed)

    def _change(self, act: str, subject: str, change: Callable[[Everybody], Everybody]) -> None:
        """Change what is in the file now, one process at a time; nothing is written when nothing changes."""
        with writing_own(self._path, _spelled({})) as write:
            before = self.everybody()
            after = change(before)
            if after == before:
                return
            if act:
                self._note(act, subject)
            write(_spelled(after))


def _bound_to(name: str) -> bytes:
    return json.dumps(["loopwright one-time secret", FORMAT, name]).encode("ascii")


def _spelled(people: Everybody) -> bytes:
    rows = {
        person.name: {
            "role": person.role.value,
            "owner": person.owner,
            "active": person.active,
            "password": person.password_hash,
            "given_until": None if person.given_until is None else person.given_until.isoformat(),
            "one_time": None if person.one_time is None else _one_time_row(person.one_time),
        }
        for person in people.values()
    }
    return (json.dumps({"format": FORMAT, "people": rows}, ensure_ascii=True, indent=1, sort_keys=True) + "\n").encode("ascii")


def _one_time_row(kept: OneTime) -> dict[str, str | int]:
    return {"salt": kept.salt.hex(), "nonce": kept.nonce.hex(), "sealed": kept.sealed.hex(), "used_step": kept.used_step}


def _parsed(raw: bytes) -> Everybody:
    values = json.loads(raw)
    if values["format"] != FORMAT:
        raise ValueError("another format")
    return {name: _person(name, row) for name, row in values["people"].items()}


def _person(name: str, row: dict[str, Any]) -> Person:
    kept = row["one_time"]
    if type(row["owner"]) is not bool or type(row["active"]) is not bool or not isinstance(row["password"], str):
        raise TypeError("not a person")
    one_time = None
    if kept is not None:
        salt, nonce, sealed = (bytes.fromhex(kept[each]) for each in ("salt", "nonce", "sealed"))
        one_time = OneTime(salt=salt, nonce=nonce, sealed=sealed, used_step=int(kept["used_step"]))
    given = row.get("given_until")
    given_until = None if given is None else datetime.fromisoformat(given)
    if given_until is not None and given_until.tzinfo is None:
        raise ValueError("a moment without its clock zone")
    return Person(
        name=name, role=Role(row["role"]), owner=row["owner"], active=row["active"], password_hash=row["password"], one_time=one_time,
        given_until=given_until,
    )  # fmt: skip
