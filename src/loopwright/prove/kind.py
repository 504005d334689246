"""Kinds of event a proving looks for, and the codes of the two standards that tell them.

The codes are those of the tables in ``signalling``; which of them a zone's response is told by is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from loopwright.job.sheet import Reads, Topology


class Kind(StrEnum):
    """What an event is about."""

    ALARM = "alarm"
    HOLD_UP = "hold-up"
    TAMPER = "tamper"
    FAULT = "fault"
    CONFIRMED = "confirmed alarm"
    CANCEL = "cancel"
    MAINS = "mains failure"
    BATTERY = "low battery"
    PATH = "path failure"
    SET = "set"
    UNSET = "unset"
    TEST = "test"
    INHIBIT = "inhibit"
    POLL = "poll"
    LIFE = "life safety"
    OTHER = "other"


OF_A_ZONE = frozenset({Kind.ALARM, Kind.HOLD_UP, Kind.TAMPER, Kind.FAULT})
"""The kinds that tell of a zone and come back with a restore."""
SETTING = frozenset({Kind.SET, Kind.UNSET})

_RUNS = (
    (100, 119, Kind.LIFE), (120, 126, Kind.HOLD_UP), (129, 129, Kind.CONFIRMED), (130, 136, Kind.ALARM), (137, 137, Kind.TAMPER),
    (138, 138, Kind.ALARM), (139, 139, Kind.CONFIRMED), (140, 140, Kind.ALARM), (143, 143, Kind.FAULT), (144, 145, Kind.TAMPER),
    (146, 146, Kind.ALARM), (147, 147, Kind.FAULT), (200, 206, Kind.LIFE), (301, 301, Kind.MAINS), (302, 302, Kind.BATTERY),
    (309, 309, Kind.BATTERY), (311, 311, Kind.BATTERY), (314, 314, Kind.MAINS), (316, 317, Kind.TAMPER), (338, 338, Kind.BATTERY),
    (341, 341, Kind.TAMPER), (342, 342, Kind.MAINS), (350, 358, Kind.PATH), (370, 372, Kind.FAULT), (375, 376, Kind.FAULT),
    (380, 382, Kind.FAULT), (383, 383, Kind.TAMPER), (384, 384, Kind.BATTERY), (387, 389, Kind.FAULT), (406, 406, Kind.CANCEL),
    (570, 579, Kind.INHIBIT), (601, 603, Kind.TEST), (608, 608, Kind.TEST),
)  # fmt: skip
SET_CODES = frozenset({*range(400, 406), *range(407, 410), 441, 442, 451, 452, 453, 454, 455, 456, 459})
"""Codes of Contact ID in which new means unset and restore means set."""
_BLOCKS: Mapping[str, tuple[Kind, bool]] = MappingProxyType({
    **dict.fromkeys(("BA", "UA", "CR", "EA"), (Kind.ALARM, False)), **dict.fromkeys(("BH", "BR", "UH", "UR"), (Kind.ALARM, True)),
    **dict.fromkeys(("HA", "PA"), (Kind.HOLD_UP, False)), **dict.fromkeys(("HH", "HR", "PH", "PR"), (Kind.HOLD_UP, True)),
    **dict.fromkeys(("TA", "ES", "TT"), (Kind.TAMPER, False)), **dict.fromkeys(("TR", "EJ", "TH"), (Kind.TAMPER, True)),
    **dict.fromkeys(("BT", "IA", "UT"), (Kind.FAULT, False)), **dict.fromkeys(("BJ", "IR", "UJ"), (Kind.FAULT, True)),
    "BV": (Kind.CONFIRMED, False), "HV": (Kind.CONFIRMED, False), "BC": (Kind.CANCEL, False), "OR": (Kind.UNSET, False),
    "AT": (Kind.MAINS, False), "AR": (Kind.MAINS, True), "YT": (Kind.BATTERY, False), "YR": (Kind.BATTERY, True),
    **dict.fromkeys(("YC", "YS", "NT", "LT"), (Kind.PATH, False)), **dict.fromkeys(("YK", "NR", "LR"), (Kind.PATH, True)),
    **dict.fromkeys(("CL", "CA", "CF", "CG", "CP", "CQ", "CS"), (Kind.SET, False)),
    **dict.fromkeys(("OP", "OA", "OG", "OQ", "OS"), (Kind.UNSET, False)),
    **dict.fromkeys(("RP", "RX", "BX", "TS", "TE"), (Kind.TEST, False)),
    **dict.fromkeys(("BB", "TB", "HB", "UB"), (Kind.INHIBIT, False)), **dict.fromkeys(("BU", "TU", "HU", "UU"), (Kind.INHIBIT, True)),
    **dict.fromkeys(("FA", "GA", "MA", "KA", "WA", "ZA"), (Kind.LIFE, False)),
})  # fmt: skip


def of_contact_id(code: str, qualifier: str) -> tuple[Kind, bool]:
    """Return what a code of Contact ID tells, and whether it is over.

    >>> of_contact_id("130", "3"), of_contact_id("401", "3")
    ((<Kind.ALARM: 'alarm'>, True), (<Kind.SET: 'set'>, False))
    """
    restored = qualifier == "3"
    if not code.isdigit():
        return Kind.OTHER, restored
    number = int(code)
    if number in SET_CODES:
        return (Kind.SET if restored else Kind.UNSET), False
    return next((kind for first, last, kind in _RUNS if first <= number <= last), Kind.OTHER), restored


def of_block(code: str) -> tuple[Kind, bool]:
    """Return what a code of DC-03 tells, and whether it is over."""
    return _BLOCKS.get(code, (Kind.OTHER, False))


def of_reading(reads: Reads | None, topology: Topology, part: str = "a") -> Kind | None:
    """Return what a control unit reports of a zone when it takes its circuit for something; None for nothing.

    A plain or a single-resistor circuit cannot tell a lid from an activation, so whatever is not at rest is an alarm there.
    """
    plain = topology in (Topology.NONE, Topology.SINGLE)
    if reads is None or reads is Reads.REST:
        return None
    if topology is Topology.PAIR and reads in (Reads.ACTIVE, Reads.FAULT, Reads.BOTH):
        return Kind.ALARM if reads is Reads.BOTH or (reads is Reads.FAULT) == (part == "b") else None
    if reads in (Reads.ACTIVE, Reads.BOTH):
        return Kind.ALARM
    if reads is Reads.FAULT:
        return Kind.FAULT
    return Kind.ALARM if plain else Kind.TAMPER
