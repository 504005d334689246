"""Whether what the document names exists: references, terminals, contacts, and numbers that must differ."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from loopwright.job.document import Hop
from loopwright.job.quantity import parse_quantity
from loopwright.job.reading import Run, Use
from loopwright.job.shape import record_shape
from loopwright.job.tree import LIST, MAP, SCALAR, Node

SET_STATES = ("unset", "full")
WHERE = {"places": ("equipment", "joints")}
CALLED = {
    "sheets/equipment": "equipment sheet",
    "sheets/batteries": "battery sheet",
    "sheets/cables": "cable sheet",
    "rooms": "room",
    "equipment": "piece of equipment",
    "joints": "joint",
    "places": "piece of equipment or joint",
    "cables": "cable",
    "circuits": "circuit",
    "areas": "area",
    "zones": "zone",
    "parties": "party",
}


def check_references(run: Run) -> None:
    """Note every name that leads nowhere."""
    rooms = _rooms(run)
    for path, node in _children(run, "joints"):
        if f"equipment/{path.rpartition('/')[2]}" in run.nodes:
            run.refuse(node, path, "A piece of equipment has this name too.", "a name of its own, so that cables know where they end")
    for use in run.uses:
        if f"{use.to}/{use.text}" in run.nodes:
            continue
        if use.to in CALLED:
            _check_name(run, use, rooms)
        else:
            _check_terminal(run, use)
    for path, node in _children(run, "cables"):
        _check_cable(run, path, node)
    for path, _ in _children(run, "circuits"):
        for hop, _ in _children(run, f"{path}/path"):
            _check_hop(run, hop)
    _check_inside(run)
    _check_zones(run)


def _children(run: Run, path: str) -> list[tuple[str, Node]]:
    """Return the path and node of each item of a mapping or list; nothing when it is not there."""
    node = run.nodes.get(path)
    if node is None or node.kind == SCALAR:
        return []
    if node.kind == LIST:
        return [(f"{path}/{number}", child) for number, child in enumerate(node.value)]
    named = [f"{path}/{key.value}" for key, _ in node.value if key.kind == SCALAR]
    return [(here, run.nodes[here]) for here in dict.fromkeys(named) if here in run.nodes]


def _names(run: Run, path: str) -> list[str]:
    return [here.rpartition("/")[2] for here, _ in _children(run, path)]


def _text(run: Run, path: str) -> str:
    node = run.nodes.get(path)
    return node.value if node is not None and node.kind == SCALAR else ""


def _rooms(run: Run) -> dict[str, Node]:
    """Return the rooms of all storeys; a room id that stands in two storeys is a problem."""
    rooms: dict[str, Node] = {}
    for storey, _ in _children(run, "storeys"):
        for path, node in _children(run, f"{storey}/rooms"):
            name = path.rpartition("/")[2]
            if name in rooms:
                run.refuse(
                    node, path, f"A room called {name} stands in another storey too, on line {rooms[name].line}.", "an id of its own"
                )
            rooms.setdefault(name, node)
    return rooms


def _check_name(run: Run, use: Use, rooms: Iterable[str]) -> None:
    parts = WHERE.get(use.to, (use.to,))
    if use.text in rooms if use.to == "rooms" else any(f"{part}/{use.text}" in run.nodes for part in parts):
        return
    known = list(rooms) if use.to == "rooms" else [name for part in parts for name in _names(run, part)]
    run.refuse(use.node, use.path, f"There is no {CALLED[use.to]} called {use.text}.{run.hint(use.text, known)}", _some(known))


def _some(names: list[str]) -> str:
    return ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")


def _sheet_path(run: Run, equipment: str) -> str:
    """Return the path of the sheet of a piece of equipment, or nothing when either is missing."""
    path = f"sheets/equipment/{_text(run, f'equipment/{equipment}/sheet')}"
    return path if path in run.nodes and run.nodes[path].kind == MAP else ""


def _check_terminal(run: Run, use: Use) -> None:
    owner, _, terminal = use.text.partition(".")
    if f"equipment/{owner}" not in run.nodes:
        known = _names(run, "equipment")
        run.refuse(use.node, use.path, f"There is no piece of equipment called {owner}.{run.hint(owner, known)}", _some(known))
        return
    sheet = _sheet_path(run, owner)
    if not sheet:
        return
    if use.to == "inputs":
        _check_input(run, use, sheet)
    elif f"{sheet}/{use.to}/{terminal}" not in run.nodes:
        known = _names(run, f"{sheet}/{use.to}")
        run.refuse(
            use.node,
            use.path,
            f"{owner} has no {use.to[:-1]} called {terminal}.{run.hint(terminal, known)}",
            _some([f"{owner}.{name}" for name in known]),
        )


def _check_input(run: Run, use: Use, sheet: str) -> None:
    owner, _, terminal = use.text.partition(".")
    count = _text(run, f"{sheet}/inputs/count")
    if f"{sheet}/inputs" not in run.nodes:
        run.refuse(use.node, use.path, f"The sheet of {owner} has no inputs.")
    elif count.isdecimal() and terminal not in _numbers(count):
        run.refuse(use.node, use.path, f"{owner} has no input {terminal}.", f"{owner}.1 to {owner}.{count}")


@cache
def _numbers(count: str) -> frozenset[str]:
    return frozenset(str(number + 1) for number in range(int(count) if len(count) <= 4 else 0))


def _check_cable(run: Run, path: str, node: Node) -> None:
    start, end = _text(run, f"{path}/start"), _text(run, f"{path}/end")
    if start and start == end:
        run.refuse(run.nodes[f"{path}/end"], f"{path}/end", f"The cable starts and ends at {end}.", "two different places")
    sheet = _sheet_path(run, end)
    if not sheet:
        return
    known = _names(run, f"{sheet}/loads")
    for feed, feed_node in _children(run, f"{path}/feeds"):
        load = _text(run, f"{feed}/load") or "supply"
        if load not in known:
            place = run.nodes.get(f"{feed}/load", feed_node)
            run.refuse(place, f"{feed}/load", f"{end} has no supply input called {load}.{run.hint(load, known)}", _some(known))


def _check_hop(run: Run, path: str) -> None:
    device = _text(run, f"{path}/device")
    written = _children(run, f"{path}/contacts")
    if not device:
        if written:
            run.refuse(written[0][1], f"{path}/contacts", "Contacts stand here but no device.", "a device, or no contacts")
        return
    sheet = _sheet_path(run, device)
    if not sheet:
        return
    known = _names(run, f"{sheet}/contacts")
    silent = f"{path}/contacts" not in run.nodes
    for name in _default_contacts() if silent else ():
        if name not in known:
            message = f"{device} has no contact called {name}, which is meant when contacts are not written."
            run.refuse(run.nodes[f"{path}/device"], f"{path}/contacts", message, f"contacts: [{_some(known)}]")
            return
    for here, node in written:
        if node.kind == SCALAR and node.value not in known:
            run.refuse(node, here, f"{device} has no contact called {node.value}.{run.hint(node.value, known)}", _some(known))


def _default_contacts() -> tuple[str, ...]:
    default: tuple[str, ...] = record_shape(Hop).fields["contacts"].default
    return default


def _check_inside(run: Run) -> None:
    """Refuse equipment that, through what feeds it in the same box, feeds itself."""
    feeder = {path.rpartition("/")[2]: _text(run, f"{path}/inside").partition(".")[0] for path, _ in _children(run, "equipment")}
    followed: set[str] = set()
    for name in feeder:
        chain: dict[str, None] = {}
        at = name
        while at and at not in followed:
            followed.add(at)
            chain[at] = None
            at = feeder.get(at, "")
        if at in chain:
            path = f"equipment/{at}/inside"
            run.refuse(run.nodes[path], path, f"{at} would feed itself.")


def _check_zones(run: Run) -> None:
    parts = [(path, node) for path, node in _children(run, "programme/part_sets") if node.kind == SCALAR]
    for path, node in parts:
        if node.value in SET_STATES:
            run.refuse(node, path, f"A part set cannot be called {node.value}.")
    states = list(dict.fromkeys([*SET_STATES, *(node.value for _, node in parts)]))
    if len(states) < len(SET_STATES) + len(parts):
        run.refuse(run.nodes["programme/part_sets"], "programme/part_sets", "Two part sets have one name.", "a name of its own for each")
    numbers: dict[float, Node] = {}
    for zone, _ in _children(run, "zones"):
        for path, node in _children(run, f"{zone}/response"):
            name = path.rpartition("/")[2]
            if name not in states:
                run.refuse(node, path, f"{name} is not a set state.{run.hint(name, states)}", ", ".join(states))
        _check_number(run, f"{zone}/number", numbers)


def _check_number(run: Run, path: str, numbers: dict[float, Node]) -> None:
    node = run.nodes.get(path)
    try:
        number = parse_quantity(_text(run, path), "")
    except ValueError:
        return
    if node is not None and numbers.setdefault(number, node) is not node:
        run.refuse(node, path, f"Zone number {number:g} stands on line {numbers[number].line} too.", "a number of its own")
