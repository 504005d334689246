"""Every check a caller may be asked for has words for a caller, and none of them are the trade's."""

from __future__ import annotations

import re

import pytest

from loopwright.appraisal.appraise import appraise
from loopwright.demo import text
from loopwright.desk.caller import caller_words, table
from loopwright.desk.question import named
from loopwright.explain.catalogue import faults
from loopwright.explain.explain import Inquiry
from loopwright.explain.observation import read_observations
from loopwright.explain.power.check import TROUBLES
from loopwright.explain.telling import entry_of
from loopwright.explain.whole.bus import SHOWN
from loopwright.explain.whole.word import words
from loopwright.job.read import read

JARGON = (
    "others missing", "module", "tamper", "circuit", "bus", "terminal", "ohm", "ohms", "sounder", "path", "contact", "enrolled", "zone",
    "poll", "cell", "area", "pair", "walk test", "control unit", "supply", "topology", "output", "part-set",
)  # fmt: skip
JOB = read(text("business")).job
ENTRIES = [
    *({"where": "system", "look": fault.id} for fault in faults().values() if fault.look is not None and fault.look.by == "caller"),
    *({"where": "system", "told": word.id} for word in words().values() if word.by == "caller"),
    *({"where": "pad", "place": word} for word in (*SHOWN, *TROUBLES)),
    {"where": "control.siren"},
    *({"where": "c05", "state": state} for state in ("", "operated dual-till", "all operated")),
]


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: "-".join(entry.values()))
def test_what_a_caller_is_asked_is_no_word_of_the_trade(entry: dict[str, str]) -> None:
    asked = caller_words(JOB, entry)
    # What the premises call a place is theirs to choose.
    own = re.sub("|".join(re.escape(zone.text) for zone in JOB.zones.values() if zone.text), "", asked)
    own = own.replace(JOB.equipment["dual-till"].label or "dual-till", "")
    assert asked.endswith("?") and asked[0].isupper() and "{" not in asked
    assert not [word for word in JARGON if re.search(rf"\b{word}s?\b", own, re.IGNORECASE)], asked


def test_no_wording_is_left_over() -> None:
    callers = {fault.id for fault in faults().values() if fault.look is not None and fault.look.by == "caller"}
    assert set(table()["look"]) == callers
    assert set(table()["told"]) <= {word.id for word in words().values() if word.by == "caller"}


def test_every_check_of_a_caller_at_an_example_has_words() -> None:
    """From the parts themselves: whatever the model lets a caller do can be asked, of the place it is about."""
    seen = "format: 1\nreadings:\n - {where: c05, shows: active}\n - {where: z05, told: alarms, answer: yes}\n"
    seen += " - {where: control, at: mains, shows: no}\n"
    weighed, _ = Inquiry(appraise(JOB).job).weigh(read_observations(JOB, seen), ahead=False)
    checks = [check for part in weighed.rows.parts for check in part.predicted.checks if check.by == "caller"]
    assert len(checks) > 20
    for check in checks:
        assert caller_words(JOB, named(entry_of(check))).endswith("?"), check.words
