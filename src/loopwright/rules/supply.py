"""Checks on volts and amperes."""

from __future__ import annotations

import numpy as np

from loopwright.power.forecast import label_of, scenario_words, volts_figure
from loopwright.rules.facts import Facts
from loopwright.values.finding import Finding, Severity


def check_device_volts(facts: Facts) -> list[Finding]:
    """Every device has at least its minimum working volts in every state its output is live in."""
    found = []
    for load in facts.power.loads:
        margin = load.margin_v
        worst = int(np.nanargmin(margin)) if not np.all(np.isnan(margin)) else -1
        if worst < 0 or not np.isfinite(margin[worst]) or margin[worst] >= 0:
            continue
        scenario = facts.power.names[worst]
        figure = volts_figure(facts.job, facts.power, load, scenario)
        found.append(
            Finding(
                code="volts-below-minimum",
                severity=Severity.MUST,
                subject=f"equipment/{load.landing.equipment}",
                sentence=f"{label_of(facts.job, load.landing.equipment)} gets {figure} {scenario_words(scenario)}; "
                f"it needs {load.draw.min_v:.1f} V.",
                source="data-sheet",
                figures=(figure,),
            )
        )
    return found
