"""Where in the workbench a part of the document is seen: the room, and the row that concerns it."""

from __future__ import annotations

from urllib.parse import quote, urlencode

from loopwright.values.finding import Finding

_BY_FIGURE = ("volts/", "output-a/", "supply-a/", "mains-a/", "required-ah/", "longest-h/", "recharge-h/", "cut-out-h/", "first-short-h/")
_POWER_FIELDS = ("battery", "supply", "outputs")


def room_of(path: str) -> str:
    """Return the room in which a document path is edited.

    >>> room_of('cables/W01/length_m'), room_of('equipment/bell'), room_of('region/units')
    ('wiring', 'kit', 'front')
    """
    head, _, rest = path.partition("/")
    if head in ("cables", "joints", "circuits"):
        return "wiring"
    if head == "equipment" and rest.partition("/")[2].startswith("battery"):
        return "power"
    return "kit" if head in ("equipment", "sheets") else "front"


def room_of_finding(finding: Finding) -> str:
    """Return the room a finding stands in: the one that shows the figures it rests on, else the one that edits its subject."""
    head, _, rest = finding.subject.partition("/")
    below = rest.partition("/")[2]
    if head == "equipment" and (below.startswith(_POWER_FIELDS) or any(f.key.startswith(_BY_FIGURE) for f in finding.figures)):
        return "power"
    return room_of(finding.subject)


def row_of(path: str) -> str:
    """Return the id of the row that shows a document path.

    >>> row_of('cables/W01/length_m'), row_of('sheets/cables/six-core/gauge')
    ('row:cables/W01', 'row:sheets/cables/six-core')
    """
    parts = path.split("/")
    return "row:" + "/".join(parts[: 3 if parts[0] == "sheets" else 2])


def opened_by(path: str) -> str:
    """Return which entry has to be opened before a path's cell is on the page; empty when it is there anyway."""
    parts = path.split("/")
    if parts[0] in ("cables", "joints") or room_of(path) in ("power", "front"):
        return ""
    if parts[0] == "equipment" and (len(parts) < 3 or parts[2] in ("sheet", "label", "room", "address", "enrolled")):
        return ""
    return "d:" + row_of(path).removeprefix("row:")


def link_to_cell(path: str) -> str:
    """Return the address of the cell in which a document path is changed."""
    return _link(room_of(path), opened_by(path), f"c:{path}")


def link_to_finding(finding: Finding) -> str:
    """Return the address of the row a finding stands beside."""
    return _link(room_of_finding(finding), "", row_of(finding.subject))


def _link(room: str, opened: str, anchor: str) -> str:
    query = f"?{urlencode({'open': opened})}" if opened else ""
    return f"/{'' if room == 'front' else room}{query}#{quote(anchor, safe='/:')}"
