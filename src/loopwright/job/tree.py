"""From text to a tree of nodes that know their place, with everything refused that has no business in a job document.

The C parser of libyaml gives events; the tree is built here, so that scalars stay the text that was written (``no`` is
a word, ``010`` is ten) and so that depth, size, aliases and tags are refused while reading, before they can cost anything.
"""

from __future__ import annotations

import re
from typing import Any, NoReturn

import yaml
from yaml.cyaml import CParser  # type: ignore[attr-defined]
from yaml.events import (
    AliasEvent,
    DocumentEndEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
)

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
    """A value in the text, between two marks of the parser; ``key`` is the node of its key, once a reader has met it under one.

    Offsets are in characters; line and column count from 1. They are worked out when asked for: most values are never at fault.
    ``known`` is what a reader has made of it.
    """

    __slots__ = ("kind", "value", "null", "flow", "first", "final", "key", "stop", "known")

    shift = tail = down = 0

    def __init__(self, kind: int, value: Any, null: bool, flow: bool, first: Any, final: Any) -> None:  # noqa: ANN401, FBT001
        self.kind = kind
        self.value = value
        self.null = null
        self.flow = flow
        self.first = first
        self.final = final
        self.key: Node | None = None
        self.stop: int | None = None
        self.known: Any = None

    @property
    def start(self) -> int:
        """Return the offset of the first character."""
        at: int = self.first.index
        return at + self.shift

    @property
    def end(self) -> int:
        """Return the offset behind the last character; for a collection without brackets, that of whatever comes next."""
        at: int = self.final.index
        return at + self.tail if self.stop is None else self.stop

    @property
    def line(self) -> int:
        """Return the line, the first being 1."""
        line: int = self.first.line
        return line + 1 + self.down

    @property
    def column(self) -> int:
        """Return the column, the first being 1."""
        column: int = self.first.column
        return column + 1

    def last(self) -> int:
        """Return the offset behind the last character that belongs to this node, comments after it left out."""
        node = self
        while node.kind != SCALAR and not node.flow and node.value:
            node = node.value[-1][1] if node.kind == MAP else node.value[-1]
        return node.end


class NodeAfterMark(Node):
    """A value in a text that starts with a byte order mark, which the parser does not count."""

    __slots__ = ()

    shift = tail = 1


class Moved(Node):
    """A value further on in the text than where the parser met it: by ``down`` lines, and by ``shift`` characters, its end by ``tail``."""

    __slots__ = ("shift", "tail", "down")


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
    marked = text.startswith(BYTE_ORDER_MARK)
    try:
        root = _build(CParser(text[1:] if marked else text), text, NodeAfterMark if marked else Node)
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
        refuse("The file is empty.", accepted="key: value lines, the first being format: 1")
    if root.kind != MAP:
        refuse("The file is not a mapping.", line=root.line, column=root.column, accepted="key: value lines, the first being format: 1")
    return text, root


def _build(parser: Any, text: str, make: type[Node]) -> Node | None:  # noqa: ANN401 - the parser is untyped
    """Return the root node of the only document, or None when there is no document."""
    root: Node | None = None
    stack: list[tuple[Node, list[Node]]] = []
    items: list[Node] = []
    room = MOST_NODES
    while room:
        event = parser.get_event()
        kind = type(event)
        if kind is ScalarEvent:
            style, value = event.style, event.value
            node = make(SCALAR, value, not style and value in NULLS, True, event.start_mark, event.end_mark)
            if style or event.anchor is not None or event.tag is not None:
                _look_at_style(event, text, node)
            items.append(node)
        elif kind is MappingEndEvent or kind is SequenceEndEvent:
            node, outer = stack.pop()
            node.final = event.end_mark
            node.value = items if node.kind == LIST else list(zip(items[::2], items[1::2], strict=True))
            items = outer
        elif kind is MappingStartEvent or kind is SequenceStartEvent:
            _refuse_marks(event)
            first = event.start_mark
            node = make(MAP if kind is MappingStartEvent else LIST, None, False, event.flow_style, first, first)
            items.append(node)
            stack.append((node, items))
            items = []
            if len(stack) > MOST_DEPTH:
                refuse(f"More than {MOST_DEPTH} levels inside one another.", line=node.line, column=node.column)
        elif kind is DocumentEndEvent:
            root = items[0]
        elif kind is StreamEndEvent:
            return None if root is None or root.null else root
        elif kind is AliasEvent:
            _refuse_marks(event)
        elif kind is DocumentStartEvent and root is not None:
            refuse("More than one document in the file.", line=event.start_mark.line + 1, column=1, accepted="one document a file")
        room -= 1
    refuse(f"More than {MOST_NODES} values; a job document holds far fewer.")


def _look_at_style(event: Any, text: str, node: Node) -> None:  # noqa: ANN401
    _refuse_marks(event)
    stray = None if node.value.isprintable() else NOT_TEXT.search(node.value)
    if stray:
        refuse(f"Character U+{ord(stray.group()):04X} cannot stand in a text.", line=node.line, column=node.column)
    if event.style in BLOCK_STYLES:
        node.stop = _block_end(text, node)


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
    if getattr(event, "tag", None) is not None:
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
