"""What a check takes where something stands ready for it: a lid that is off, a pair that is out, a link that is in, mains that are off.

What one check makes ready is there for the next one, and the lid of a control unit or a supply for the rest of the visit. The shares are
judgement, as are the minutes they are taken from.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from loopwright.explain.catalogue import faults
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.circuit.check import ACT_MINUTES, ACT_NEEDS, at_height
from loopwright.explain.look import LADDER_MINUTES
from loopwright.explain.power.check import STATE_MINUTES
from loopwright.job.document import Job

LID_MINUTES = 1.0
"""Minutes of a check that go into the lid before it."""
PAIR_MINUTES = 1.5
"""Minutes of a reading with a pair out that go into taking it out and putting it back."""
CARRIED_MINUTES = 2.0
"""Minutes of what a ladder costs that go into bringing and footing it; the rest is climbing."""
LEAST_MINUTES = 0.5
"""What the quickest check takes."""
Thing = tuple[str, str]
"""What can stand ready: what it is, and where."""
Ready = Mapping[Thing, float]
"""What stands ready, each with the minutes [min] it takes to make it so."""
PAIR_OUT = (CheckKind.OHM, CheckKind.CORES_OHM, CheckKind.CAPACITANCE)
AT_UNIT = (
    *PAIR_OUT, CheckKind.VOLTS, CheckKind.OUTPUT_VOLTS, CheckKind.OUTPUT_AMPS, CheckKind.BUS_VOLTS, CheckKind.BATTERY_VOLTS,
    CheckKind.LEADS_VOLTS, CheckKind.FUSE_VOLTS, CheckKind.SECONDARY_VOLTS,
)  # fmt: skip
AT_DEVICE = (CheckKind.CONTACT_OHM, CheckKind.DEVICE_VOLTS)


class AtHand:
    """What stands ready in a visit to a job after what was ``done``, in its order."""

    def __init__(self, job: Job, done: Iterable[Check] = ()) -> None:
        """Take what was done."""
        self._job = job
        self._made: dict[Check, Ready] = {}
        self._off: dict[Thing, float] = {}
        self._last: Ready = {}
        for check in done:
            self._last = self._made_by(check)
            self._off |= {thing: minutes for thing, minutes in self._last.items() if thing[0] == "unit's lid"}

    def now(self, check: Check) -> Check:
        """Return a check with the minutes it takes as the next one."""
        return replace(check, minutes=self._minutes(check, {**self._last, **self._off}))

    def after(self, before: Check, check: Check) -> float:
        """Return the minutes [min] a check takes straight after another."""
        return self._minutes(check, {**self._made_by(before), **self._off})

    def _minutes(self, check: Check, ready: Ready) -> float:
        spared = sum(minutes for thing, minutes in self._made_by(check).items() if thing in ready)
        return max(check.minutes - spared, min(check.minutes, LEAST_MINUTES))

    def _made_by(self, check: Check) -> Ready:
        if check not in self._made:
            self._made[check] = dict(self._makes(check))
        return self._made[check]

    def _makes(self, check: Check) -> Iterator[tuple[Thing, float]]:
        """Yield what a check makes ready."""
        if check.kind in AT_UNIT:
            yield ("unit's lid", self._unit(check)), LID_MINUTES
        if check.kind in PAIR_OUT:
            yield ("pair out", check.where), PAIR_MINUTES
        if state := STATE_MINUTES.get(check.scenario):
            yield ("state", check.scenario), state
        device, climbed = self._opened(check)
        if device:
            yield ("lid", device), LID_MINUTES
            if climbed:
                yield ("ladder", device), CARRIED_MINUTES
        if check.device and check.act in ACT_NEEDS:
            climbing = LADDER_MINUTES - CARRIED_MINUTES if climbed else 0.0
            yield ("act", f"{check.act} {check.device}"), ACT_MINUTES[check.act] - LID_MINUTES + climbing

    def _unit(self, check: Check) -> str:
        """Return the control unit, expander or supply a check is done at."""
        circuit = self._job.circuits.get(check.where)
        terminal = (circuit.input or "") if circuit is not None else check.where
        return terminal.partition(".")[0]

    def _opened(self, check: Check) -> tuple[str, bool]:
        """Return the device whose lid a check takes off, nothing for none, and whether from a ladder."""
        if check.kind is CheckKind.LOOK:
            look = faults()[check.fault].look
            by = look.by if look is not None else ""
            return (check.place, by == "ladder") if by in ("lid", "ladder") and check.place in self._job.equipment else ("", False)
        device = check.where.partition(".")[0] if check.kind is CheckKind.DEVICE_VOLTS else check.device
        if check.kind in AT_DEVICE or (device and check.act in ACT_NEEDS):
            return device, check.kind is not CheckKind.DEVICE_VOLTS and at_height(self._job, device)
        return "", False
