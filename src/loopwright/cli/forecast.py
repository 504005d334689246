"""``loopwright forecast``: what every terminal should read."""

from __future__ import annotations

from typing import Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE
from loopwright.cli.words import File, Flag


def forecast(file: File, /, *, stage: Annotated[str | None, Parameter(show_default=False)] = None, json: Flag = False) -> int:
    """Say what every terminal, output, supply, battery and detection circuit should read.

    Tables give the lowest volts and the highest current over all states; --json gives every scenario. OL is over range.
    The stage of the work decides what applies: on the bench and at first fix only dead readings (ohms).

    For example:

        loopwright forecast shop.yaml
        loopwright forecast shop.yaml --stage first-fix
        loopwright forecast shop.yaml --json

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    stage
        Forecast for this stage instead of the document's: design, kit-on-bench, first-fix, first-power-up, enrolled,
        programmed, proved, in-service.
    json
        Print every reading as JSON, the unit in each key's name. A reading over range is null with "over_range": true.
    """
    from loopwright.cli.file import read_job
    from loopwright.cli.stage import with_stage

    job = with_stage(read_job(file), stage)
    from loopwright.appraisal.appraise import appraise

    appraisal = appraise(job)
    if json:
        from loopwright.appraisal.forecast_form import forecast_form
        from loopwright.cli.terminal import say_record

        say_record(file, forecast_form(appraisal, stage_from="document" if stage is None else "option"))
    else:
        from loopwright.cli.tables import show
        from loopwright.cli.terminal import console

        show(console(), appraisal)
    return DONE
