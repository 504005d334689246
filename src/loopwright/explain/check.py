"""What can be checked: a meter put somewhere in some state, a word read off the keypad, a thing looked at.

A check has outcomes and costs minutes; a hypothesis says how likely each outcome is. Minutes are judgement (common practice, no source),
those of looks stand in the catalogue.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

from loopwright.netlist.loop import ActKind


class CheckKind(StrEnum):
    """Where the meter goes and what it reads, or what is looked at."""

    OHM = "ohms, both wires out"
    CORES_OHM = "ohms of the field cores alone"
    CAPACITANCE = "capacitance of the field cores"
    VOLTS = "volts in place"
    CONTACT_OHM = "ohms across the contact, its wires out"
    STATE = "state shown at the keypad"
    DEVICE_VOLTS = "volts at the device"
    OUTPUT_VOLTS = "volts at the output"
    OUTPUT_AMPS = "amperes out of the output"
    BUS_VOLTS = "volts at the supply"
    BATTERY_VOLTS = "volts at the battery"
    LEADS_VOLTS = "volts at the battery leads, battery off"
    FUSE_VOLTS = "volts across the battery fuse"
    SECONDARY_VOLTS = "ac volts at the secondary"
    TROUBLE = "trouble shown at the keypad"
    TOLD = "what is shown, logged, received or told"
    LOOK = "look"


UNITS = {
    CheckKind.OHM: "Ω",
    CheckKind.CORES_OHM: "Ω",
    CheckKind.CONTACT_OHM: "Ω",
    CheckKind.CAPACITANCE: "nF",
    CheckKind.VOLTS: "V",
    CheckKind.DEVICE_VOLTS: "V",
    CheckKind.OUTPUT_VOLTS: "V",
    CheckKind.OUTPUT_AMPS: "A",
    CheckKind.BUS_VOLTS: "V",
    CheckKind.BATTERY_VOLTS: "V",
    CheckKind.LEADS_VOLTS: "V",
    CheckKind.FUSE_VOLTS: "V",
    CheckKind.SECONDARY_VOLTS: "V",
}
"""The unit of each metered kind; the others have words for outcomes."""


BY = ("caller", "eyes", "lid", "ladder", "licensed")
"""Who can do a check, the least first: somebody on the telephone with no tool and no lid off; somebody who knows the system and looks;
somebody with a lid off or a meter; somebody on a ladder; a licensed person."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Check:
    """One thing that can be checked. Two checks are the same when everything but their cost and their wording is.

    ``where`` is the circuit, equipment or terminal; ``act`` and ``device`` what is done to a circuit; ``scenario`` the state of the
    system and its supplies; ``fault`` and ``place`` say whose look it is. ``outcomes`` are the words it can end in, none for a meter.
    ``by`` says who can do it, one of :data:`BY`; ``finds`` what is seen where a look is answered
    with yes. ``pull_ohm`` [Ω] is what a wire left in its terminal puts across the meter.
    """

    kind: CheckKind
    where: str
    act: ActKind = ActKind.REST
    device: str = ""
    scenario: str = ""
    fault: str = ""
    place: str = ""
    minutes: float = field(default=1.0, compare=False)
    needs: tuple[str, ...] = field(default=(), compare=False)
    words: str = field(default="", compare=False)
    outcomes: tuple[str, ...] = field(default=(), compare=False)
    pull_ohm: float = field(default=math.inf, compare=False)
    by: str = field(default="eyes", compare=False)
    finds: str = field(default="", compare=False)

    @property
    def unit(self) -> str:
        """Return the unit of a metered check; empty for one with words for outcomes."""
        return UNITS.get(self.kind, "")


YES_NO = ("yes", "no")
"""The outcomes of a look."""
