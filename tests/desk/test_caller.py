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


def test_a_place_stands_before_what_is_asked_of_it() -> None:
    assert caller_words(JOB, {"where": "z03", "told": "missed"}) == "Stair foot: did it miss somebody who should have set it off?"
    assert caller_words(JOB, {"where": "system", "told": "missed"}) == "Did it miss somebody who should have set it off?"


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


OPENS = re.compile(
    r"\b(?:open|take|remove|unscrew|undo|lift|pull|disconnect|measure|touch|unplug|reach|climb|cut|join|press|tap)\b[^,.:?]*"
    r"\b(?:lid|cover|box|case|panel|control unit|battery|wires?|cable|lead|siren|fuse|transformer|ladder|button)\b",
    re.IGNORECASE,
)
FROM_OUTSIDE = re.compile(r"Press the cover of [^,.:?]* with your hand")
"""The one thing done to a cover: it is pressed shut from outside."""


def _asks_to_open(asked: str) -> bool:
    # What a caller is told to do stands before the question: an order begins its sentence.
    orders = [part for part in re.split(r"[.:] ", asked) if not part.endswith("?")]
    return any(OPENS.match(part) and not FROM_OUTSIDE.match(part) for part in orders)


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: "-".join(entry.values()))
def test_no_caller_is_asked_to_open_a_lid_or_touch_what_is_behind_it(entry: dict[str, str]) -> None:
    assert not _asks_to_open(caller_words(JOB, entry))


def test_what_is_looked_for_is_found() -> None:
    assert _asks_to_open("Open the lid of the detector: is it wet inside?") and _asks_to_open("Press the button: does it sound?")


def test_a_caller_walks_before_a_detector_and_opens_a_door() -> None:
    walked, opened = (
        caller_words(JOB, {"where": where, "state": f"operated {device}"})
        for where, device in (("c05", "dual-till"), ("c01", "door-front"))
    )
    assert walked.startswith("Walk through the room at ") and "pen " not in walked
    assert opened.startswith("Open the door or window at ")


def test_no_caller_is_asked_to_set_off_a_hold_up() -> None:
    """A fault of its circuit is known: whatever is offered next, it is nothing of that circuit."""
    from loopwright.desk.caller import is_of_hold_up

    assert is_of_hold_up(JOB, "z07") and is_of_hold_up(JOB, "circuits/c07") and is_of_hold_up(JOB, "button-till")
    assert not is_of_hold_up(JOB, "c05") and not is_of_hold_up(JOB, "")
