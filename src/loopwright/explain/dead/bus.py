"""Dead checks of a data bus: its pair, the pair against the supply, and earth. What electronics read no sheet says."""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.explain.circuit.check import label
from loopwright.explain.dead.check import TOUCH_OHM, DeadCheck, DeadKind, apart, loop_ohm, ohms
from loopwright.job.document import Job

LEAST_DATA_OHM = 500.0
"""Data cores that are well read more than this to the supply and, without terminators, to each other [Ω] (judgement)."""
BUS = "bus"


def bus_checks(job: Job) -> Iterator[DeadCheck]:
    """Yield the dead checks of every data bus with a cable, at ``UNIT.bus``."""
    for unit in job.equipment:
        sheet = job.sheet_of(unit).bus
        way = _longest_ohm(job, unit)
        if sheet is None or way is None:
            continue
        named, where = label(job, unit), f"{unit}.{BUS}"
        pair = f"Data bus of {named}: ohms between its two data cores, out of the unit’s terminals"
        end = sheet.terminate_ohm
        if end:
            known = "the one terminator left, at the far end; what is on the bus can only take it lower"
            yield ohms(where, DeadKind.PAIR, pair, low=0.5 * end, high=1.1 * end + way, short_ohm=way + TOUCH_OHM, known=known)
        else:
            known = "no short; what the electronics on it read is not on the sheet"
            yield ohms(where, DeadKind.PAIR, pair, low=LEAST_DATA_OHM, short_ohm=way + TOUCH_OHM, known=known)
        words = f"Data bus of {named}: each data core to plus and to 0 V, both tips each way round"
        yield ohms(where, DeadKind.SUPPLY, words, low=LEAST_DATA_OHM, short_ohm=way + TOUCH_OHM, known="no short; the sheet says no more")
        yield apart(where, DeadKind.EARTH, f"Data bus of {named}: each data core to earth, out of their terminals")


def _longest_ohm(job: Job, unit: str) -> float | None:
    """Return the ohms there and back to the farthest end of the bus [Ω]; None where no bus cable leaves the unit."""
    ways: dict[str, float] = {unit: 0.0}
    runs = [(name, run) for name, run in job.cables.items() if run.bus]
    grown = True
    while grown:
        grown = False
        for name, run in runs:
            for one, other in ((run.start, run.end), (run.end, run.start)):
                if one in ways and other not in ways:
                    ways[other] = ways[one] + loop_ohm(job, name)
                    grown = True
    return max(ways.values()) if len(ways) > 1 else None
