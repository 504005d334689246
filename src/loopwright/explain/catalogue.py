"""The catalogue of faults: which there are, how common each is and why, how it acts, what mends it, what to look at.

It is package data, one file a group under ``faults/``; ``docs/explain.md`` says what each word of a row means. How a fault
acts is never typed in as a reading: it is an edit of the network or of the document, and its readings are solved.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

WHOLE = ("environment", "user", "programming", "signalling", "radio", "clock")
"""The groups of what the network has no element for."""
GROUPS = ("power", "circuit", "bus", "sounder", *WHOLE)
"""The files of the catalogue, which are its groups."""

Edit = tuple[str, ...]
"""One edit: what is done, and to what; words in braces are filled in at each place."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Amount:
    """What ``{x}`` stands for in an edit: a row of numbers, or a list found in the job (``among``).

    ``count`` numbers from ``low`` to ``high``, evenly spaced or by equal factors, alike in chance. ``not_ohm`` is left out of a list.
    """

    low: float = 0.0
    high: float = 0.0
    count: int = 0
    spacing: str = "factor"
    among: str = ""
    not_ohm: str = ""

    def numbers(self, most: int | None = None) -> tuple[float, ...]:
        """Return the row of numbers, at most ``most`` over the same span; empty for a list found in the job."""
        count = self.count if most is None else min(self.count, max(most, 2))
        if count < 2:
            return (self.low,) if count else ()
        steps = [position / (count - 1) for position in range(count)]
        if self.spacing == "even":
            return tuple(self.low + (self.high - self.low) * step for step in steps)
        return tuple(self.low * (self.high / self.low) ** step for step in steps)


@dataclass(frozen=True, kw_only=True, slots=True)
class Look:
    """A check that no reading of the model replaces: the question, minutes, and how likely it is answered with yes.

    ``asks`` is a question whose yes speaks for this fault, ``finds`` what is then seen, as a statement. ``hit`` is the chance of yes under
    this fault, ``also`` under others by their id, ``false`` under everything else. All are judgement.
    ``by`` says who can do it, one of :data:`loopwright.explain.check.BY`: ``caller`` is safe for a customer on the telephone.
    """

    asks: str
    finds: str
    minutes: float
    hit: float
    false: float
    needs: tuple[str, ...] = ()
    by: str = "eyes"
    also: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Fault:
    """One row of the catalogue. ``unmodelled`` says why a row has no edit; every other row has places (``at``) and ``ways``.

    ``says`` is how likely it makes each word of ``whole/words.toml``, on the ground of ``basis``; ``later`` names the computation that is
    to take its place. ``reads`` operated: its circuit reads as with the device at work. ``bears`` is what of the document bears it out.
    ``begins`` is how it comes about, one of :data:`loopwright.explain.whole.history.BEGINS`; ``stays`` whether it is there all the time,
    one of its STAYS, where that does not follow from ``present``.
    """

    id: str
    group: str
    words: str
    weight: float
    reason: str
    fix: str
    parts: tuple[str, ...] = ()
    caution: str = ""
    sources: tuple[str, ...] = ()
    at: str = ""
    needs: tuple[str, ...] = ()
    ways: tuple[tuple[Edit, ...], ...] = ()
    amount: Amount | None = None
    present: float = 1.0
    trouble: Mapping[str, float] = field(default_factory=dict)
    look: Look | None = None
    unmodelled: str = ""
    reads: str = ""
    says: Mapping[str, float | Mapping[str, float]] = field(default_factory=dict)
    basis: str = ""
    later: str = ""
    bears: str = ""
    begins: str = "any time"
    stays: str = ""


@cache
def faults() -> Mapping[str, Fault]:
    """Return every fault of the catalogue by its id, read once from the package."""
    out: dict[str, Fault] = {}
    for group in GROUPS:
        text = files("loopwright.explain").joinpath("faults", f"{group}.toml").read_text(encoding="utf-8")
        for name, row in tomllib.loads(text).items():
            if name in out:
                raise ValueError(f"{name} stands twice in the catalogue")
            out[name] = _fault(name, group, row)
    return out


@cache
def of_group(group: str) -> tuple[Fault, ...]:
    """Return the faults of a group that have an edit, in the order of the file."""
    return tuple(fault for fault in faults().values() if fault.group == group and not fault.unmodelled)


def _fault(name: str, group: str, row: dict[str, Any]) -> Fault:
    row = dict(row)
    look, amount = row.pop("look", None), row.pop("amount", None)
    ways = tuple(tuple(tuple(edit) for edit in way) for way in row.pop("ways", ()))
    lists: dict[str, Any] = {key: tuple(row.pop(key)) for key in ("parts", "sources", "needs") if key in row}
    return Fault(
        id=name,
        group=group,
        ways=ways,
        amount=Amount(**amount) if amount else None,
        look=Look(**{"also": {}} | look | {"needs": tuple(look.get("needs", ()))}) if look else None,
        **lists,
        **row,
    )
