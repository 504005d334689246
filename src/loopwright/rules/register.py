"""The visible list of checks, and the one loop that runs them."""

from __future__ import annotations

from collections.abc import Callable

from loopwright.rules import supply
from loopwright.rules.facts import Facts
from loopwright.values.finding import Finding, Severity

Check = Callable[[Facts], list[Finding]]

CHECKS: tuple[Check, ...] = (supply.check_device_volts,)

_ORDER = {Severity.MUST: 0, Severity.SHOULD: 1, Severity.GAP: 2, Severity.NOTE: 3}


def run_checks(facts: Facts) -> tuple[Finding, ...]:
    """Return the findings of every check, most binding first, in the order of the list within a severity."""
    found = [finding for check in CHECKS for finding in check(facts)]
    return tuple(sorted(found, key=lambda finding: _ORDER[finding.severity]))
