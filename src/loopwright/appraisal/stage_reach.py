"""What of a forecast can be measured at a stage of the work."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.job.document import Stage


@dataclass(frozen=True, kw_only=True, slots=True)
class StageReach:
    """Whether live readings (volts, amperes, hours on battery) apply, beside dead ones (ohms); and a sentence for people."""

    live: bool
    sentence: str


DESIGN = StageReach(live=True, sentence="Nothing is fitted yet: these are the readings of the finished system as designed.")
BENCH = StageReach(
    live=False,
    sentence="Kit on the bench: only dead readings apply, the ohms of a detection circuit, and they count the cable as designed, which "
    "is not there yet. Nothing here is fed by the supply, so no volts, amperes or hours are given.",
)
FIRST_FIX = StageReach(
    live=False,
    sentence="First fix: only dead readings apply, the ohms of a detection circuit with its devices and resistors on. Nothing is fed "
    "yet, so no volts, amperes or hours are given.",
)
LIVE = StageReach(live=True, sentence="The system is powered: dead and live readings both apply.")


def reach_of(stage: Stage) -> StageReach:
    """Return what applies at a stage."""
    return {Stage.DESIGN: DESIGN, Stage.BENCH: BENCH, Stage.FIRST_FIX: FIRST_FIX}.get(stage, LIVE)
