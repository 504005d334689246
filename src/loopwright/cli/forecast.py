"""``loopwright forecast``: what every terminal should read."""

from __future__ import annotations

from typing import Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE
from loopwright.cli.words import File, Flag

Steps = Annotated[tuple[str, ...], Parameter(negative="", show_default=False)]


def forecast(
    file: File,
    /,
    *,
    stage: Annotated[str | None, Parameter(show_default=False)] = None,
    done: Steps = (),
    not_done: Steps = (),
    json: Flag = False,
) -> int:
    """Say what every terminal, output, supply, battery and detection circuit should read.

    Tables give the lowest volts and the highest current over all states; --json gives every scenario. OL is over range.
    The stage of the work decides what applies: on the bench and at first fix only dead readings (ohms).
    Last comes the list of troubles that should show now, whether each is normal at this stage, and what clears it.

    For example:

        loopwright forecast shop.yaml
        loopwright forecast shop.yaml --stage first-fix
        loopwright forecast shop.yaml --stage first-power-up --done "lids on" --not-done "bus list taken@keypad-press"
        loopwright forecast shop.yaml --json

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    stage
        Forecast for this stage instead of the document's: design, kit-on-bench, first-fix, first-power-up, enrolled,
        programmed, proved, in-service.
    done
        A step that is done although the stage does not say so, or done at one place: STEP or STEP@PLACE.
    not_done
        A step that is not done, likewise.
    json
        Print every reading as JSON, the unit in each key's name. A reading over range is null with "over_range": true.
    """
    from loopwright.cli.file import read_job
    from loopwright.cli.stage import with_stage

    job = with_stage(read_job(file), stage)
    from loopwright.appraisal.appraise import appraise
    from loopwright.appraisal.expected import expected
    from loopwright.cli.expected import situation_with

    appraisal = appraise(job)
    expectation = expected(appraisal, situation_with(job, done, not_done))
    if json:
        from loopwright.appraisal.forecast_form import forecast_form
        from loopwright.cli.terminal import say_record

        stage_from = "document" if stage is None else "option"
        say_record(file, forecast_form(appraisal, stage_from=stage_from, expectation=expectation))
    else:
        from loopwright.cli import expected as expected_list
        from loopwright.cli.tables import show
        from loopwright.cli.terminal import console

        out = console()
        show(out, appraisal)
        expected_list.show(out, expectation)
    return DONE
