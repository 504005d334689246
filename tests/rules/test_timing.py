"""Entry, exit, sounder and abort times against published limits.

EN 50131-1: entry at most 45 s (an article on the standard, seen); sounding 90 s to 15 min (from memory, so never a must).
SIA CP-01: abort window 15 to 45 s, exit at least 45 s (an article, seen).
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.edit import SetField
from loopwright.values.finding import Severity

Appraise = Callable[..., Appraisal]

HOUSEHOLD = SetField("region/ruleset", "na-household")


def severities(found: Appraisal, code: str) -> list[Severity]:
    return [finding.severity for finding in found.findings if finding.code == code]


@pytest.mark.parametrize("grade", [1, 2, 3, 4])
@pytest.mark.parametrize(("entry_s", "expected"), [(45, []), (50, [Severity.MUST])])
def test_entry_time_of_every_grade(grade: int, entry_s: int, expected: list[Severity], appraised: Appraise) -> None:
    found = appraised(SetField("region/ruleset", f"en-grade-{grade}"), SetField("areas/house/entry_s", str(entry_s)))
    assert severities(found, "entry-time") == expected


@pytest.mark.parametrize(
    ("sounder_s", "expected"), [(60, [Severity.SHOULD]), (90, []), (900, []), (1200, [Severity.SHOULD])]
)  # from memory
def test_sounding_time(sounder_s: int, expected: list[Severity], appraised: Appraise) -> None:
    found = appraised(SetField("programme/sounder_s", str(sounder_s)))
    assert severities(found, "sounder-time") == expected
    assert all("(from memory)" in finding.sentence for finding in found.findings if finding.code == "sounder-time")


def test_output_a_sounder_hangs_on_is_held_to_the_same_time(appraised: Appraise) -> None:
    found = [f for f in appraised(SetField("outputs/bell/duration_s", "20 min")).findings if f.code == "sounder-time"]
    assert [f.subject for f in found] == ["outputs/bell/duration_s"]


@pytest.mark.parametrize(("abort_s", "expected"), [(14, [Severity.MUST]), (15, []), (30, []), (45, []), (46, [Severity.MUST])])
def test_abort_window(abort_s: int, expected: list[Severity], appraised: Appraise) -> None:
    assert severities(appraised(HOUSEHOLD, SetField("programme/abort_s", str(abort_s))), "abort-time") == expected


@pytest.mark.parametrize(("exit_s", "expected"), [(44, [Severity.MUST]), (45, []), (120, []), (121, [Severity.SHOULD])])
def test_exit_time(exit_s: int, expected: list[Severity], appraised: Appraise) -> None:
    assert severities(appraised(HOUSEHOLD, SetField("areas/house/exit_s", str(exit_s))), "exit-time") == expected


@pytest.mark.parametrize(("entry_s", "abort_s", "expected"), [(30, 30, []), (31, 30, [Severity.SHOULD])])
def test_entry_and_abort_window_together(entry_s: int, abort_s: int, expected: list[Severity], appraised: Appraise) -> None:
    found = appraised(HOUSEHOLD, SetField("areas/house/entry_s", str(entry_s)), SetField("programme/abort_s", str(abort_s)))
    assert severities(found, "entry-and-abort-time") == expected


def test_a_custom_ruleset_limits_no_time(appraised: Appraise) -> None:
    found = appraised(SetField("region/ruleset", "custom"), SetField("areas/house/entry_s", "600"), SetField("programme/sounder_s", "5"))
    assert not [finding for finding in found.findings if finding.code.endswith("-time")]
