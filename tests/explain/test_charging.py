"""The hours of a flat battery stand with the answer that it only has to be charged."""

from __future__ import annotations

import re

from loopwright.appraisal.appraise import appraise
from loopwright.demo import text
from loopwright.explain.expected.charging import RECOVERING, charging_words
from loopwright.job.read import read
from loopwright.power.charge import DEFAULT_RETURN_FACTOR

FOUND = appraise(read(text("business")).job)


def test_the_hours_are_charge_by_charge_current() -> None:
    """By hand: return factor times ampere-hours up to the restore volts, by the amperes of the charger; never longer than two days here."""
    (item,) = (each for each in FOUND.standby if each.supply == "control")
    (words,) = charging_words(FOUND.job, FOUND.standby, RECOVERING, "control")
    supply = FOUND.job.sheet_of("control").supply
    assert supply is not None and supply.restore_v is not None
    share = item.kinetic.head_at_emf(supply.restore_v)
    hours = DEFAULT_RETURN_FACTOR * item.fitted_ah * share / item.charge_a
    assert 0 < share < 1 and int(re.findall(r"about (\d+) h", words)[0]) == round(hours)
    assert "12.5 V" in words and "48 h at the latest" in words


def test_of_no_supply_by_name_all_are_told_and_of_other_faults_none() -> None:
    assert len(charging_words(FOUND.job, FOUND.standby, RECOVERING, "")) == len(FOUND.standby) == 2
    assert charging_words(FOUND.job, FOUND.standby, "P08", "control") == ()
