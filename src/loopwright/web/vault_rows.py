"""What the room Secrets shows of an open vault: names, facts in words, who has no code yet. Never a secret."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from loopwright.job.document import Job
from loopwright.job.sheet import Kind
from loopwright.power.forecast import label_of
from loopwright.values.code import CodeFacts, Use, use_of, whose

HEADINGS = {
    Use.USER: "Users' codes",
    Use.DURESS: "Duress codes",
    Use.INSTALLER: "Installer's code",
    Use.FACTORY: "Codes as delivered",
    Use.KEY: "Signalling keys",
    Use.ACCOUNT: "Accounts",
    Use.WORD: "Pass-words of the desk",
    Use.OTHER: "Others",
}


class Row(NamedTuple):
    """One secret, or a user's code that is not on record; ``facts`` are words, ``words`` say whose it is."""

    name: str
    words: str
    facts: str
    there: bool


class Part(NamedTuple):
    """The secrets of one use."""

    heading: str
    rows: list[Row]


def parts_of(job: Job, names: Sequence[str], codes: Sequence[CodeFacts]) -> list[Part]:
    """Return the names in the vault and the users without a code, by use."""
    known = {code.name: code for code in codes}
    users = [f"user/{user}" for user in job.users]
    there = set(names)
    rows: dict[Use, list[Row]] = {use: [] for use in HEADINGS}
    for name in dict.fromkeys((*users, *names)):
        rows[use_of(name)].append(Row(name, owner_words(job, name), fact_words(known.get(name)), name in there))
    return [Part(HEADINGS[use], found) for use, found in rows.items() if found]


def owner_words(job: Job, name: str) -> str:
    """Return whose a secret is, where the document tells more than its name; nothing where it does not."""
    owner = whose(name)
    if use_of(name) in (Use.USER, Use.DURESS):
        return job.users[owner].role if owner in job.users else "no such user in the job" if owner else ""
    unit = owner.partition("/")[0]
    if use_of(name) is Use.WORD and owner in job.parties:
        return job.parties[owner].name
    return label_of(job, unit) if unit in job.equipment else ""


def fact_words(code: CodeFacts | None) -> str:
    """Return the facts of a code in words.

    >>> fact_words(CodeFacts(name="user/a", length=4, digits_only=True, is_sequence=True))
    '4 digits, in order'
    """
    if code is None:
        return ""
    said = (
        (code.is_factory, "as delivered"),
        (code.is_sequence, "in order"),
        (code.is_repeated, "one piece repeated"),
        (bool(code.same_as), f"the same as {', '.join(code.same_as)}"),
        (bool(code.one_away), f"one place from {', '.join(code.one_away)}"),
    )
    return ", ".join([f"{code.length} {'digits' if code.digits_only else 'characters'}", *(words for true, words in said if true)])


def usual_names(job: Job) -> list[str]:
    """Return names that secrets of this job usually have."""
    return list(_usual_names(job))


def _usual_names(job: Job) -> Iterator[str]:
    controls = [name for name in job.equipment if job.sheet_of(name).kind is Kind.CONTROL]
    yield from (f"user/{user}" for user in job.users)
    yield from (f"installer/{unit}" for unit in controls)
    yield from (f"factory/{unit}" for unit in controls)
    yield from (f"duress/{user}" for user in job.users)
    yield from (f"{use}/{path}" for path in job.signalling.paths for use in ("key", "account"))
    yield from (f"word/{party}" for party in job.parties)
