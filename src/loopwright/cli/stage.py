"""The stage of the work a forecast is asked for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from loopwright.cli.refusal import Refusal, either

if TYPE_CHECKING:
    from loopwright.job.document import Job


def with_stage(job: Job, stage: str | None) -> Job:
    """Return the job at another stage of the work, or as it is. Raises Refusal for a word that is no stage."""
    from loopwright.job.document import Stage

    if stage is None:
        return job
    try:
        return replace(job, stage=Stage(stage))
    except ValueError:
        raise Refusal(f"--stage {stage}: there is no such stage. Accepted: {either(Stage)}.") from None
