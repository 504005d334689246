"""The tree of an edited text, grown from the tree of the text before: only the entry that was edited is composed again.

An entry of a block mapping begins on a line of its own, at the column of its mapping, and ends where the next such line begins. The
parser comes to either line in the same state whatever stands between, as long as that is one entry at that column by itself. Where any
of this is not so, nothing is grafted and the whole text is composed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from loopwright.job.splice import Splice
from loopwright.job.tree import BYTE_ORDER_MARK, LIST, MAP, MOST_BYTES, MOST_NODES, SCALAR, Moved, Node, compose
from loopwright.values.error import JobError

_DEEPEST = 3
"""Entries are looked for so deep: below lie ``cables/W22`` and ``sheets/cables/six-core``, which are small."""
_OUTER_DEPTH = 8
"""Levels that are left over, so that no entry comes near the deepest the reader takes."""
_ENDS_DOCUMENT = re.compile(r"^(?:---|\.\.\.)", re.MULTILINE)


def grafted(before: str, tree: Node, after: str, parts: Sequence[Splice]) -> tuple[Node, tuple[str, ...]] | None:
    """Return the tree of ``after`` and the path of the entry that was composed again; None where the whole must be.

    ``tree`` is that of ``before``, of which ``parts`` make ``after``.
    """
    if not parts or len(after) * 4 >= MOST_BYTES or before.startswith(BYTE_ORDER_MARK) or _near_most(after, tree):
        return None
    chain, ends = _entries(before, tree, parts[0].start)
    for depth in range(len(chain), 0, -1):
        key, _ = chain[depth - 1]
        start, end = before.rfind("\n", 0, key.start) + 1, ends[depth - 1]
        if key.end < parts[0].start and parts[-1].end <= end:
            piece = after[start : end + len(after) - len(before)]
            fresh = _composed(piece, key, last=end == len(before))
            if fresh is not None:
                return _put(tree, chain[:depth], fresh, start, piece, before[start:end]), tuple(each.value for each, _ in chain[:depth])
    return None


def _near_most(text: str, tree: Node) -> bool:
    """Return whether the text may come near the most values a document may have."""
    # Every value follows one of these, and no more than four follow one.
    marks = sum(text.count(sign) for sign in ":,-?[{\n")
    return marks * 4 >= MOST_NODES and _events(tree) >= MOST_NODES // 2


def _events(node: Node) -> int:
    if node.kind == SCALAR:
        return 1
    children = (each for pair in node.value for each in pair) if node.kind == MAP else node.value
    return 2 + sum(_events(child) for child in children)


def _entries(text: str, tree: Node, offset: int) -> tuple[list[tuple[Node, Node]], list[int]]:
    """Return the entries that hold an offset, the outer first, as far as they stand on lines of their own, and where each ends."""
    chain: list[tuple[Node, Node]] = []
    ends: list[int] = []
    node, end = tree, len(text)
    while len(chain) < _DEEPEST and node.kind == MAP and not node.flow:
        at = next((at for at in range(len(node.value) - 1, -1, -1) if node.value[at][0].start <= offset), None)
        if at is None:
            break
        key, child = node.value[at]
        if at + 1 < len(node.value):
            following: int = node.value[at + 1][0].start
            end = text.rfind("\n", 0, following) + 1
            if text[end:following].strip(" "):
                break
        if key.kind != SCALAR or text[text.rfind("\n", 0, key.start) + 1 : key.start].strip(" ") or "\n" in text[key.start : key.end]:
            break
        chain.append((key, child))
        ends.append(end)
        node = child
    return chain, ends


def _composed(piece: str, key: Node, *, last: bool) -> tuple[Node, Node] | None:
    """Return key and value of an entry that is all of a text; None when it is not that."""
    if not (last or piece.endswith("\n")) or _ENDS_DOCUMENT.search(piece):
        return None
    try:
        _, root = compose(piece)
    except JobError:
        return None
    if root.flow or len(root.value) != 1 or root.column != key.column:
        return None
    fresh, child = root.value[0]
    return (fresh, child) if fresh.kind == SCALAR and fresh.value == key.value and _depth(child) < _OUTER_DEPTH else None


def _depth(node: Node) -> int:
    if node.kind == SCALAR:
        return 0
    children = [child for _, child in node.value] if node.kind == MAP else node.value
    return 1 + max((_depth(child) for child in children), default=0)


def _put(tree: Node, chain: list[tuple[Node, Node]], fresh: tuple[Node, Node], start: int, piece: str, before: str) -> Node:
    """Return the tree with a fresh entry at the end of the chain, and whatever follows moved by what the entry has grown."""
    grown, deeper = len(piece) - len(before), piece.count("\n") - before.count("\n")
    down = chain[-1][0].line - fresh[0].line
    entry: tuple[Node, Node] = (moved(fresh[0], start, down), moved(fresh[1], start, down))
    for depth in range(len(chain) - 1, -1, -1):
        above = chain[depth - 1][1] if depth else tree
        key = chain[depth][0]
        at = next(at for at, (each, _) in enumerate(above.value) if each is key)
        rest = above.value[at + 1 :]
        if grown or deeper:
            rest = [(moved(each, grown, deeper), moved(child, grown, deeper)) for each, child in rest]
        made = moved(above, 0, 0, value=[*above.value[:at], entry, *rest])
        made.tail += grown
        made.known = None
        entry = (chain[depth - 1][0], made) if depth else (key, made)
    return entry[1]


def moved(node: Node, by: int, down: int, value: object = None) -> Moved:
    """Return a copy of a node, and of all in it unless another ``value`` is given, so many characters and lines further on."""
    kind = node.kind
    if value is None:
        value = node.value
        if kind == MAP:
            value = [(moved(key, by, down), moved(child, by, down)) for key, child in node.value]
        elif kind == LIST:
            value = [moved(child, by, down) for child in node.value]
    made = Moved(kind, value, node.null, node.flow, node.first, node.final)
    made.shift, made.tail, made.down = node.shift + by, node.tail + by, node.down + down
    made.known = node.known
    if node.stop is not None:
        made.stop = node.stop + by
    return made
