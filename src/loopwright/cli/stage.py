"""What of a forecast can be measured at a stage of the work."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from loopwright.cli.refusal import Refusal, either

if TYPE_CHECKING:
    from loopwright.job.document import Job, Stage


@dataclass(frozen=True, kw_only=True, slots=True)
class Reach:
    """Whether live readings (volts, amperes, hours on battery) apply, beside dead ones (ohms); and a sentence for people."""

    live: bool
    sentence: str


DESIGN = Reach(live=True, sentence="Nothing is fitted yet: these are the readings of the finished system as designed.")
BENCH = Reach(
    live=False,
    sentence="Kit on the bench: only dead readings apply, the ohms of a detection circuit, and they count the cable as designed, which "
    "is not there yet. Nothing here is fed by the supply, so no volts, amperes or hours are given.",
)
FIRST_FIX = Reach(
    live=False,
    sentence="First fix: only dead readings apply, the ohms of a detection circuit with its devices and resistors on. Nothing is fed "
    "yet, so no volts, amperes or hours are given.",
)
LIVE = Reach(live=True, sentence="The system is powered: dead and live readings both apply.")


def reach_of(stage: Stage) -> Reach:
    """Return what applies at a stage."""
    from loopwright.job.document import Stage

    return {Stage.DESIGN: DESIGN, Stage.BENCH: BENCH, Stage.FIRST_FIX: FIRST_FIX}.get(stage, LIVE)


def with_stage(job: Job, stage: str | None) -> Job:
    """Return the job at another stage of the work, or as it is. Raises Refusal for a word that is no stage."""
    from loopwright.job.document import Stage

    if stage is None:
        return job
    try:
        return replace(job, stage=Stage(stage))
    except ValueError:
        raise Refusal(f"--stage {stage}: there is no such stage. Accepted: {either(Stage)}.") from None
