"""Dataclasses that are made with every message."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeVar, dataclass_transform

Kind = TypeVar("Kind")


@dataclass_transform(frozen_default=True, kw_only_default=True, field_specifiers=(field,))
def made_often(kind: type[Kind]) -> type[Kind]:
    """Return a dataclass that the type checker holds to be frozen. At run time it is not: a frozen one takes five times as long to make."""
    return dataclass(kw_only=True, slots=True, unsafe_hash=True)(kind)
