"""Edits as other programs send them. Nothing is judged here but form and size: what cannot stand in a job, the reader says."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from typing_extensions import TypeAliasType

from loopwright.job.edit import AddItem, Edit, InTurn, RemoveItem, RenameItem, SetField
from loopwright.job.write import Value, scalar_text

LONGEST_PATH, LONGEST_NAME, LONGEST_TEXT = 300, 40, 8000
MOST_EDITS, MOST_VALUES, DEEPEST = 100, 2000, 12
GREATEST = 1e15

Text = Annotated[str, Field(max_length=LONGEST_TEXT)]
Number = Annotated[float, Field(ge=-GREATEST, le=GREATEST, allow_inf_nan=False)]
Whole = Annotated[int, Field(ge=-int(GREATEST), le=int(GREATEST))]
Single = bool | Whole | Number | Text
Entry = TypeAliasType("Entry", "Single | None | list[Entry] | dict[Annotated[str, Field(max_length=LONGEST_NAME)], Entry]")
"""A value with everything in it, as in the JSON form of a job."""


def _bounded(value: Entry) -> Entry:
    """Return an entry that is neither too deep nor too large. Raises ValueError."""
    level, many = [value], 0
    for _ in range(DEEPEST):
        many += len(level)
        if many > MOST_VALUES:
            raise ValueError(f"an entry holds at most {MOST_VALUES} values")
        level = [below for each in level for below in _inside(each)]
        if not level:
            return value
    raise ValueError(f"an entry is at most {DEEPEST} deep")


def _inside(value: Entry) -> list[Entry]:
    return value if isinstance(value, list) else list(value.values()) if isinstance(value, dict) else []


Path = Annotated[
    str,
    Field(min_length=1, max_length=LONGEST_PATH, description="A place in the document, as findings name it: `cables/W22/length_m`."),
]


class _Sent(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Set(_Sent):
    """Give a field this value, putting the field in where it is not there."""

    do: Literal["set"]
    path: Path
    value: Single = Field(
        description="What the field is to say, as a person would write it: `60 m`, or a bare number in the unit of its name."
    )


class Add(_Sent):
    """Put a new entry into a collection: under a name, or, without one, at the end of a list."""

    do: Literal["add"]
    path: Path
    name: str | None = Field(default=None, min_length=1, max_length=LONGEST_NAME)
    value: Annotated[Entry, AfterValidator(_bounded)]


class Remove(_Sent):
    """Take an entry, or a field, out; a field's default holds then."""

    do: Literal["remove"]
    path: Path


class Rename(_Sent):
    """Give an entry another name, everywhere it is named."""

    do: Literal["rename"]
    path: Path
    name: str = Field(min_length=1, max_length=LONGEST_NAME)


One = Annotated[Set | Add | Remove | Rename, Field(discriminator="do")]


class Edits(_Sent):
    """Edits made one after the other, all of them or none; they are one revision, and one step of undo."""

    edits: list[One] = Field(min_length=1, max_length=MOST_EDITS)


def edit_of(sent: Edits) -> Edit:
    """Return the edit that was sent."""
    made = tuple(_one(each) for each in sent.edits)
    return made[0] if len(made) == 1 else InTurn(made)


def _one(sent: Set | Add | Remove | Rename) -> Edit:
    match sent:
        case Set(path=path, value=value):
            return SetField(path, value if isinstance(value, str) else scalar_text(value))
        case Add(path=path, name=name, value=entry):
            return AddItem(path, name, _plain(entry))
        case Remove(path=path):
            return RemoveItem(path)
        case Rename(path=path, name=name):
            return RenameItem(path, name)


def _plain(entry: Entry) -> Value:
    value: Value = entry
    return value
