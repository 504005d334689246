"""Reading the job document: what is understood, what is refused, and with which words."""

from __future__ import annotations

from pathlib import Path
from time import process_time

import pytest

from loopwright import demo
from loopwright.job.document import Cable, YesNoUnknown
from loopwright.job.read import read
from loopwright.job.sheet import Band, Reads, Topology
from loopwright.job.tree import MOST_NODES
from loopwright.values.error import JobError, Problem

SAMPLE = (Path(__file__).parent / "sample.yaml").read_text(encoding="utf-8")
HEAD = "format: 1\ntitle: T\npremises: {name: P}\nregion: {country: NO, ruleset: custom}\n"


def problems(text: str | bytes) -> tuple[Problem, ...]:
    """Return the problems of a text that must have some."""
    with pytest.raises(JobError) as refused:
        read(text)
    return refused.value.problems


def altered(old: str, new: str) -> str:
    """Return the sample with one piece of text replaced."""
    assert old in SAMPLE
    return SAMPLE.replace(old, new, 1)


def test_the_sample_is_read_as_written() -> None:
    job = read(SAMPLE).job
    sheet = job.sheet_of("control")
    assert sheet.inputs is not None
    assert sheet.inputs.pull_up_ohm == 4700
    assert sheet.inputs.bands[Topology.DOUBLE][1] == Band(reads=Reads.REST, from_ohm=1600, to_ohm=3900)
    assert job.cables["W02"].length_m == pytest.approx(13.716)
    assert job.cables["W05"] == Cable(
        sheet="six-core", start="control", end="keypad", length_m=4.0, bus=True, feeds=job.cables["W05"].feeds
    )  # fmt: skip
    assert job.sheets.cables["six-core"].gauge.area_mm2 == 0.22
    assert job.premises.address == "1 Example Lane\nExampleton\n"
    assert job.equipment["control"].default_codes_changed is YesNoUnknown.NO
    assert job.programme.sounder_s == 900
    assert job.region.alarm_min == 15


def test_given_tells_what_stood_in_the_text() -> None:
    given = read(altered("stage: first-fix", "stage:")).job.given
    assert "cables/W01/slack_m" in given
    assert "circuits/c01/path/0/contacts" in given
    assert "cables/W02/slack_m" not in given
    assert "stage" not in given


@pytest.mark.parametrize(
    "text", [SAMPLE, "\ufeff" + SAMPLE, SAMPLE.replace("\n", "\r\n"), SAMPLE.replace("Example cottage", "Ørnens hytte 🦉")]
)
def test_places_are_where_the_text_stands(text: str) -> None:
    places = read(text).places
    place = places["cables/W02/length_m"]
    assert text[place.start : place.end] == "45 ft"
    assert text[place.key_start : place.key_end] == "length_m"
    assert text.splitlines()[place.line - 1][place.column - 1 :].startswith("45 ft")
    whole = places["cables/W01"]
    assert text[whole.start : whole.end].rstrip().endswith("control.aux")
    assert text[places["circuits/c03/path/0/cable"].end :].lstrip().startswith("# passes the loft box")
    assert places["circuits/c01/path/0/contacts/1"].key_start == -1


def test_bytes_are_read_like_text() -> None:
    assert read(SAMPLE.encode()).job == read(SAMPLE).job
    assert read(b"\xef\xbb\xbf" + SAMPLE.encode()).job == read(SAMPLE).job


def test_words_stay_the_words_that_were_written() -> None:
    job = read(HEAD + "equipment: {}\nstage: null\nparties: {a: {role: no, name: 12:30, phone: 0123, note: 1_000}}").job
    assert job.region.country == "NO"
    assert job.parties["a"].role == "no"
    assert job.parties["a"].name == "12:30"
    assert job.parties["a"].phone == "0123"
    assert job.parties["a"].note == "1_000"


@pytest.mark.parametrize(("word", "value"), [("yes", True), ("true", True), ("no", False), ("False", False)])
def test_yes_and_no_are_said_in_four_words(word: str, value: bool) -> None:
    assert read(altered("bus: true", f"bus: {word}")).job.cables["W05"].bus is value


@pytest.mark.parametrize(
    ("old", "new", "path", "says"),
    [
        ("length_m: 18", "lenght_m: 18", "cables/W01/lenght_m", "Did you mean length_m?"),
        ("length_m: 18", "length_m: 18 kg", "cables/W01/length_m", "'kg' is not a unit"),
        ("length_m: 18", 'length_m: "5,6 m"', "cables/W01/length_m", "write 5.6 m"),
        ("length_m: 6}", "length_m: 5,6}", "cables/W04/6", "5.6, not 5,6"),
        ("length_m: 18", "length_m: 6000", "cables/W01/length_m", "0 m to 5000 m"),
        ("length_m: 18", "length_m: -1", "cables/W01/length_m", "out of bounds"),
        ("length_m: 18", "length_m: .nan", "cables/W01/length_m", "not a number"),
        ("length_m: 18", "length_m: [18]", "cables/W01/length_m", "A list cannot stand"),
        ("length_m: 18", "length_m:", "cables/W01/length_m", "A value is needed here"),
        ("count: 8", "count: 7.5", "sheets/equipment/panel-8/inputs/count", "not a whole number"),
        ("gauge: 7/0.2", "gauge: 0.22", "sheets/cables/six-core/gauge", "may be mm² or AWG"),
        ("topology: double", "topology: dubble", "circuits/c01/topology", "none, single, double, triple, two-zones"),
        ("bus: true", "bus: maybe", "cables/W05/bus", "yes, no, true, false"),
        ("sheet: reed", "sheet: read", "equipment/door/sheet", "Did you mean reed?"),
        ("room: landing}", "room: landin}", "equipment/pir-landing/room", "Did you mean landing?"),
        ("sheet: seven", "sheet: eight", "equipment/control/battery/sheet", "no battery sheet called eight"),
        ("end: loft", "end: lofty", "cables/W02/end", "Did you mean loft?"),
        ("end: door", "end: control", "cables/W04/end", "starts and ends at control"),
        ("output: control.siren", "output: control.sirn", "cables/W06/feeds/0/output", "Did you mean siren?"),
        ("output: control.siren", "output: bell.siren", "cables/W06/feeds/0/output", "bell has no output"),
        ("output: control.siren", "output: siren", "cables/W06/feeds/0/output", "control.aux"),
        ("load: supply", "load: suply", "cables/W06/feeds/0/load", "Did you mean supply?"),
        ("input: control.2", "input: control.9", "circuits/c02/input", "control.1 to control.8"),
        ("input: control.2", "input: control.02", "circuits/c02/input", "control.1 to control.8"),
        ("input: control.2", "input: keypad.2", "circuits/c02/input", "has no inputs"),
        ("input: control.2", "input: contrl.2", "circuits/c02/input", "Did you mean control?"),
        ("contacts: [tamper, alarm]", "contacts: [tamper, alrm]", "circuits/c01/path/0/contacts/1", "Did you mean alarm?"),
        ("device: door", "device: bell", "circuits/c01/path/0/contacts/0", "bell has no contact"),
        ("device: pir-lounge", "device: bell", "circuits/c02/path/0/contacts", "meant when contacts are not written"),
        ("number: 2", "number: 1", "zones/z2/number", "stands on line"),
        ("night: instant", "nite: instant", "zones/z2/response/nite", "Did you mean night?"),
        ("part_sets: [night]", "part_sets: [night, full]", "programme/part_sets/1", "cannot be called full"),
        ("part_sets: [night]", "part_sets: [night, night]", "programme/part_sets", "one name"),
        ("{house: both}", "{hose: both}", "users/owner/areas/hose", "Did you mean house?"),
        ("{house: both}", "{house: sometimes}", "users/owner/areas/house", "set, unset, both, none"),
        ("centre: centre", "centre: center", "signalling/centre", "Did you mean centre?"),
        ("  abort_s: 30", "  abort_s: 30\n  abort_s: 31", "programme/abort_s", "on line 210 and on line 211"),
        ("  W01:", "  W 01:", "cables/W 01", "letters, digits, - and _"),
        ("  loft: {room: landing}", "  loft: {room: landing}\n  door: {}", "joints/door", "A piece of equipment has this name too"),
        ("{sheet: keypad,", "{sheet: keypad, inside: keypad.aux,", "equipment/keypad/inside", "would feed itself"),
        ("landing: {name: Landing}", "hall: {name: Landing}", "storeys/first/rooms/hall", "in another storey too"),
        ("title: Example cottage", f"title: {'x' * 201}", "title", "at most 200 characters"),
    ],
)
def test_a_slip_is_refused_with_its_place_and_what_would_be_right(old: str, new: str, path: str, says: str) -> None:
    found = [problem for problem in problems(altered(old, new)) if problem.path == path]
    assert any(says in str(problem) for problem in found)
    assert all(problem.line and problem.column for problem in found)


def test_all_problems_come_at_once_in_the_order_of_the_file() -> None:
    text = (
        altered("title: Example cottage", "titel: Example cottage")
        .replace("length_m: 18", "length_m: 18 kg")
        .replace("sheet: reed", "sheet: x")
    )
    found = problems(text)
    assert [problem.path for problem in found] == ["", "titel", "equipment/door/sheet", "cables/W01/length_m"]
    assert "The key title is missing" in found[0].message
    assert [problem.line for problem in found] == sorted(problem.line for problem in found)


def test_a_missing_sheet_does_not_bring_more_problems_with_it() -> None:
    assert [problem.path for problem in problems(altered("sheet: panel-8", "sheet: panel-9"))] == ["equipment/control/sheet"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"\xff\xfe" * 5_000_000, "larger than 2 MB"),
        ("x: y\n" * 2_000_000, "larger than 2 MB"),
        ("ø" * 1_100_000, "larger than 2 MB"),
        ("[" * 1_999_999, "not YAML"),
        ("{a: " * 499_999, "More than 64 levels"),
        ("- " * 900_000, "More than 64 levels"),
        ("- a\n" * 499_000, f"More than {MOST_NODES} values"),
        ("a: &a [x, x]\nb: &b [*a, *a]\n", "anchors and aliases"),
        ("a: *x\n", "anchors and aliases"),
        ("a: !!python/object:os.system x\n", "tags"),
        ("!x\na: 1\n", "tags"),
        (b"title: caf\xe9\n", "not UTF-8"),
        ("title: a\0b\n", "U+0000"),
        ("title: \ud800\n", "U+D800"),
        ('title: "a\\0b"\n', "U+0000"),
        ('title: "\\ud800"\n', "not YAML"),
        ("", "empty"),
        ("# nothing\n", "empty"),
        ("~\n", "empty"),
        ("- a\n", "not a mapping"),
        ("title\n", "not a mapping"),
        ("a: 1\n---\nb: 1\n", "More than one document"),
        ('a: "x\n', "not YAML"),
        ("a:\n\tb: 1\n", "not YAML"),
        ("format: 2\nfoo: 1\n", "older than the document"),
        ("format: 2.0\n", "older than the document"),
        ("format: 0\n", "must be upgraded"),
        (f"format: {'9' * 50}\n", "older than the document"),
    ],
)
def test_what_cannot_be_a_document_is_refused_in_one_line_and_in_no_time(text: str | bytes, says: str) -> None:
    began = process_time()
    found = problems(text)
    assert process_time() - began < 3
    assert len(found) == 1
    assert says in str(found[0])


def test_merge_keys_are_refused_but_signs_in_quotes_are_text() -> None:
    assert "merge keys" in str(problems(HEAD + "<<: {stage: design}\n")[0])
    assert read(altered("name: A. Person", "name: '&a *b <<: !!x'")).job.parties["owner"].name == "&a *b <<: !!x"


def test_a_crowd_of_problems_is_cut_short() -> None:
    found = problems("".join(f"key{number}: 1\n" for number in range(40_000)))
    assert len(found) == 501
    assert "more problems" in found[-1].message


def test_an_empty_entry_is_one_with_its_defaults() -> None:
    assert read(altered("loft: {room: landing}", "loft:")).job.joints["loft"].room is None


def test_a_document_of_only_what_is_needed_is_enough() -> None:
    job = read(HEAD).job
    assert job.equipment == {}
    assert job.region.mains_v == 230


@pytest.mark.parametrize("written", ["2024", "2024-06", "2024-02-29"])
def test_a_date_is_taken_as_far_as_it_is_known(written: str) -> None:
    battery = read(altered("fitted_on: 2024-03-01", f"fitted_on: {written}")).job.equipment["control"].battery
    assert battery is not None and battery.fitted_on == written


@pytest.mark.parametrize("written", ["spring", "24-06-14", "2024-13", "2023-02-29", "14.6.2024", "2024-06-14 09:40"])
def test_what_is_no_date_is_refused_with_how_one_is_written(written: str) -> None:
    (problem,) = problems(altered("fitted_on: 2024-03-01", f'fitted_on: "{written}"'))
    assert (problem.path, problem.accepted) == ("equipment/control/battery/fitted_on", "2024, 2024-06 or 2024-06-14")


def test_an_observation_has_its_day() -> None:
    assert read(altered("at: 2024-03-01 10:15", "at: 2024-03-01T10:15")).job.observations[0].at == "2024-03-01T10:15"
    (problem,) = problems(altered("at: 2024-03-01 10:15", "at: 2024-03"))
    assert problem.path == "observations/0/at"


@pytest.mark.parametrize(("said", "accepted"), [("sounds: {intruder-ful: silent}", "intruder-full"), ("prevents: {opened: user}", "open")])
def test_a_choice_for_something_there_is_not_is_refused_and_not_left_aside(said: str, accepted: str) -> None:
    begins = "programme: {part_sets: [stay],"
    text = demo.text("dwelling")
    assert begins in text
    with pytest.raises(JobError, match=f"is not a word that can stand here. Accepted: .*{accepted}"):
        read(text.replace(begins, f"{begins} {said},"))
