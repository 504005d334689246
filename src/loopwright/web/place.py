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


_ROOMS = {
    **dict.fromkeys(("cables", "joints", "circuits"), "wiring"),
    **dict.fromkeys(("equipment", "sheets"), "kit"),
    **dict.fromkeys(("zones", "areas", "users", "programme", "outputs", "signalling"), "programme"),
    **dict.fromkeys(("premises", "parties", "storeys", "region"), "premises"),
}


def room_of(path: str) -> str:
    """Return the room in which a document path is edited.

    >>> room_of('cables/W01/length_m'), room_of('equipment/bell'), room_of('zones/z02/areas'), room_of('region/units'), room_of('title')
    ('wiring', 'kit', 'programme', 'premises', 'front')
    """
    head, _, rest = path.partition("/")
    if head == "equipment" and rest.partition("/")[2].startswith("battery"):
        return "power"
    return _ROOMS.get(head, "front")


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
    if parts[0] == "joints" or room_of(path) not in ("kit", "wiring") or row_of(path) == f"row:{path}":
        return ""
    if parts[0] == "cables" and (len(parts) < 3 or parts[2] not in ("feeds", "zero_v_cores", "bus")):
        return ""
    if parts[0] == "equipment" and (len(parts) < 3 or parts[2] in ("sheet", "label", "room", "address", "enrolled")):
        return ""
    return "d:" + row_of(path).removeprefix("row:")


def link_to_cell(path: str) -> str:
    """Return the address of the cell in which a document path is changed; of its row, where the path is a whole row.

    >>> link_to_cell('cables/W01/length_m'), link_to_cell('cables/W01/bus'), link_to_cell('equipment/bell')
    ('./wiring#c:cables/W01/length_m', './wiring?open=d%3Acables%2FW01#c:cables/W01/bus', './kit#row:equipment/bell')
    """
    row = row_of(path)
    return _link(room_of(path), opened_by(path), row if row == f"row:{path}" else f"c:{path}")


def link_to_finding(finding: Finding) -> str:
    """Return the address of the row a finding stands beside."""
    return _link(room_of_finding(finding), "", row_of(finding.subject))


def _link(room: str, opened: str, anchor: str) -> str:
    query = f"?{urlencode({'open': opened})}" if opened else ""
    return f"./{'' if room == 'front' else room}{query}#{quote(anchor, safe='/:')}"
