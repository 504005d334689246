"""From codes to what a rule may know of them. A rule never gets a code itself."""

from __future__ import annotations

import re
from collections.abc import Mapping

from loopwright.store.secret import Secret
from loopwright.values.code import JUDGED, CodeFacts, Use, use_of

LONGEST_CODE = 64
"""Of what is longer only the length is told: nobody keys it in."""
_REPEATED = re.compile(r"(.+?)\1+", re.DOTALL)


def facts_of(secrets: Mapping[str, Secret]) -> tuple[CodeFacts, ...]:
    """Return the facts of every code among the secrets of a job, each held against the others and against the codes as delivered."""
    texts = {name: secret.reveal() for name, secret in secrets.items()}
    codes = {name: text for name, text in texts.items() if use_of(name) in JUDGED}
    factory = {text for name, text in texts.items() if use_of(name) is Use.FACTORY}
    near = _near(codes)
    return tuple(
        CodeFacts(
            name=name,
            length=len(text),
            digits_only=text.isascii() and text.isdigit(),
            is_factory=text in factory,
            is_sequence=is_sequence(text),
            is_repeated=len(text) <= LONGEST_CODE and _REPEATED.fullmatch(text) is not None,
            same_as=tuple(other for other in near[name] if codes[other] == text),
            one_away=tuple(other for other in near[name] if codes[other] != text),
        )
        for name, text in codes.items()
    )


def is_sequence(text: str) -> bool:
    """Return whether a code is digits in order, up or down, 0 after 9.

    >>> is_sequence("1234"), is_sequence("3210"), is_sequence("8901"), is_sequence("1357"), is_sequence("12")
    (True, True, True, False, False)
    """
    if len(text) < 3 or not (text.isascii() and text.isdigit()):
        return False
    steps = {(int(after) - int(before)) % 10 for before, after in zip(text, text[1:], strict=False)}
    return steps in ({1}, {9})


def edits(one: str, other: str) -> int:
    """Return how many characters must be put in, taken out or exchanged to make one text of another (Levenshtein distance).

    >>> edits("1234", "234")
    1
    """
    row = list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        before, row = row, [i]
        for j, b in enumerate(other, 1):
            row.append(min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a != b)))
    return row[-1]


def _near(codes: Mapping[str, str]) -> dict[str, list[str]]:
    """Return for each code the others that are the same or one edit away, in order.

    Such two have a text in common when each is written with none or one of its characters left out, so only those are compared.
    """
    sharing: dict[str, list[str]] = {}
    for name, text in codes.items():
        if len(text) <= LONGEST_CODE:
            for less in {text, *(text[:at] + text[at + 1 :] for at in range(len(text)))}:
                sharing.setdefault(less, []).append(name)
    near: dict[str, set[str]] = {name: set() for name in codes}
    for names in sharing.values():
        for name in names:
            near[name] |= {other for other in names if other not in near[name] and edits(codes[name], codes[other]) <= 1}
    return {name: [other for other in codes if other in found and other != name] for name, found in near.items()}
