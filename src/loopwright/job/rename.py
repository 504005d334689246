"""Another id for an entry of the document, in its own place and everywhere it is named."""

from __future__ import annotations

from loopwright.job.document import Feed, Hop
from loopwright.job.keyed_names import Names, of_with_names, ticked_part, ticks_with_names
from loopwright.job.read import ACCEPTED_ID, ID, walk
from loopwright.job.reading import Run
from loopwright.job.shape import IdShape, MapShape, record_shape, shape_at
from loopwright.job.splice import Splice
from loopwright.job.tree import LIST, MAP, SCALAR, Node
from loopwright.job.walk import PART_SETS, part_of
from loopwright.job.write import scalar_text

PARTS_OF_SHEET = ("outputs", "loads", "contacts")


def rename_parts(root: Node, path: str, new_id: str) -> list[Splice]:
    """Return the splices of a renaming. Raises ValueError when the id cannot be renamed so."""
    parent, _, old = path.rpartition("/")
    run, _ = walk(root)
    if not ID.fullmatch(new_id):
        raise ValueError(f"'{new_id[:48]}' cannot be a name: {ACCEPTED_ID}.")
    if parent == PART_SETS:
        return _rename_part_set(run, path, new_id)
    shape = shape_at(parent)
    if not isinstance(shape, MapShape) or not isinstance(shape.key, IdShape) or path not in run.nodes:
        raise ValueError("There is no entry here that has an id of its own.")
    if f"{parent}/{new_id}" in run.nodes:
        raise ValueError(f"There is already an entry called {new_id}.")
    nodes = [(key, new_id) for key, child in run.nodes[parent].value if child is run.nodes[path]]
    named = (*nodes, *_named(run, parent, old=old, new_id=new_id), *_named_in_settings(run, {part_of(parent): {old: new_id}}))
    return [_renamed(node, text) for node, text in named]


def _renamed(node: Node, text: str) -> Splice:
    node.value = text
    node.null = False
    return Splice(node.start, node.end, scalar_text(text))


def _rename_part_set(run: Run, path: str, new_id: str) -> list[Splice]:
    node = run.nodes.get(path)
    if node is None or node.kind != SCALAR:
        raise ValueError("There is no part set here.")
    old = node.value
    keys = [
        key
        for place, mapping in run.nodes.items()
        if place.startswith("zones/") and place.endswith("/response") and place.count("/") == 2 and mapping.kind == MAP
        for key, _ in mapping.value
        if key.kind == SCALAR and key.value == old
    ]
    settings = _named_in_settings(run, {PART_SETS: {old: new_id}})
    return [*(_renamed(each, new_id) for each in (node, *keys)), *(_renamed(each, text) for each, text in settings)]


def _named_in_settings(run: Run, names: Names) -> list[tuple[Node, str]]:
    """Return the nodes of settings of data sheets that name a row which gets another name, each with its new text."""
    found: list[tuple[Node, str]] = []
    for path, node in run.nodes.items():
        parts = path.split("/")
        if len(parts) != 5 or parts[:2] != ["sheets", "equipment"] or parts[3] != "settings" or node.kind != MAP:
            continue
        of = run.nodes.get(f"{path}/of")
        text = of.value if of is not None and of.kind == SCALAR else ""
        fields = [(of, of_with_names(text, names))] if of is not None else []
        new, own = names.get(ticked_part(text), {}), names.get("/".join(parts[:4]), {})
        default, choices = run.nodes.get(f"{path}/default"), run.nodes.get(f"{path}/choices")
        if default is not None and default.kind == SCALAR:
            fields.append((default, ticks_with_names(default.value, new)))
        if choices is not None and choices.kind == MAP:
            fields += [(key, new[key.value]) for key, _ in choices.value if key.kind == SCALAR and key.value in new]
        after = run.nodes.get(f"{path}/after")
        if after is not None and after.kind == LIST:
            fields += [(each, own[each.value]) for each in after.value if each.kind == SCALAR and each.value in own]
        found += [(each, new_text) for each, new_text in fields if each.kind == SCALAR and each.value != new_text]
    return found


def _named(run: Run, parent: str, *, old: str, new_id: str) -> list[tuple[Node, str]]:
    """Return the nodes that name an entry of ``parent``, each with its new text."""
    parts = parent.split("/")
    if len(parts) == 4 and parts[:2] == ["sheets", "equipment"] and parts[3] in PARTS_OF_SHEET:
        return _named_on_sheet(run, sheet=parts[2], part=parts[3], old=old, new_id=new_id)
    kinds = {"equipment": ("equipment", "places"), "joints": ("joints", "places")}.get(parent, (parent,))
    if parts[0] == "storeys" and parts[-1] == "rooms":
        kinds = ("rooms",)
    found = [(use.node, new_id) for use in run.uses if use.to in kinds and use.text == old]
    if parent == "equipment":
        terminals = [use for use in run.uses if use.to in ("outputs", "inputs", "loads") and use.text.startswith(f"{old}.")]
        found += [(use.node, new_id + use.text[len(old) :]) for use in terminals]
    return found


def _named_on_sheet(run: Run, *, sheet: str, part: str, old: str, new_id: str) -> list[tuple[Node, str]]:
    """Return the nodes that name an output, a supply input or a contact of a sheet."""
    owners = {
        path.split("/")[1] for path, text in _texts(run) if path.startswith("equipment/") and path.endswith("/sheet") and text == sheet
    }
    terminals = [use for use in run.uses if use.to == part and use.text.partition(".")[2] == old and use.text.partition(".")[0] in owners]
    found = [(use.node, f"{use.text.partition('.')[0]}.{new_id}") for use in terminals]
    if part == "loads":
        places = _feeds(run, owners)
        silent = [place for place in places if place not in run.nodes and old == record_shape(Feed).fields["load"].default]
    elif part == "contacts":
        places, silent = _contacts(run, owners, old)
    else:
        places, silent = [], []
    if silent:
        raise ValueError(f"{silent[0]} is not written and means {old}; write it first.")
    return found + [(run.nodes[place], new_id) for place in places if place in run.nodes and run.nodes[place].value == old]


def _feeds(run: Run, owners: set[str]) -> list[str]:
    """Return the paths of the fields that name, or would name, a supply input of one of the owners."""
    ends = [path for path, text in _texts(run) if path.startswith("cables/") and path.endswith("/end") and text in owners]
    lists = [(path.removesuffix("end") + "feeds", run.nodes.get(path.removesuffix("end") + "feeds")) for path in ends]
    return [f"{path}/{number}/load" for path, node in lists if node is not None and node.kind == LIST for number in range(len(node.value))]


def _contacts(run: Run, owners: set[str], old: str) -> tuple[list[str], list[str]]:
    """Return the paths that name a contact of one of the owners, and the paths of silent fields that mean it."""
    devices = [path for path, text in _texts(run) if path.startswith("circuits/") and path.endswith("/device") and text in owners]
    fields = [path.removesuffix("device") + "contacts" for path in devices]
    means = old in record_shape(Hop).fields["contacts"].default
    silent = [path for path in fields if path not in run.nodes and means]
    written = [(path, run.nodes[path]) for path in fields if path in run.nodes]
    return [f"{path}/{number}" for path, node in written if node.kind == LIST for number in range(len(node.value))], silent


def _texts(run: Run) -> list[tuple[str, str]]:
    return [(path, node.value) for path, node in run.nodes.items() if node.kind == SCALAR]
