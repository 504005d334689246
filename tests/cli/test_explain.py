"""The verb explain: words for people, JSON for programs, and what it says of files it cannot use."""

from __future__ import annotations

from pathlib import Path

import pytest

import loopwright.demo

SEEN = """\
readings:
  - {where: c01, reading: 2.70 kΩ}
  - {where: c01, state: shorted, shows: rest}
  - {where: c77, shows: rest}
"""


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str]:
    """Return a job and a file of what was seen."""
    job, seen = tmp_path / "shop.yaml", tmp_path / "visit.yaml"
    job.write_text(loopwright.demo.text("business"), encoding="utf-8")
    seen.write_text(SEEN, encoding="utf-8")
    return str(job), str(seen)


def test_told_in_words(run, files) -> None:  # type: ignore[no-untyped-def]
    job, seen = files
    outcome = run("explain", job, "--seen", seen)
    assert outcome.status == 0
    assert "Resistor fitted at control unit, not at the last device" in outcome.out
    assert "Left out: line 4" in outcome.out
    assert "Next" in outcome.out and "Write it down as {where: c01" in outcome.out


def test_told_as_json(run, files) -> None:  # type: ignore[no-untyped-def]
    job, seen = files
    data = run("explain", job, "--seen", seen, "--json").data()
    assert data["readings_used"] == 2
    assert data["answers"][0]["causes"][0]["fault"] in ("D33", "D11", "D36")
    assert data["next_checks"][0]["expected_information_bit"] > 0
    assert 0 <= data["nothing_wrong"] <= 1


def test_what_was_seen_may_come_from_a_pipe_but_not_with_the_job(run, files) -> None:  # type: ignore[no-untyped-def]
    job, _ = files
    assert run("explain", job, "--seen", "-", stdin=SEEN.encode()).status == 0
    both = run("explain", "-", "--seen", "-", stdin=SEEN.encode())
    assert both.status == 2
    assert "cannot both come from standard input" in both.err


@pytest.mark.parametrize(("text", "words"), [("- a list", "not a mapping"), ("readings: [", "not YAML"), ("", "empty")])
def test_what_is_no_file_of_observations_is_refused(run, files, tmp_path: Path, text: str, words: str) -> None:  # type: ignore[no-untyped-def]
    broken = tmp_path / "broken.yaml"
    broken.write_text(text, encoding="utf-8")
    outcome = run("explain", files[0], "--seen", str(broken))
    assert outcome.status == 2
    assert words in outcome.err
    assert run("explain", files[0], "--seen", str(tmp_path / "none.yaml")).status == 2
