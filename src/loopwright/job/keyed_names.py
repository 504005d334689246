"""Rows named in the settings of a data sheet: in what a setting holds, its choices and its default, and settings that go before it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from loopwright.job.document import Job
from loopwright.job.shape import IdShape, ListShape, shape_at
from loopwright.job.sheet import Setting

CODES_OF_USERS = ("codes/user/", "codes/duress/")
PART_SETS = "programme/part_sets"

Names = Mapping[str, Mapping[str, str]]


def of_with_names(of: str, names: Names) -> str:
    """Return what a setting holds, rows under new names.

    >>> of_with_names("zones/z01/response/night", {"zones": {"z01": "door"}, "programme/part_sets": {"night": "upstairs"}})
    'zones/door/response/upstairs'
    >>> of_with_names("codes/user/ana", {"users": {"ana": "owner"}})
    'codes/user/owner'
    """
    parts = of.split("/")
    part, at = (
        ("users", 2) if of.startswith(CODES_OF_USERS) else ("signalling/paths", 2) if of.startswith("signalling/paths/") else (parts[0], 1)
    )
    if len(parts) > at:
        parts[at] = names.get(part, {}).get(parts[at], parts[at])
    if parts[0] == "zones" and parts[2:3] == ["response"] and len(parts) == 4:
        parts[3] = names.get(PART_SETS, {}).get(parts[3], parts[3])
    return "/".join(parts)


def ticked_part(of: str) -> str:
    """Return the part of the document whose rows are ticked at a setting; empty where none are.

    >>> ticked_part("zones/*/areas"), ticked_part("zones/*/text")
    ('areas', '')
    """
    shape = shape_at(of.replace("*", "x"))
    item = shape.item if isinstance(shape, ListShape) else None
    return item.among.to if isinstance(item, IdShape) and item.among is not None else ""


def ticks_with_names(text: str, new: Mapping[str, str]) -> str:
    """Return words of a list, rows under new names.

    >>> ticks_with_names("shop, yard", {"shop": "front"})
    'front, yard'
    """
    words = [word.strip() for word in text.split(",")]
    return ", ".join(new.get(word, word) for word in words) if set(words) & new.keys() else text


def setting_with_names(setting: Setting, path: str, names: Names) -> Setting:
    """Return a setting of the sheet at ``path`` with rows under new names."""
    new = names.get(ticked_part(setting.of), {})
    own = names.get(path.rpartition("/")[0], {})
    made = replace(
        setting, of=of_with_names(setting.of, names), default=ticks_with_names(setting.default, new),
        choices={new.get(key, key): keyed for key, keyed in setting.choices.items()},
        after=tuple(own.get(each, each) for each in setting.after),
    )  # fmt: skip
    return setting if made == setting else made


def choices_moved(job: Job, names: Names) -> dict[str, str]:
    """Return the paths of choices that name rows with new names, each with its new path; sheets and settings keep theirs."""
    moved: dict[str, str] = {}
    for sheet, found in job.sheets.equipment.items():
        for name, setting in found.settings.items():
            new = names.get(ticked_part(setting.of), {}) if setting.of and setting.choices else {}
            path = f"sheets/equipment/{names.get('sheets/equipment', {}).get(sheet, sheet)}/settings/{name}/choices"
            moved |= {f"{path}/{key}": f"{path}/{new[key]}" for key in setting.choices if key in new}
    return moved
