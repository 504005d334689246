"""Edits as small records, made by splicing the text, so that comments and layout stay as a person left them.

Every edit is checked after it is made: the new text is composed again and must differ from the old in the wanted place only.
Where the text is written in a way that an edit cannot follow, the edit is refused and the text stays.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field, replace
from typing import NoReturn

from loopwright.job.entry import cut_entry, insert_entry, put_scalar
from loopwright.job.graft import grafted
from loopwright.job.rename import rename_parts
from loopwright.job.splice import Splice, Splices, difference, in_order, spliced
from loopwright.job.tree import LIST, MAP, SCALAR, Node, compose
from loopwright.job.write import Value
from loopwright.values.error import JobError, Problem
from loopwright.values.recent import Recent


@dataclass(frozen=True, slots=True)
class SetField:
    """Give a field this text, putting the field in when it is not there."""

    path: str
    text: str


@dataclass(frozen=True, slots=True)
class RemoveField:
    """Take a field out, so that its default holds."""

    path: str


@dataclass(frozen=True, slots=True)
class AddItem:
    """Put a new entry at the end of a mapping (under ``key``) or a list (``key`` None), making the mapping when it is not there."""

    path: str
    key: str | None
    value: Value


@dataclass(frozen=True, slots=True)
class RemoveItem:
    """Take an entry out of a mapping or a list."""

    path: str


@dataclass(frozen=True, slots=True)
class RenameItem:
    """Give an entry of a mapping another id, everywhere it is named."""

    path: str
    new_id: str


@dataclass(frozen=True, slots=True)
class InTurn:
    """Make these edits one after the other, all of them or none; to the history they are one."""

    edits: tuple[Edit, ...]


Edit = SetField | RemoveField | AddItem | RemoveItem | RenameItem | Splices | InTurn


@dataclass(frozen=True, slots=True)
class Edited:
    """The new text, and the edit that gives back the old one, character for character.

    ``tree`` is the new text composed, for a reader to go on from; None where the edit did not need it.
    """

    text: str
    inverse: Splices
    tree: Node | None = field(default=None, repr=False, compare=False)


TREES: Recent[Node] = Recent(most_names=1)
"""The trees of the texts that edits have left: the next edit goes on from there."""


def apply(text: str, edit: Edit) -> Edited:
    """Return the edited text. Raises JobError when the place is not there, or the edit cannot be made there."""
    if isinstance(edit, Splices):
        return Edited(*spliced(text, edit))
    if isinstance(edit, InTurn):
        return _in_turn(text, edit)
    known = None if isinstance(edit, RenameItem) else TREES.find("tree", (text,))
    root = compose(text)[1] if known is None else _own_tree(known, edit.path)
    try:
        parts = in_order(_parts(text, root, edit)).parts
    except ValueError as error:
        _refuse(edit.path, str(error))
    edited = Edited(*spliced(text, Splices(parts)))
    graft = None if known is None else grafted(text, known, edited.text, parts)
    if graft is None or not f"{edit.path}/".startswith("/".join((*graft[1], ""))):
        graft = compose(edited.text)[1], ()
    found, entry = graft
    if content(_at(found, entry)) != content(_at(root, entry)):
        _refuse(edit.path, "The text is written in a way here that this edit cannot follow; change it by hand.")
    TREES.put("tree", (edited.text,), found)
    return replace(edited, tree=found)


def tree_of(text: str, before: str) -> Node:
    """Return the tree of a text, for a reader to go on from; ``before`` is a text it comes from. Raises JobError when it has none."""
    known, parts = TREES.find("tree", (before,)), difference(before, text).parts
    graft = None if known is None else grafted(before, known, text, parts)
    found = compose(text)[1] if graft is None else graft[0]
    TREES.put("tree", (text,), found)
    return found


def _at(node: Node, names: tuple[str, ...]) -> Node:
    for name in names:
        child = child_of(node, name)
        assert child is not None
        node = child
    return node


def _own_tree(known: Node, path: str) -> Node:
    """Return a tree of which an edit may change its own place."""
    # Every node on the way becomes a copy that nobody else holds: an edit changes these and no others.
    root = node = _loose(known)
    for name in path.split("/"):
        child = child_of(node, name)
        if child is None:
            break
        own = _loose(child)
        node.value = (
            [(key, own if each is child else each) for key, each in node.value]
            if node.kind == MAP
            else [own if each is child else each for each in node.value]
        )
        node = own
    return root


def _loose(node: Node) -> Node:
    made = copy(node)
    if made.kind != SCALAR:
        made.value = list(made.value)
    return made


def _in_turn(text: str, edit: InTurn) -> Edited:
    edited = Edited(text, Splices(()))
    for each in edit.edits:
        edited = apply(edited.text, each)
    return replace(edited, inverse=difference(edited.text, text))


def content(node: Node) -> object:
    """Return what a tree says, without where it says it: dicts, lists, text, and None where nothing stands."""
    if node.kind == MAP:
        return {key.value if key.kind == SCALAR else content_key(key): content(child) for key, child in node.value}
    if node.kind == LIST:
        return [content(child) for child in node.value]
    if node.kind == SCALAR:
        return None if node.null else node.value
    return node.value


def content_key(key: Node) -> str:
    """Return a collection used as a key as text; no document has one, but an edit elsewhere must leave it alone."""
    return repr(content(key))


def _refuse(path: str, message: str) -> NoReturn:
    raise JobError([Problem(path=path, line=0, column=0, message=message)])


def _parts(text: str, root: Node, edit: SetField | RemoveField | AddItem | RemoveItem | RenameItem) -> list[Splice]:
    """Return the splices of an edit, and change the tree to what the edited text must say."""
    match edit:
        case SetField(path, value):
            return _set(text, root, path, value)
        case AddItem(path, key, value):
            return _add(text, root, path, key, value)
        case RemoveField(path) | RemoveItem(path):
            chain, missing = follow(root, path)
            if missing or len(chain) < 2:
                _refuse(path, "There is nothing here to take out.")
            return cut_entry(text, chain[-2], chain[-1])
        case RenameItem(path, new_id):
            return rename_parts(root, path, new_id)


def follow(root: Node, path: str) -> tuple[list[Node], list[str]]:
    """Return the nodes from the root along the path as far as they are there, and the names for which there is none."""
    chain = [root]
    names = path.split("/") if path else []
    for number, name in enumerate(names):
        child = child_of(chain[-1], name)
        if child is None:
            return chain, names[number:]
        chain.append(child)
    return chain, []


def child_of(node: Node, name: str) -> Node | None:
    """Return the value under a key or at a number, or None."""
    if node.kind == MAP:
        return next((child for key, child in node.value if key.kind == SCALAR and key.value == name), None)
    if node.kind == LIST and name.isdecimal() and len(name) < 7 and int(name) < len(node.value):
        child: Node = node.value[int(name)]
        return child
    return None


def _set(text: str, root: Node, path: str, value: str) -> list[Splice]:
    chain, missing = follow(root, path)
    if missing:
        return _insert(text, chain, missing, value)
    if chain[-1].kind != SCALAR:
        _refuse(path, "A collection stands here, not a single value.")
    parent = chain[-2]
    key = next((key for key, child in parent.value if child is chain[-1]), None) if parent.kind == MAP else None
    return put_scalar(text, key, chain[-1], value)


def _add(text: str, root: Node, path: str, key: str | None, value: Value) -> list[Splice]:
    chain, missing = follow(root, path)
    if missing and key is None:
        return _insert(text, chain, missing, [value])
    if missing or key is not None:
        if not missing and key is not None and child_of(chain[-1], key) is not None:
            _refuse(f"{path}/{key}", f"There is already an entry called {key}.")
        return _insert(text, chain, [*missing, *([] if key is None else [key])], value)
    return insert_entry(text, chain, None, value)


def _insert(text: str, chain: list[Node], missing: list[str], value: Value) -> list[Splice]:
    """Put in a value under names of which none is there yet, the outer ones as mappings."""
    for name in reversed(missing[1:]):
        value = {name: value}
    return insert_entry(text, chain, missing[0], value)
