"""Putting one entry into a collection, or taking one out, as splices at the offsets of the nodes.

Each function also changes the tree it is given into what the edited text must say, so that the caller can compare.
"""

from __future__ import annotations

from loopwright.job.splice import Splice
from loopwright.job.tree import LIST, MAP, SAID, SCALAR, Node
from loopwright.job.write import Value, as_read, entry_lines, flow_text, scalar_text

EMPTY = {MAP: "{}", LIST: "[]"}


def said(node: Node, value: Value) -> Node:
    """Return the node, which from now on says the value."""
    node.kind = SAID
    node.value = as_read(value)
    return node


def put_scalar(text: str, key: Node | None, node: Node, value: str) -> list[Splice]:
    """Return the splice that gives a single value another text."""
    written = scalar_text(value)
    said(node, value)
    if node.start < node.end:
        return [Splice(node.start, node.end, _ended(text, node.end, written))]
    colon = key is None or ":" in text[key.end : node.start]
    lead = "" if text[node.start - 1 : node.start] in (" ", "\t") else " "
    return [Splice(node.start, node.start, f"{lead}{written}" if colon else f": {written}")]


def insert_entry(text: str, chain: list[Node], key: str | None, value: Value) -> list[Splice]:
    """Return the splices that put an entry at the end of the last collection of the chain. Raises ValueError when it cannot hold it."""
    parent = chain[-1]
    empty = parent.null if parent.kind == SCALAR else not parent.value
    if parent.kind == SCALAR and not empty:
        raise ValueError("A single value stands here; nothing can be put inside it.")
    if parent.kind != SCALAR and (parent.kind == LIST) != (key is None):
        raise ValueError("A list takes entries without a key, a mapping entries with one.")
    if empty:
        parts = _fill(text, chain, key, value)
        said(parent, [value] if key is None else {key: value})
        return parts
    parts = [_flow_insert(text, parent, key, value) if parent.flow else _block_insert(text, parent, key, value)]
    new = Node(SAID, as_read(value), False, True, None, None)
    if key is None:
        parent.value.append(new)
    else:
        parent.value.append((Node(SCALAR, key, False, True, None, None), new))
    return parts


def _line_end(text: str, at: int) -> int:
    """Return where the line that holds ``at`` ends, before its line break."""
    end = text.find("\n", at)
    end = len(text) if end < 0 else end
    return end - 1 if end > at and text[end - 1] == "\r" else end


def _line_break(text: str) -> str:
    at = text.find("\n")
    return "\r\n" if at > 0 and text[at - 1] == "\r" else "\n"


def _ended(text: str, end: int, new: str) -> str:
    """Return the new text, with a line break when the text it stands for had one (a block scalar that keeps its last lines)."""
    return new + _line_break(text) if end and text[end - 1] == "\n" else new


def _fill(text: str, chain: list[Node], key: str | None, value: Value) -> list[Splice]:
    """Return the splices that put the first entry into an empty place, ``{}`` or ``[]``."""
    parent = chain[-1]
    line_end = _line_end(text, parent.end)
    rest = text[parent.end : line_end].strip()
    inside = any(node.flow for node in chain[:-1])
    start = len(text[: parent.start].rstrip(" \t"))
    if inside or (rest and not rest.startswith("#")):
        return [Splice(start if start else parent.start, parent.end, " " + flow_text([value] if key is None else {key: value}))]
    indent = chain[-2].column + 1 if len(chain) > 1 else 0
    new = _line_break(text) + _line_break(text).join(entry_lines(key, value, indent))
    if start == parent.end:
        return [Splice(line_end, line_end, new)]
    return [Splice(start, line_end, text[parent.end : line_end] + new)]


def _flow_entry(key: str | None, value: Value) -> str:
    return flow_text(value) if key is None else f"{scalar_text(key)}: {flow_text(value)}"


def _flow_insert(text: str, parent: Node, key: str | None, value: Value) -> Splice:
    if text[parent.start] not in "{[":
        raise ValueError("This mapping has no braces; put it in braces first.")
    last: Node = parent.value[-1][1] if parent.kind == MAP else parent.value[-1]
    comma = _comma(text, last.end, parent.end - 1)
    if comma is not None:
        return Splice(comma + 1, comma + 1, " " + _flow_entry(key, value))
    lead = " , " if last.start == last.end and text[last.end - 1] != " " else ", "
    return Splice(last.end, last.end, lead + _flow_entry(key, value))


def _block_insert(text: str, parent: Node, key: str | None, value: Value) -> Splice:
    new = _line_break(text).join(entry_lines(key, value, parent.column - 1))
    last = parent.last()
    if text[last - 1] == "\n":
        return Splice(last, last, new + _line_break(text))
    at = _line_end(text, last)
    return Splice(at, at, _line_break(text) + new)


def _comma(text: str, start: int, end: int) -> int | None:
    """Return where the comma between two entries stands, comments passed over."""
    at = start
    while at < end:
        if text[at] == ",":
            return at
        at = _line_end(text, at) if text[at] == "#" else at
        at += 1
    return None


def cut_entry(text: str, parent: Node, node: Node) -> list[Splice]:
    """Return the splices that take an entry out of its collection."""
    pairs = parent.value if parent.kind == MAP else [(None, child) for child in parent.value]
    at = next(number for number, (_, child) in enumerate(pairs) if child is node)
    if len(pairs) == 1:
        parts = [_cut_only(text, parent)]
    elif parent.flow:
        spans = [(child.start if key is None else key.start, child.end) for key, child in pairs]
        parts = _flow_cut(text, spans, at, parent.end - 1)
    else:
        starts = _dashes(text, parent) if parent.kind == LIST else [key.start for key, _ in parent.value]
        parts = [_block_cut(text, starts, at, node.last())]
    del parent.value[at]
    return parts


def _cut_only(text: str, parent: Node) -> Splice:
    """Return the splice that leaves ``{}`` or ``[]``, so that an empty collection does not turn into silence."""
    if parent.flow:
        return Splice(parent.start, parent.end, EMPTY[parent.kind])
    last = parent.last()
    new = _ended(text, last, EMPTY[parent.kind])
    start = len(text[: parent.start].rstrip())
    if start and text[start - 1] in ":-":
        return Splice(start, last, " " + new)
    return Splice(parent.start, last, new if parent.kind == MAP else " " + new)


def _flow_cut(text: str, spans: list[tuple[int, int]], at: int, close: int) -> list[Splice]:
    start, end = spans[at]
    comma = _comma(text, end, spans[at + 1][0] if at + 1 < len(spans) else close)
    if comma is None:
        before = _comma(text, spans[at - 1][1], start)
        if before is None:
            raise ValueError("No comma was found before this entry.")
        if not text[before + 1 : start].strip():
            return [Splice(before, end, "")]
        return [Splice(before, before + 1, ""), Splice(start, end, "")]
    line_start, line_end = text.rfind("\n", 0, start) + 1, _line_end(text, comma)
    if not text[line_start:start].strip() and not text[comma + 1 : line_end].strip():
        return [Splice(line_start, _next_line(text, line_end), "")]
    rest = text[comma + 1 : line_end]
    return [Splice(start, comma + 1 + len(rest) - len(rest.lstrip(" \t")), "")]


def _next_line(text: str, line_end: int) -> int:
    at = text.find("\n", line_end)
    return len(text) if at < 0 else at + 1


def _block_cut(text: str, starts: list[int], at: int, last: int) -> Splice:
    start = starts[at]
    line_start = text.rfind("\n", 0, start) + 1
    if not text[line_start:start].strip(" "):
        kept_break = text[last - 1] == "\n"
        return Splice(line_start, last if kept_break else _next_line(text, _line_end(text, last)), "")
    if at + 1 < len(starts) and not text[last : starts[at + 1]].strip():
        return Splice(start, starts[at + 1], "")
    return Splice(start, last, "")


def _dashes(text: str, parent: Node) -> list[int]:
    """Return where the dash of each entry of a block list stands."""
    dashes = [parent.start]
    lead = "\n" + " " * (parent.column - 1) + "-"
    for child in parent.value[:-1]:
        found = text.find(lead, child.last() - 1)
        if found < 0:
            raise ValueError("The dash of an entry was not found.")
        dashes.append(found + len(lead) - 1)
    return dashes
