"""People of the workbench, what each may do, and what a password must be. Nothing here reads or writes."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from loopwright.store.file import StoreError
from loopwright.store.secret import Secret

LONGEST_NAME = 64
TAKEN_NAMES = frozenset({"nobody", "somebody", "somebody unknown", "the workbench"})
TAKEN_ENDINGS = ("(token)", "at the machine")
"""What the program calls others in trails and histories: nobody is to pass for one of them, nor take back a token's steps."""
SHORTEST_PASSWORD, LONGEST_PASSWORD = 12, 1024
FEWEST_CHARACTERS = 5
LEAST_SCORE, LOOKED_AT = 3, 72
"""Of zxcvbn's five scores 3 stands for 10^8 guesses or more; it looks at so many characters."""


class Role(StrEnum):
    """What a person is here."""

    SURVEYOR = "surveyor"
    INSTALLER = "installer"
    DESK = "desk"
    OFFICE = "office"
    MATE = "mate"
    READER = "reader"


class Right(StrEnum):
    """What can be asked for."""

    READ_JOB = "read the job"
    CHANGE_JOB = "change the job"
    ENTER_READINGS = "enter readings"
    READ_SECRETS = "read secrets"
    CHANGE_SECRETS = "change secrets"
    WORK_ALARMS = "work alarms at the desk"
    KEEP_PEOPLE = "keep the people"


RIGHTS: dict[Role, frozenset[Right]] = {
    Role.SURVEYOR: frozenset({Right.READ_JOB, Right.CHANGE_JOB, Right.ENTER_READINGS}),
    Role.INSTALLER: frozenset({Right.READ_JOB, Right.CHANGE_JOB, Right.ENTER_READINGS, Right.READ_SECRETS, Right.CHANGE_SECRETS}),
    Role.DESK: frozenset({Right.READ_JOB, Right.READ_SECRETS, Right.WORK_ALARMS}),
    Role.OFFICE: frozenset({Right.READ_JOB, Right.CHANGE_JOB, Right.KEEP_PEOPLE}),
    Role.MATE: frozenset({Right.READ_JOB, Right.ENTER_READINGS}),
    Role.READER: frozenset({Right.READ_JOB}),
}
"""What is not listed is refused."""


@dataclass(frozen=True, kw_only=True, slots=True)
class OneTime:
    """A person's secret for one-time codes, sealed under the password; ``used_step`` is the last step a code was taken for."""

    salt: bytes
    nonce: bytes
    sealed: bytes
    used_step: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Person:
    """One person. The owner may do everything, and is the one who cannot be kept out.

    ``given_until``: the password was set by somebody else, lets in until then, and is to be changed before anything else.
    """

    name: str
    role: Role
    password_hash: str
    owner: bool = False
    active: bool = True
    one_time: OneTime | None = None
    given_until: datetime | None = None

    def may(self, right: Right) -> bool:
        """Return whether the person has a right."""
        return self.active and (self.owner or right in RIGHTS[self.role])


def good_person_name(name: str) -> str:
    """Return a name in one spelling. Raises StoreError."""
    spelled = unicodedata.normalize("NFC", name)
    if not 1 <= len(spelled) <= LONGEST_NAME or not spelled.isprintable() or spelled != spelled.strip():
        raise StoreError(f"A name has 1 to {LONGEST_NAME} characters that can be seen, and no space at its ends.")
    told = likeness(spelled)
    if told in TAKEN_NAMES or told.endswith(TAKEN_ENDINGS):
        raise StoreError("That is what this program calls somebody else; take another name.")
    return spelled


def likeness(name: str) -> str:
    """Return what two names that are taken for one another have in common.

    >>> likeness("Ada  BELL") == likeness("\uff21da Bell")
    True
    """
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def good_password(password: Secret, name: str) -> Secret:
    """Return a password that may be taken, of any characters and none demanded. Raises StoreError."""
    text = password.reveal()
    if not SHORTEST_PASSWORD <= len(text) <= LONGEST_PASSWORD:
        raise StoreError(f"A password has {SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters of any kind.")
    if len(set(text)) < FEWEST_CHARACTERS:
        raise StoreError("The password repeats a few characters only.")
    if name.casefold() in text.casefold() or "loopwright" in text.casefold():
        raise StoreError("The password holds the name of the person or of this program.")
    # Only here: the lists of what is tried first are read in a twentieth of a second, and hardly ever wanted.
    from zxcvbn import zxcvbn

    if zxcvbn(text[:LOOKED_AT], user_inputs=[name])["score"] < LEAST_SCORE:
        raise StoreError("The password is one of those tried first: much used ones, rows of keys, dates, and such repeated.")
    return password
