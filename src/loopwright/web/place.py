"""Where in the workbench a part of the document is seen: the room, and the row that concerns it."""

from __future__ import annotations

from urllib.parse import quote, urlencode

from loopwright.values.finding import Finding

_POWER_CODES = (
    "battery",
    "board",
    "charg",
    "not-fed",
    "output-",
    "recharge",
    "standby",
    "stops",
    "supervision",
    "supply",
    "transformer",
    "volts",
)


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
    """Return the room a finding stands in: what is wrong with a device's supply stands in Power, the rest where its subject is edited."""
    if finding.subject.startswith("equipment/") and finding.code.startswith(_POWER_CODES):
        return "power"
    return room_of(finding.subject)


def row_of(path: str) -> str:
    """Return the id of the row that shows a document path.

    >>> row_of('cables/W01/length_m'), row_of('sheets/cables/six-core/gauge'), row_of('equipment/control/battery/sheet')
    ('row:cables/W01', 'row:sheets/cables/six-core', 'row:equipment/control/battery')
    """
    parts = path.split("/")
    deep = parts[0] == "sheets" or (parts[0] == "equipment" and parts[2:3] == ["battery"])
    return "row:" + "/".join(parts[: 3 if deep else 2])


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
