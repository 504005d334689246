"""What the network has no element for: what is typical of a cause puts it among the first three, and questions get an answer.

The stories are written from the trade's list of symptoms, not from the catalogue's figures.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import pytest

import loopwright.demo
from loopwright.explain.catalogue import WHOLE, faults, of_group
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.circuit.part import circuit_part
from loopwright.explain.explain import Inquiry
from loopwright.explain.explanation import Explanation
from loopwright.explain.observation import read_observations
from loopwright.explain.telling import entry_of
from loopwright.explain.weigh.posterior import prior
from loopwright.explain.whole.part import system_part
from loopwright.explain.whole.scope import Scope
from loopwright.explain.whole.word import words
from loopwright.job.read import read
from loopwright.netlist.loop import ActKind

JOB = read(loopwright.demo.text("business")).job
INQUIRY = Inquiry(JOB)
DETECTORS, DOOR = "z10", "z04"

# Fault: where, then what is told: a word alone is answered yes, "word:answer" otherwise; words of the keypad are shown.
TYPICAL = {
    "E01": (DETECTORS, ["alarms", "hours:same night hour", "heating"]),
    "E02": (DETECTORS, ["alarms", "hours:drifting hour", "sun"]),
    "E03": (DETECTORS, ["alarms", "wind", "loose:no"]),
    "E04": (DETECTORS, ["alarms", "pet"]),
    "E05": (DETECTORS, ["alarms", "warm-nights", "hours:night"]),
    "E06": (DETECTORS, ["alarms", "droppings", "hours:night"]),
    "E07": (DETECTORS, ["alarms", "decoration"]),
    "E08": (DETECTORS, ["alarms", "plant", "hours:same day hour"]),
    "E09": (DETECTORS, ["alarms", "next-room"]),
    "E10": (DETECTORS, ["alarms", "noise", "hours:day"]),
    "E11": (DETECTORS, ["alarms", "traffic", "loose:no"]),
    "E12": (DOOR, ["alarms", "wind", "loose"]),
    "E13": (DETECTORS, ["missed", "heat"]),
    "E14": (DETECTORS, ["alarms", "loose"]),
    "E15": (DETECTORS, ["alarms", "somebody"]),
    "E16": (DETECTORS, ["alarms", "cold", "heating:no"]),
    "U01": ("", ["entry", "wrong-code", "cancelled"]),
    "U02": ("", ["exit", "cancelled", "late:no"]),
    "U03": ("", ["wrong-code", "entry"]),
    "U04": ("", ["police", "button"]),
    "U05": ("", ["path", "saving"]),
    "U06": ("", ["unreachable"]),
    "G01": (DETECTORS, ["entry", "alarms", "late:no", "off-route:no"]),
    "G02": ("", ["entry", "off-route"]),
    "G03": (DETECTORS, ["silent"]),
    "G04": (DETECTORS, ["quiet", "alarms"]),
    "G05": ("", ["exit", "late"]),
    "G06": ("", ["entry", "late"]),
    "G07": ("", ["wrong-user"]),
    "G08": ("control", ["codes"]),
    "G09": (DETECTORS, ["silent", "service"]),
    "G10": (DETECTORS, ["silent"]),
    "G11": ("", ["open-set"]),
    "G12": ("", ["in-bed"]),
    "G13": ("", ["confirm-wrong"]),
    "G14": ("", ["runs-long"]),
    "G15": (DOOR, ["chimes"]),
    "G16": (DOOR, ["alarms", "by-day", "hours:day"]),
    "G17": ("", ["set-itself"]),
    "G18": ("", ["police", "button:no"]),
    "G19": (DETECTORS, ["unsent", "silent:no"]),
    "G20": ("", ["wont-set", "after-tamper"]),
    "G21": (DETECTORS, ["wrong-room"]),
    "G22": ("", ["refused"]),
    "G23": ("", ["all-wrong"]),
    "G24": ("", ["exit", "door-moved"]),
    "C01": ("", ["line", "no-line"]),
    "C02": ("", ["phone-in-use"]),
    "C03": ("", ["line", "on-a-date"]),
    "C04": ("", ["retries", "net-changed"]),
    "C05": ("", ["path", "nothing-arrives", "net-changed", "retries:no"]),
    "C06": ("", ["path", "net-changed"]),
    "C07": ("", ["path", "nothing-arrives", "report", "net-changed"]),
    "C08": ("", ["nothing-arrives", "before:never yet", "report"]),
    "C09": ("", ["elsewhere"]),
    "C10": ("", ["path", "retries", "before:never yet", "report"]),
    "C11": ("", ["path", "clock", "report"]),
    "C12": ("", ["path", "comes-and-goes"]),
    "C13": ("", ["path", "on-a-date", "comes-and-goes:no"]),
    "C14": ("", ["path", "many-sites"]),
    "C15": ("", ["odd-event"]),
    "C16": ("", ["part-arrives"]),
    "C17": ("", ["not-acted"]),
    "C18": ("", ["path", "mains-off"]),
    "C19": ("", ["elsewhere", "before:never yet", "nothing-arrives:no"]),
    "C20": ("", ["path", "comes-and-goes", "unlike-ends"]),
    "C21": ("", ["no-test"]),
    "R01": ("", ["lost", "far"]),
    "R02": ("", ["low"]),
    "R03": ("", ["interference", "others-too"]),
    "R04": ("", ["lost", "returns", "far:no", "on-metal:no", "altered:no"]),
    "R05": ("", ["lid", "cell-changed"]),
    "R06": ("", ["never-heard", "before:never yet"]),
    "R07": ("", ["stays-open", "before:never yet"]),
    "R08": ("", ["lost", "on-metal"]),
    "R09": ("", ["lost", "others-too", "interference:no"]),
    "R10": ("", ["stays-open"]),
    "R11": ("", ["lost", "altered"]),
    "R12": ("", ["twice"]),
    "R13": ("", ["low", "winter"]),
    "T01": ("control", ["clock"]),
    "T02": ("", ["hour-off"]),
    "T03": ("", ["drift"]),
    "T04": ("", ["drift", "net-changed"]),
}


def entry(where: str, told: str) -> str:
    name, _, answer = told.partition(":")
    place = where or "system"
    if words()[name].shows:
        return f"{{where: {place}, at: {name}, shows: {answer or 'yes'}}}"
    return f"{{where: {place}, told: {name}, answer: {answer or 'yes'}}}"


@cache
def explained(*entries: str) -> Explanation:
    observed = read_observations(JOB, "readings:\n" + "".join(f"  - {each}\n" for each in entries))
    found = INQUIRY.explain(observed)
    assert not found.left_out
    return found


def told(where: str, *heard: str) -> Explanation:
    return explained(*(entry(where, each) for each in heard))


def ranked(found: Explanation) -> list[str]:
    """Return the faults of the answers in order, each once: the same fault at two places is one."""
    return list(dict.fromkeys(cause.fault for answer in found.answers for cause in answer.causes[:1]))


def named(found: Explanation) -> list[set[str]]:
    return [{cause.fault for cause in answer.causes} for answer in found.answers]


def test_every_row_of_the_whole_has_its_story() -> None:
    assert set(TYPICAL) == {fault.id for group in WHOLE for fault in of_group(group)}


@pytest.mark.parametrize("fault", TYPICAL)
def test_what_is_typical_of_a_cause_puts_it_among_the_first_three(fault: str) -> None:
    found = told(TYPICAL[fault][0], *TYPICAL[fault][1])
    first: list[str] = []
    for each in named(found):
        first += [] if each <= set(first) else sorted(each)
        if fault in first or len(first) >= 3:
            break
    assert fault in first, (first, [(round(a.probability, 3), a.causes[0].key) for a in found.answers[:6]])
    assert found.nothing + found.none_of_these < 0.5


QUESTIONS = {
    13: ("control", ["sounds", "outage"], {"P08", "P09", "P11", "P12"}),
    14: ("", ["line", "no-line"], {"C01"}),
    15: ("control", ["clock", "outage"], {"T01", "P12", "P08"}),
    17: (DETECTORS, ["alarms", "hours:same night hour"], {"E01", "E08"}),
    18: ("z21", ["alarms", "hours:any time"], {"D07", "D38"}),
    19: (DETECTORS, ["quiet"], {"G04"}),
    20: ("", ["entry"], {"G02", "G06", "U01"}),
    21: ("", ["lost", "altered"], {"R11"}),
    22: ("", ["nothing-arrives"], {"C03", "C05", "C06", "C09"}),
}
"""Questions of the trade that hurt, by their number on its list: what is told, and what must be among the first three faults."""


@pytest.mark.parametrize("number", QUESTIONS)
def test_a_question_gets_a_ranked_answer_and_a_next_check(number: int) -> None:
    where, heard, wanted = QUESTIONS[number]
    found = told(where, *heard)
    assert set(ranked(found)[:3]) & wanted and found.answers[0].causes[0].fault in wanted, ranked(found)[:5]
    assert found.next_checks or found.stop


def test_a_keypad_that_is_lit_and_dead_has_a_ranked_answer() -> None:
    found = explained("{where: keypad-press, shows: yes}")
    assert {"B01", "B06"} <= set(ranked(found)[:3])


@pytest.mark.parametrize(
    ("word", "first"),
    [("earth", {"D31", "P24"}), ("clock", {"T01", "P12"}), ("path", {"C05", "C06", "U05"}), ("codes", {"G08"}), ("service", {"G09"})],
)
def test_a_trouble_of_the_whole_has_a_part_to_weigh(word: str, first: set[str]) -> None:
    found = told("control", word)
    assert found.answers[0].causes[0].fault in first
    assert found.nothing < 0.2, "all of the whole is weighed, and a keypad may be misread"


def test_a_detector_that_truly_sees_something_is_weighed_beside_its_wiring() -> None:
    active = explained("{where: c10, shows: active}")
    assert any(cause.fault.startswith("E") for answer in active.answers for cause in answer.causes)
    at_rest = explained("{where: c10, shows: rest}")
    assert active.looked_at == at_rest.looked_at, "what is looked into follows from what was asked"
    # It comes and goes, so one look at a keypad at rest does not rule it out, while a steady fault of the wiring is.
    mixed = told(DETECTORS, "alarms", "heating")
    after = explained(entry(DETECTORS, "alarms"), entry(DETECTORS, "heating"), "{where: c10, shows: rest}")
    assert ranked(mixed)[0] == ranked(after)[0] == "E01"


def test_what_a_detector_sees_reads_as_with_it_operated() -> None:
    place = told(DETECTORS, "alarms", "pet").answers[0].causes[0].place
    part = circuit_part(JOB, "c10")
    column = {check: number for number, check in enumerate(part.predicted.checks)}
    for kind in (CheckKind.OHM, CheckKind.VOLTS):
        rest = column[Check(kind=kind, where="c10")]
        operated = column[Check(kind=kind, where="c10", act=ActKind.ACTIVATED, device=place)]
        assert part.predicted.mean[part.operated[place], rest] == pytest.approx(part.predicted.mean[0, operated])
        assert part.predicted.mean[0, rest] != pytest.approx(part.predicted.mean[0, operated])


def test_every_word_is_asked_of_somebody_who_can_answer() -> None:
    assert {word.by for word in words().values()} <= {"caller", "eyes"}
    for word in words().values():
        assert len(word.unmoved) == len(word.outcomes)
        assert word.unmoved.sum() == pytest.approx(1.0)
        assert word.at in ("", "zone", "radio", "history")


def test_only_what_was_spoken_of_comes_in() -> None:
    assert told("control", "clock").looked_at == ("system",)
    assert "system" not in explained("{where: control, at: battery, shows: yes}").looked_at


def test_every_word_is_spoken_of_and_its_entry_reads_back() -> None:
    spoken = {word for fault in faults().values() for word in fault.says} | {"codes", "service", "memory", "report", "path", "clock"}
    assert spoken == {name for name, word in words().items() if word.at != "history"}
    scope = Scope(faults=tuple(TYPICAL), asks=tuple(words()), circuits=("c10",), zones=(DETECTORS,), premises=True)
    for check in system_part(JOB, scope, ()).part.predicted.checks:
        made = entry_of(check)
        for key in ("answer", "shows"):
            if key in made:
                made[key] = check.outcomes[0]
        text = "{" + ", ".join(f"{key}: {value}" for key, value in made.items()) + "}"
        seen, *_ = read_observations(JOB, f"readings:\n  - {text}\n").seen
        assert seen.check == check


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{where: z10, told: alarm, answer: yes}", "Did you mean alarms"),
        ("{where: z10, told: alarms, answer: perhaps}", "Accepted: yes, no"),
        ("{where: z99, told: alarms, answer: yes}", "is no zone of this job"),
        ("{where: z10, told: hours, answer: 99 red balloons}", "no time in that"),
        ("{where: z10, told: alarms}", "Accepted: yes, no"),
    ],
)
def test_what_is_told_badly_says_what_would_be_right(text: str, says: str) -> None:
    observed = read_observations(JOB, f"readings:\n  - {text}\n")
    assert not observed.seen
    assert says in str(observed.problems[0])


def priors(*entries: str) -> dict[str, float]:
    """Return the prior of each hypothesis by its key."""
    weighed, left_out = INQUIRY.weigh(read_observations(JOB, "readings:\n" + "".join(f"  - {each}\n" for each in entries)), ahead=False)
    assert not left_out
    before, out = prior(weighed.rows), dict[str, float]()
    for owner, chance in zip(weighed.rows.owner.tolist(), before.tolist(), strict=True):
        key = weighed.rows.hypotheses[owner].key if owner >= 0 else ""
        out[key] = out.get(key, 0.0) + chance
    return out


ASKED = {
    "a state": [f"{{where: c10, shows: {word}}}" for word in ("rest", "active", "tamper", "fault")],
    "ohms": [f"{{where: c10, reading: {text}}}" for text in ("2.70 kΩ", "OL", "3.1 Ω")],
    "a word of a zone": [entry(DETECTORS, f"alarms:{answer}") for answer in ("yes", "no")],
    "its programming": [entry(DETECTORS, f"silent:{answer}") for answer in ("yes", "no")],
    "a word of the premises": [entry("", f"entry:{answer}") for answer in ("yes", "no")],
    "a look at a detector": [f"{{where: system, look: E01, at: mask-press, answer: {answer}}}" for answer in ("yes", "no")],
}


@pytest.mark.parametrize("check", ASKED)
def test_no_answer_moves_a_prior(check: str) -> None:
    first, *others = (priors(each) for each in ASKED[check])
    for other in others:
        assert other == pytest.approx(first, rel=1e-12)


@pytest.mark.parametrize(
    "visit",
    [
        ["{where: c10, shows: rest}", entry(DETECTORS, "alarms"), entry(DETECTORS, "heating:no"), ASKED["a look at a detector"][0]],
        [ASKED["a look at a detector"][1], "{where: c10, reading: OL}", entry(DETECTORS, "hours:night")],
        ["{where: c28, shows: tamper}", entry("c28", "alarms:no"), "{where: c28, reading: 2.70 kΩ}"],
        [entry(DETECTORS, "silent"), entry(DETECTORS, "alarms"), "{where: c10, shows: active}", entry(DETECTORS, "wrong-room")],
        [entry("", "path"), entry("", "net-changed"), entry("control", "clock:no"), entry("", "entry"), entry("system", "alarms")],
    ],
)
def test_a_visit_that_grows_where_it_is_moves_no_prior(visit: list[str]) -> None:
    every = [priors(*visit[:count]) for count in range(1, len(visit) + 1)]
    for some in every[1:]:
        assert some == pytest.approx(every[0], rel=1e-12)


def test_more_is_looked_into_by_steps_and_all_of_it_at_once() -> None:
    silent = entry(DETECTORS, "silent")
    steps = [priors("{where: c10, shows: rest}"), priors(silent), priors(silent, entry("", "entry"))]
    for smaller, larger in pairwise(steps):
        assert set(smaller) < set(larger)
    assert {key.partition("@")[0] for key in steps[-1]} > set(TYPICAL) - {"E12", "E13", "E15"}


def test_two_faults_of_the_whole_are_weighed_where_they_are_of_different_groups() -> None:
    found = told("", "clock", "outage", "lost", "altered", "hour-off:no", "path:no")
    assert found.two_faults > max(found.none_of_these, found.answers[0].probability)
    assert {cause.fault for cause in found.pairs[0][1:]} & {"T01", "P08", "P11", "P12"}
    assert {cause.fault for cause in found.pairs[0][1:]} & {"R11"}
