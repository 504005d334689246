"""The likelihood of everything that was seen, under every variant of every part: arrays, one column a reading.

A reading belongs to one part. Under a fault of that part it reads as the variant does; under any other it reads as the part does when
sound, unless the other fault leaves devices of this part without a supply. A fault that shows only part of the time reads as
itself or as sound by the share of the time it shows. How a reading came about by a mistake is kept apart, so that the mistakes
themselves can be weighed once the faults are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.check import Check, CheckKind
from loopwright.explain.hypothesis import Floats, Hypothesis, Part
from loopwright.explain.meter import Instrument, Mistake, Shown, chance_anything, chances_of_mistakes, chances_of_words

LEAST = 1e-300
COMES_AND_GOES = frozenset(CheckKind) - {CheckKind.LOOK, CheckKind.TROUBLE, CheckKind.TOLD}
"""Checks that read a fault only while it shows; the chances of looks and troubles are stated whole."""
UNKNOWN_MOVES = 0.1
"""The share of the words told that a cause no row knows moves, to any outcome alike; a row of the catalogue moves a few (judgement)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Seen:
    """One reading tied to its check: digits, or the outcomes a word covers. ``number`` is its place in the observation file.

    ``weights`` are how well what was told fits each outcome of the check, 1 for the best, where it is no plain word.
    """

    check: Check
    shown: Shown | None = None
    told: tuple[str, ...] = ()
    weights: tuple[float, ...] = ()
    meter: Instrument = Instrument()
    number: int = 0
    text: str = ""


EVERY = slice(None)


@dataclass(frozen=True, kw_only=True, slots=True)
class Rows:
    """Every variant of every part in one order: row 0 is nothing wrong, then the variants of each part's hypotheses.

    ``part`` and ``variant`` say where each row is found (-1 for nothing wrong), ``owner`` which of ``hypotheses`` it belongs to.
    ``dark`` holds for each part the hidden row each row puts it in, -1 for none.
    """

    parts: tuple[Part, ...]
    hypotheses: tuple[Hypothesis, ...]
    part: NDArray[np.int64]
    variant: NDArray[np.int64]
    owner: NDArray[np.int64]
    share: Floats
    present: Floats
    dark: dict[int, NDArray[np.int64]]
    index: dict[Check, tuple[int, int]]
    read: dict[Seen, tuple[dict[Mistake, Floats], float]] = field(default_factory=dict, compare=False, repr=False)
    """What was read so far, and the likelihood of each under every row: the next question brings the same readings and one more."""
    kept: dict[str, object] = field(default_factory=dict, compare=False, repr=False)
    """What follows from the rows alone and was worked out already."""

    def column(self, check: Check) -> tuple[int, int] | None:
        """Return the part and the column of a check; None when no part has it."""
        return self.index.get(check)

    def variant_at(self, row: int, number: int) -> int:
        """Return the variant of part ``number`` that a row stands for."""
        dark = self.dark.get(number)
        if dark is not None and dark[row] >= 0:
            return int(dark[row])
        return int(self.variant[row]) if self.part[row] == number else 0

    def spread(self, number: int, values: Floats, some: NDArray[np.int64] | slice = EVERY) -> Floats:
        """Return one value a row (rows, ...) from one a variant of part ``number``, of ``some`` of the rows."""
        at = np.where(self.part[some] == number, self.variant[some], 0)
        dark = self.dark.get(number)
        if dark is not None:
            at = np.where(dark[some] >= 0, dark[some], at)
        return np.asarray(values[at])


def rows_of(parts: Sequence[Part], dark: dict[int, dict[int, NDArray[np.int64]]] | None = None) -> Rows:
    """Return the rows of ``parts``.

    ``dark`` gives, for a part that can darken others, by its number and theirs, the hidden row each of its variants puts them in.
    """
    hypotheses: list[Hypothesis] = []
    part, variant, owner = [np.array([-1])], [np.array([0])], [np.array([-1])]
    share, present = [np.ones(1)], [np.ones(1)]
    darkened = {target: [np.array([-1])] for rows in (dark or {}).values() for target in rows}
    for number, item in enumerate(parts):
        known = item.predicted
        own = np.flatnonzero(known.owner >= 0)
        part.append(np.full(own.size, number))
        variant.append(own)
        owner.append(len(hypotheses) + known.owner[own])
        share.append(known.share[own])
        present.append(known.present[own])
        for target, columns in darkened.items():
            found = (dark or {}).get(number, {}).get(target)
            columns.append(np.full(own.size, -1) if found is None else found[own])
        hypotheses += item.hypotheses
    return Rows(
        parts=tuple(parts),
        hypotheses=tuple(hypotheses),
        part=np.concatenate(part),
        variant=np.concatenate(variant),
        owner=np.concatenate(owner),
        share=np.concatenate(share),
        present=np.concatenate(present),
        dark={target: np.concatenate(columns) for target, columns in darkened.items()},
        index={check: (number, column) for number, item in enumerate(parts) for column, check in enumerate(item.predicted.checks)},
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Likelihood:
    """The probability of each reading under each row, (rows, readings); ``mistakes`` is the part of it that is each mistake's.

    ``anything`` is the probability of each reading when nothing at all is known.
    """

    chance: Floats
    mistakes: tuple[dict[Mistake, Floats], ...]
    anything: Floats


def likelihood(rows: Rows, seen: Sequence[Seen]) -> Likelihood:
    """Return the likelihood of ``seen``. Raises KeyError for a check that no part has."""
    for reading in seen:
        if reading not in rows.read:
            rows.read[reading] = _of_reading(rows, reading)
    mistakes = tuple(rows.read[reading][0] for reading in seen)
    columns = [np.sum(list(kinds.values()), axis=0) for kinds in mistakes]
    empty = np.zeros((rows.part.size, 0))
    anything = np.array([rows.read[reading][1] for reading in seen])
    return Likelihood(chance=np.stack(columns, axis=1) if columns else empty, mistakes=mistakes, anything=anything)


def _of_reading(rows: Rows, reading: Seen) -> tuple[dict[Mistake, Floats], float]:
    """Return the likelihood of a reading under every row, by how it came about, and when nothing is known."""
    found = rows.column(reading.check)
    if found is None:
        raise KeyError(reading.check)
    mixed = {}
    present = rows.present if reading.check.kind in COMES_AND_GOES else np.ones(1)
    for kind, values in kinds_of(rows.parts[found[0]], found[1], reading).items():
        every = rows.spread(found[0], values)
        mixed[kind] = present * every + (1 - present) * every[0]
    return mixed, _anything(reading, rows.parts[found[0]], found[1])


def kinds_of(part: Part, column: int, reading: Seen) -> dict[Mistake, Floats]:
    """Return the chance of a reading under each variant of a part, by how it came about."""
    known = part.predicted
    if reading.shown is None:
        told = np.array(reading.weights or [float(word in reading.told) for word in known.checks[column].outcomes])
        return chances_of_words(told, known.chances[column])
    return chances_of_mistakes(reading.shown, known.mean[:, column], known.sd[:, column], reading.meter, known.checks[column].pull_ohm)


def _anything(reading: Seen, part: Part, column: int) -> float:
    if reading.shown is not None:
        return chance_anything(reading.shown, reading.meter)
    check = part.predicted.checks[column]
    fits = np.array(reading.weights or [float(word in reading.told) for word in check.outcomes])
    if check.kind is CheckKind.TOLD:
        return float(fits @ unknown_says(part.predicted.chances[column][0]))
    return float(fits.mean())


def unknown_says(unmoved: Floats) -> Floats:
    """Return the chances of what is told under a cause that no row knows, from those where nothing moves them (the last axis)."""
    return np.asarray((1 - UNKNOWN_MOVES) * unmoved + UNKNOWN_MOVES / unmoved.shape[-1])
