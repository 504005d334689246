"""From text to a tree of nodes that know their place, with everything refused that has no business in a job document.

The C parser of libyaml gives events; the tree is built here, so that scalars stay the text that was written (``no`` is
a word, ``010`` is ten) and so that depth, size, aliases and tags are refused while reading, before they can cost anything.
"""

from __future__ import annotations

import re
from typing import Any, NoReturn

import yaml
from yaml.cyaml import CParser  # type: ignore[attr-defined]

from loopwright.values.error import JobError, Problem

MOST_BYTES = 2_000_000
MOST_NODES = 120_000
MOST_DEPTH = 64
NOT_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]")
BYTE_ORDER_MARK = "\ufeff"
NULLS = frozenset({"", "~", "null", "Null", "NULL"})

SCALAR, MAP, LIST = 0, 1, 2
SAID = 3  # what an edit is to make of a place: the value as plain data
BLOCK_STYLES = frozenset("|>")


class Node:
    """A value in the text: ``start`` and ``end`` are offsets in characters, ``line`` and ``column`` count from 1."""

    __slots__ = ("kind", "value", "plain", "flow", "start", "end", "line", "column")

    kind: int
    value: Any
    plain: bool
    flow: bool
    start: int
    end: int
    line: int
    column: int

    def is_null(self) -> bool:
        """Return whether nothing was written here: an empty place, ``~`` or ``null`` without quotes."""
        return self.plain and self.value in NULLS

    def last(self) -> int:
        """Return the offset behind the last character that belongs to this node, comments after it left out."""
        node = self
        while node.kind != SCALAR and not node.flow and node.value:
            node = node.value[-1][1] if node.kind == MAP else node.value[-1]
        return node.end


def refuse(message: str, *, line: int = 0, column: int = 0, accepted: str = "") -> NoReturn:
    """Raise a JobError with one problem that concerns the text itself rather than a place in the document."""
    raise JobError([Problem(path="", line=line, column=column, message=message, accepted=accepted)])


def as_text(source: bytes | str) -> str:
    """Return the source as text. Raises JobError when it is too large, not UTF-8, or holds characters that are not text."""
    if len(source) > MOST_BYTES:
        refuse(f"The file is larger than {MOST_BYTES // 1_000_000} MB; a job document is far smaller.")
    if isinstance(source, bytes):
        try:
            text = source.decode("utf-8")
        except UnicodeDecodeError as error:
            line = source.count(b"\n", 0, error.start) + 1
            refuse("The file is not UTF-8 text.", line=line, accepted="a text file saved as UTF-8")
    else:
        text = source
    stray = NOT_TEXT.search(text)
    if stray:
        line = text.count("\n", 0, stray.start()) + 1
        column = stray.start() - (text.rfind("\n", 0, stray.start()) + 1) + 1
        refuse(f"Character U+{ord(stray.group()):04X} cannot stand in a text file.", line=line, column=column)
    if len(text) > MOST_BYTES // 4 and len(text.encode()) > MOST_BYTES:
        refuse(f"The file is larger than {MOST_BYTES // 1_000_000} MB; a job document is far smaller.")
    return text


def compose(source: bytes | str) -> tuple[str, Node]:
    """Return the text and its root mapping. Raises JobError with one problem when there is none to be had."""
    text = as_text(source)
    shift = 1 if text.startswith(BYTE_ORDER_MARK) else 0
    try:
        root = _build(CParser(text[shift:] if shift else text), text, shift)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        why = " ".join(part for part in (error.problem, error.context) if part)
        refuse(
            f"This is not YAML: {why}.",
            line=mark.line + 1 if mark else 0,
            column=mark.column + 1 if mark else 0,
            accepted="key: value lines, indented with spaces, text with special characters in quotes",
        )
    except yaml.YAMLError as error:
        refuse(f"This is not YAML: {str(error).splitlines()[0]}.")
    if root is None:
        refuse("The file is empty.", accepted="a job document, which starts with format: 1")
    if root.kind != MAP:
        refuse("The file is not a mapping.", line=root.line, column=root.column, accepted="key: value lines, the first being format: 1")
    return text, root


def _node(kind: int, value: object, event: Any, shift: int) -> Node:  # noqa: ANN401 - the parser's events are untyped
    start = event.start_mark
    node = Node()
    node.kind = kind
    node.value = value
    node.plain = False
    node.flow = True
    node.start = start.index + shift
    node.end = event.end_mark.index + shift
    node.line = start.line + 1
    node.column = start.column + 1
    return node


def _build(parser: Any, text: str, shift: int) -> Node | None:  # noqa: ANN401 - the parser is untyped
    """Return the root node of the only document, or None when there is no document."""
    root: Node | None = None
    stack: list[tuple[Node, list[Node]]] = []
    items: list[Node] = []
    count = 0
    while True:
        event = parser.get_event()
        kind = type(event)
        if kind is yaml.ScalarEvent:
            _refuse_marks(event)
            node = _scalar(event, shift)
            if event.style in BLOCK_STYLES:
                node.end = _block_end(text, node)
            items.append(node)
        elif kind is yaml.MappingStartEvent or kind is yaml.SequenceStartEvent:
            _refuse_marks(event)
            node = _node(MAP if kind is yaml.MappingStartEvent else LIST, None, event, shift)
            node.flow = event.flow_style
            items.append(node)
            stack.append((node, items))
            items = []
            if len(stack) > MOST_DEPTH:
                refuse(f"More than {MOST_DEPTH} levels inside one another.", line=node.line, column=node.column)
        elif kind is yaml.MappingEndEvent or kind is yaml.SequenceEndEvent:
            node, outer = stack.pop()
            node.end = event.end_mark.index + shift
            node.value = items if node.kind == LIST else list(zip(items[::2], items[1::2], strict=True))
            items = outer
            continue
        elif kind is yaml.AliasEvent:
            _refuse_marks(event)
        elif kind is yaml.DocumentStartEvent and root is not None:
            refuse("More than one document in the file.", line=event.start_mark.line + 1, column=1, accepted="one document a file")
        elif kind is yaml.DocumentEndEvent:
            root = items[0]
            continue
        elif kind is yaml.StreamEndEvent:
            break
        count += 1
        if count > MOST_NODES:
            refuse(f"More than {MOST_NODES} values; a job document holds far fewer.")
    return None if root is None or (root.kind == SCALAR and root.is_null()) else root


def _scalar(event: Any, shift: int) -> Node:  # noqa: ANN401
    node = _node(SCALAR, event.value, event, shift)
    node.plain = not event.style
    if not node.plain and not node.value.isprintable():
        stray = NOT_TEXT.search(node.value)
        if stray:
            refuse(f"Character U+{ord(stray.group()):04X} cannot stand in a text.", line=node.line, column=node.column)
    return node


def _block_end(text: str, node: Node) -> int:
    """Return where a block scalar ends: before its last line break, except when all of them are kept (``|+``)."""
    written = text[node.start : node.end]
    return node.end if "+" in written.partition("\n")[0].partition("#")[0] else node.start + len(written.rstrip("\r\n"))


def _refuse_marks(event: Any) -> None:  # noqa: ANN401
    mark = event.start_mark
    if event.anchor is not None:
        refuse(
            "YAML anchors and aliases (& and *) are not read.",
            line=mark.line + 1,
            column=mark.column + 1,
            accepted="the value itself, or the text in quotes",
        )
    if event.tag is not None:
        refuse(
            f"YAML tags ({shorten(event.tag)}) are not read.",
            line=mark.line + 1,
            column=mark.column + 1,
            accepted="the value without a tag, or the text in quotes",
        )


def shorten(text: str) -> str:
    """Return the text, cut when it is too long to stand in a message."""
    flat = " ".join(text.split())
    return flat if len(flat) <= 48 else flat[:45] + "..."
