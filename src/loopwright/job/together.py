"""Many edits made in one step: the text is composed once before and once after, and it is all of them or none.

One edit at a time, each checked, a list of a thousand rows would be composed two thousand times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from loopwright.job.edit import AddItem, Edited, SetField, content, follow
from loopwright.job.entry import insert_entry, put_scalar, said
from loopwright.job.splice import Splice, Splices, difference, spliced
from loopwright.job.tree import LIST, MAP, SCALAR, Node, compose
from loopwright.job.write import Value, entry_lines, flow_text
from loopwright.values.error import JobError, Problem

BY_HAND = "The text is written in a way here that this edit cannot follow; change it by hand."


@dataclass(frozen=True, slots=True)
class SetList:
    """Give a list of single values these entries, putting the list in when it is not there."""

    path: str
    texts: tuple[str, ...]


Part = SetField | SetList | AddItem


class _Put(NamedTuple):
    """An entry to be put into a collection; ``chain`` leads to that collection."""

    path: str
    chain: list[Node]
    key: str
    value: Value


def apply_together(text: str, edits: Sequence[Part]) -> Edited:
    """Return the text with all edits made, and the edit that undoes them. Raises JobError with every edit that cannot be made.

    Each edit is one of those that change or add: no two may concern the same place.
    """
    _, root = compose(text)
    problems: list[Problem] = []
    puts: dict[int, list[_Put]] = {}
    splices: list[Splice] = []
    for edit in edits:
        try:
            splices += _placed(text, root, edit, puts)
        except ValueError as error:
            problems.append(_problem(edit.path, str(error)))
    # Outer collections first: an inner one that has grown could no longer say where it ends.
    groups = sorted(puts.values(), key=lambda group: len(group[0].chain))
    grown: list[Splice] = []
    for group in groups:
        try:
            grown.insert(0, _grown(text, group))
        except ValueError as error:
            problems.append(_problem(group[0].path, str(error)))
    if problems:
        raise JobError(problems)
    ordered = sorted([*splices, *grown], key=lambda splice: splice[:2])
    edited, _ = spliced(text, Splices(tuple(ordered)))
    _, found = compose(edited)
    if content(found) != content(root):
        raise JobError([_problem("", BY_HAND)])
    return Edited(edited, difference(edited, text), found)


def _problem(path: str, message: str) -> Problem:
    return Problem(path=path, line=0, column=0, message=message)


def _placed(text: str, root: Node, edit: Part, puts: dict[int, list[_Put]]) -> list[Splice]:
    """Return the splices of an edit of what is there; what is to be put in is noted with its collection."""
    path, value = _entry(edit)
    chain, missing = follow(root, path)
    if not missing:
        return _changed(text, chain, edit)
    outer: Value = value
    for name in reversed(missing[1:]):
        outer = {name: outer}
    group = puts.setdefault(id(chain[-1]), [])
    same = next((number for number, put in enumerate(group) if put.key == missing[0]), None)
    if same is None:
        group.append(_Put(path, chain, missing[0], outer))
    else:
        group[same] = group[same]._replace(value=_joined(group[same].value, outer))
    return []


def _entry(edit: Part) -> tuple[str, Value]:
    match edit:
        case AddItem(path, key, value):
            return (path if key is None else f"{path}/{key}"), value
        case SetField(path, text):
            return path, text
        case SetList(path, texts):
            return path, list(texts)


def _joined(one: Value, other: Value) -> Value:
    """Return two mappings, put in under one name that is not there yet, as one. Raises ValueError when they are not two mappings."""
    if not isinstance(one, dict) or not isinstance(other, dict) or one.keys() & other.keys():
        raise ValueError("Two edits concern this place.")
    return {**one, **other}


def _changed(text: str, chain: list[Node], edit: Part) -> list[Splice]:
    node, parent = chain[-1], chain[-2]
    if isinstance(edit, AddItem):
        raise ValueError(f"There is already an entry called {edit.key}.")
    if isinstance(edit, SetField):
        if node.kind != SCALAR:
            raise ValueError("A collection stands here, not a single value.")
        key = next((key for key, child in parent.value if child is node), None) if parent.kind == MAP else None
        return put_scalar(text, key, node, edit.text)
    if node.kind != LIST:
        raise ValueError("A single value stands here, not a list.")
    start, end = node.start, node.last()
    if "#" in text[start:end]:
        raise ValueError("Comments stand inside this list; change it by hand.")
    said(node, list(edit.texts))
    return [Splice(start, end, flow_text(list(edit.texts)))]


def _grown(text: str, group: list[_Put]) -> Splice:
    """Return the one splice that puts all entries of a group into their collection."""
    chain = group[0].chain
    parent = chain[-1]
    if parent.kind == SCALAR or not parent.value:
        whole = {put.key: put.value for put in group}
        return _filled(text, chain, whole)
    before, added, texts = list(parent.value), [], []
    for put in group:
        (splice,) = insert_entry(text, chain, put.key, put.value)
        added.append(parent.value[-1])
        parent.value = list(before)
        texts.append(splice.text)
    parent.value = before + added
    comma = "," if parent.flow else ""
    joined = texts[0] + "".join(each if each.lstrip().startswith(",") else comma + each for each in texts[1:])
    return Splice(splice.start, splice.end, joined)


def _filled(text: str, chain: list[Node], whole: dict[str, Value]) -> Splice:
    """Return the splice that fills an empty collection: the value of its key written anew, with its entries."""
    parent, outer = chain[-1], chain[-2] if len(chain) > 1 else None
    key = next((key for key, child in outer.value if child is parent), None) if outer is not None and outer.kind == MAP else None
    if key is None or outer is None:
        raise ValueError(BY_HAND)
    pairs = list(whole.items())
    (first,) = insert_entry(text, chain, *pairs[0])
    said(parent, whole)
    if any(node.flow for node in chain[:-1]) or "\n" not in first.text:
        return Splice(first.start, first.end, " " + flow_text(whole))
    line_break = "\r\n" if "\r\n" in first.text else "\n"
    rest = (line for name, value in pairs[1:] for line in entry_lines(name, value, outer.column + 1))
    return Splice(first.start, first.end, first.text + "".join(line_break + line for line in rest))
