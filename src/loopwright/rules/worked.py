"""Words and figures every check needs: a figure with its working in one call, what a source may carry, lengths as people read them."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.job.document import Job, Stage, UnitSystem
from loopwright.rules.ruleset import binding
from loopwright.values.figure import Figure, Input, Origin, Working, show
from loopwright.values.finding import Severity
from loopwright.values.source import source

FOOT_M = 0.3048
_STAGES = tuple(Stage)


def worked(
    key: str,
    label: str,
    value: float,
    unit: str,
    *,
    formula: str,
    inputs: Sequence[Input],
    substituted: str = "",
    source: str = "first-principles",
    notes: tuple[str, ...] = (),
) -> Figure:
    """Return a figure with its working."""
    made = Working(formula=formula, inputs=tuple(inputs), substituted=substituted, result=show(value, unit), source=source, notes=notes)
    return Figure(key=key, label=label, value=value, unit=unit, working=lambda: made)


def given(job: Job, path: str) -> Origin:
    """Return whether a value of the document was written there, or is a default nobody confirmed."""
    if path in job.given:
        return Origin.SHEET if path.startswith("sheets/") else Origin.DOCUMENT
    return Origin.DEFAULT


def severity_by(*keys: str) -> Severity:
    """Return *must* when every source may carry one, else *should*."""
    return Severity.MUST if binding(*keys) else Severity.SHOULD


def marked(words: str, key: str) -> str:
    """Return words with the mark of their source where it is one that binds nobody."""
    return words if binding(key) else f"{words} ({source(key).standing})"


def due(job: Job, stage: Stage, severity: Severity) -> Severity:
    """Return a severity from a stage of the work on; before it, what is missing is only not done yet."""
    return severity if _STAGES.index(job.stage) >= _STAGES.index(stage) else Severity.GAP


def length_words(job: Job, metres: float) -> str:
    """Return a length in the units the job's people read."""
    return f"{metres / FOOT_M:.0f} ft" if job.region.units is UnitSystem.US else f"{metres:.1f} m"


def some(names: Sequence[str], most: int = 4) -> str:
    """Return names as a list a person reads, the rest counted."""
    shown = list(names[:most])
    if len(names) > most:
        return f"{', '.join(shown)} and {len(names) - most} more"
    return " and ".join([", ".join(shown[:-1]), shown[-1]]) if len(shown) > 1 else "".join(shown)
