"""Lists taken into a document: what columns are taken for, what becomes of rows, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopwright import demo
from loopwright.job.cells import MOST_COLUMNS, CellsError, Grid, delimited, paste
from loopwright.job.columns import propose
from loopwright.job.edit import AddItem, SetField, apply
from loopwright.job.intake import Intake
from loopwright.job.list_plan import LISTS, ListKind, folded, plan_for
from loopwright.job.listing import rows_out, take_in
from loopwright.job.read import read
from loopwright.job.together import SetList, apply_together
from loopwright.values.error import JobError

SAMPLE = (Path(__file__).parent / "sample.yaml").read_text(encoding="utf-8")
BUSINESS = demo.text("business")


def taken(text: str, kind: ListKind, table: str, **options: dict[str, str]) -> Intake:
    """Return what a table does to a document; cells stand between bars."""
    rows = tuple(tuple(cell.strip() for cell in line.split("|")) for line in table.strip().splitlines())
    return take_in(text, kind, Grid(rows=rows), **options)


def refusals(intake: Intake) -> list[str]:
    """Return the problems as lines, having seen that nothing would be taken."""
    assert intake.edited is None
    return [str(problem) for problem in intake.problems]


@pytest.mark.parametrize("kind", ListKind)
def test_every_head_written_out_is_known_for_its_own_field(kind: ListKind) -> None:
    for text in (BUSINESS, demo.text("dwelling")):
        matching = propose(plan_for(kind, read(text).job), rows_out(text, kind))
        assert [match.field for match in matching.columns] == [column.field for column in plan_for(kind, read(text).job).columns]
        assert {match.confidence for match in matching.columns} == {1.0}


@pytest.mark.parametrize(
    ("kind", "head", "field", "unit"),
    [
        (ListKind.CABLES, "Cable No.", "id", ""),
        (ListKind.CABLES, "From", "start", ""),
        (ListKind.CABLES, "TO", "end", ""),
        (ListKind.CABLES, "Length (ft)", "length_m", "ft"),
        (ListKind.CABLES, "Run length [m]", "length_m", "m"),
        (ListKind.CABLES, "Length in feet", "length_m", "feet"),
        (ListKind.CABLES, "Metres", "length_m", "Metres"),
        (ListKind.CABLES, "ft", "length_m", "ft"),
        (ListKind.CABLES, "Gauge", "sheet", ""),
        (ListKind.CABLES, "Type", "sheet", ""),
        (ListKind.CABLES, "length_m", "length_m", "m"),
        (ListKind.DEVICES, "Device", "id", ""),
        (ListKind.DEVICES, "label", "label", ""),
        (ListKind.DEVICES, "Room", "room", ""),
        (ListKind.CIRCUITS, "Input", "input", ""),
        (ListKind.CIRCUITS, "Resistor (kΩ)", "resistors/end_ohm", "kΩ"),
        (ListKind.ZONES, "Zone", "number", ""),
        (ListKind.ZONES, "Number", "number", ""),
        (ListKind.ZONES, "Text", "text", ""),
        (ListKind.CABLES, "Colour", "", ""),
        (ListKind.CABLES, "x" * 5000, "", ""),
    ],
)
def test_heads_of_the_trade(kind: ListKind, head: str, field: str, unit: str) -> None:
    (match,) = propose(LISTS[kind], ((head,),)).columns
    assert (match.field, match.unit) == (field, unit)


def test_a_slip_of_the_pen_is_only_likely() -> None:
    (match,) = propose(LISTS[ListKind.CABLES], (("Run lenght",),)).columns
    assert (match.field, match.certainty) == ("length_m", "likely")


def test_what_is_told_goes_first_and_what_cannot_be_is_named() -> None:
    heads = ("Cable", "From", "To", "Drum", "Length")
    matching = propose(LISTS[ListKind.CABLES], (heads,), {"drum": "sheet", "E": "length_m (ft)", "Cable": ""})
    assert [(match.field, match.unit, match.certainty) for match in matching.columns] == [
        ("", "", "left out"),
        ("start", "", "sure"),
        ("end", "", "sure"),
        ("sheet", "", "as told"),
        ("length_m", "ft", "as told"),
    ]
    wrong = propose(LISTS[ListKind.CABLES], (heads,), {"Reel": "sheet", "From": "begin", "To": "end (ft)"}).problems
    assert wrong[0].startswith("There is no column called Reel; there are Cable, From")
    assert wrong[1].startswith("begin is not a field of runs")
    assert wrong[2] == "ft is not a unit of end."


def test_the_head_may_stand_below_a_title() -> None:
    intake = taken(BUSINESS, ListKind.CABLES, "Cable schedule | | \n | | \nNo | Length (m) | Ink\nW07 | 15 | red")
    assert intake.matching.row == 2
    assert "Left out: column C (Ink)." in intake.notes
    assert [str(change) for change in intake.changes] == ["W07 length 1.5 → 15"]


def test_new_runs_get_numbers_and_known_ones_are_changed() -> None:
    table = """Id | From | To | Type | Length (m)
    W07 | | | | 60
     | control | door-escape | six-core | 21
     | control | door-yard | six-core | 22"""
    intake = taken(BUSINESS, ListKind.CABLES, table)
    assert intake.sentence == "1 new run, 2 changed (W07 length 1.5 → 60; W23 length 39 → 22), 0 unchanged"
    assert intake.new == ("W63",)
    assert intake.edited is not None
    job = read(intake.edited.text).job
    assert (job.cables["W63"].end, job.cables["W63"].length_m, job.cables["W07"].length_m) == ("door-escape", 21, 60)
    assert apply(intake.edited.text, intake.edited.inverse).text == BUSINESS


def test_the_first_runs_of_a_job_are_w01_and_on() -> None:
    bare = "\n".join(line for line in SAMPLE.splitlines() if not line.startswith("cables:"))
    start = bare.index("\n  W")
    cut = bare[:start] + bare[bare.index("\n\n", start) :]
    without = cut.partition("\ncircuits:")[0] + "\n"
    places = list(read(without).job.equipment)
    sheet = next(iter(read(without).job.sheets.cables))
    table = f"From | To | Type | Length (m)\n{places[0]} | {places[1]} | {sheet} | 5\n{places[0]} | {places[2]} | {sheet} | 6"
    intake = taken(without, ListKind.CABLES, table)
    assert intake.new == ("W01", "W02"), refusals(intake)


def test_devices_and_rooms_may_be_called_by_their_names() -> None:
    table = "Label | Type | Room\nSide door | OQ-R | meeting room\nHatch | oq-r | lobby"
    intake = taken(BUSINESS, ListKind.DEVICES, table)
    assert intake.edited is not None, refusals(intake)
    job = read(intake.edited.text).job
    assert (job.equipment["side-door"].sheet, job.equipment["side-door"].room) == ("oq-r", "meeting")
    again = taken(intake.edited.text, ListKind.DEVICES, table)
    assert again.sentence == "0 new devices, 0 changed, 2 unchanged"


def test_zones_are_known_by_their_number_and_areas_are_a_list() -> None:
    intake = taken(BUSINESS, ListKind.ZONES, "Zone | Zone text | Areas\n4 | Shop entrance | Shop, workshop\n5 | Shop floor | shop")
    assert [str(change) for change in intake.changes] == ["z04 text Shop door → Shop entrance", "z04 areas shop → shop, workshop"]
    assert intake.edited is not None
    assert read(intake.edited.text).job.zones["z04"].areas == ("shop", "workshop")


def test_circuits_take_the_words_of_the_trade() -> None:
    table = "Circuit | Input | EOL | Resistor | Alarm resistor\nc40 | expander 16 | DEOL | 2k7 | 6k8\nc01 | | double | 2.7 kΩ | "
    intake = taken(BUSINESS, ListKind.CIRCUITS, table)
    assert intake.sentence == "1 new circuit, 0 changed, 1 unchanged", refusals(intake)
    assert intake.edited is not None
    circuit = read(intake.edited.text).job.circuits["c40"]
    assert (circuit.input, circuit.topology, circuit.resistors.end_ohm) == ("expander.16", "double", 2700)


def test_a_gauge_names_the_only_cable_of_its_size() -> None:
    job = read(BUSINESS).job
    sizes = {sheet.gauge.area_mm2 for sheet in job.sheets.cables.values()}
    alone = next(name for name, each in job.sheets.cables.items() if name == "four-half")
    table = f"Id | From | To | Gauge | Length (m)\nW90 | control | door-yard | {job.sheets.cables[alone].gauge.area_mm2} mm2 | 4"
    intake = taken(BUSINESS, ListKind.CABLES, table)
    assert intake.edited is not None, refusals(intake)
    assert len(sizes) < len(job.sheets.cables)
    assert read(intake.edited.text).job.cables["W90"].sheet == alone
    shared = job.sheets.cables["six-core"].gauge
    (problem,) = refusals(taken(BUSINESS, ListKind.CABLES, f"Id | From | To | Gauge | Length (m)\nW9 | control | door-yard | {shared} | 4"))
    assert "write which" in problem


def test_units_of_the_head_are_those_of_bare_numbers() -> None:
    intake = taken(BUSINESS, ListKind.CABLES, "Id | Length (ft)\nW07 | 100\nW11 | 5 m")
    assert intake.edited is not None
    job = read(intake.edited.text).job
    assert job.cables["W07"].length_m == pytest.approx(30.48)  # 100 international feet of 0.3048 m
    assert job.cables["W11"].length_m == 5


def test_where_people_read_feet_a_bare_number_needs_a_unit() -> None:
    (problem,) = refusals(taken(demo.text("dwelling"), ListKind.CABLES, "Id | Length\nK1 | 40"))
    assert problem == "Column B (Length): bare numbers, and the head names no unit. Write ft or m in it."


@pytest.mark.parametrize(
    ("lengths", "kept"),
    [
        (["60,5", "12"], [60.5, 12]),
        (["60.5", "12,5"], None),
        (["1,200", "3,400"], None),
        (["1,2,3", "4,5"], None),
    ],
)
def test_decimal_commas_only_where_the_whole_column_has_them(lengths: list[str], kept: list[float] | None) -> None:
    intake = taken(BUSINESS, ListKind.CABLES, f"Id | Length (m)\nW07 | {lengths[0]}\nW11 | {lengths[1]}")
    if kept is None:
        assert all("column B (Length (m))" in problem and "," in problem for problem in refusals(intake))
    else:
        assert intake.edited is not None
        assert any("decimal commas throughout" in note for note in intake.notes)
        cables = read(intake.edited.text).job.cables
        assert [cables["W07"].length_m, cables["W11"].length_m] == kept


def test_every_problem_is_told_by_row_and_column_and_nothing_is_taken() -> None:
    table = """Id | From | To | Type | Length (m)
    W07 | | | | 60
    W07 | | | | 61
    w11 | | | | 5
    W 9 | control | door-yard | six-core | 4
     | control | nowhere | six-core | 4
    W91 | control | door-yard | six-core | tall
    W92 | control | Back bedroom | | -4"""
    problems = refusals(taken(BUSINESS, ListKind.CABLES, table))
    assert [problem.partition(":")[0] for problem in problems] == [
        "Row 3, column A (Id)",
        "Row 4, column A (Id)",
        "Row 5, column A (Id)",
        "Row 6, column C (To)",
        "Row 7, column E (Length (m))",
        "Row 8",
        "Row 8, column C (To)",
        "Row 8, column E (Length (m))",
    ]
    assert "stands in row 2 too" in problems[0]
    assert "is written W11" in problems[1]
    assert "The key sheet is missing" in problems[5]


def test_two_rows_of_one_thing_and_a_thing_that_may_be_two() -> None:
    (problem,) = refusals(taken(BUSINESS, ListKind.ZONES, "Number | Text\n4 | a\n4 | b"))
    assert problem == "Row 3, column A (Number): z04 stands in row 2 too."
    twice = apply(BUSINESS, AddItem("cables", "W99", {"sheet": "six-core", "start": "control", "end": "door-yard", "length_m": 3})).text
    (problem,) = refusals(taken(twice, ListKind.CABLES, "From | To | Length (m)\ncontrol | door-yard | 4"))
    assert "this may be W23 or W99: write the id" in problem


def test_what_a_grid_says_of_its_cells_is_refused_only_where_it_matters() -> None:
    rows = (("Id", "Length (m)", "Colour"), ("W07", "", "red"))
    assert refusals(take_in(BUSINESS, ListKind.CABLES, Grid(rows=rows, faults={(1, 1): "odd."}))) == ["Row 2, column B (Length (m)): odd."]
    assert take_in(BUSINESS, ListKind.CABLES, Grid(rows=rows, faults={(1, 2): "odd."})).edited is not None


def test_markup_is_text_like_any_other_and_control_characters_are_none() -> None:
    intake = taken(BUSINESS, ListKind.ZONES, "Number | Text\n4 | <script>&amp; *x* {y}: #")
    assert intake.edited is not None
    assert read(intake.edited.text).job.zones["z04"].text == "<script>&amp; *x* {y}: #"
    (problem,) = refusals(take_in(BUSINESS, ListKind.ZONES, Grid(rows=(("Number", "Text"), ("4", "a\x1b[31m")))))
    assert problem == "Row 2, column B (Text): character U+001B cannot stand in a text."


def test_fill_is_for_new_entries_only() -> None:
    table = "Id | From | To | Length (m)\nW90 | control | door-yard | 4\nW60 | | | 11"
    intake = taken(BUSINESS, ListKind.CABLES, table, fill={"Type": "six-core"})
    assert intake.edited is not None, refusals(intake)
    job = read(intake.edited.text).job
    assert (job.cables["W90"].sheet, job.cables["W60"].sheet) == ("six-core", "four-half")
    assert "is not a field that can be filled" in refusals(taken(BUSINESS, ListKind.CABLES, table, fill={"zog": "1"}))[0]


@pytest.mark.parametrize("table", ["", " | ", "7 | 8\n9 | 10"])
def test_no_head_is_said(table: str) -> None:
    assert "No row of heads" in refusals(taken(BUSINESS, ListKind.CABLES, table or " "))[0]


def test_what_is_not_in_the_list_stays() -> None:
    intake = taken(BUSINESS, ListKind.CABLES, "Id | Length (m)\n | \nW07 | 60\n")
    assert intake.notes == ("46 runs of the job not in the list; what is not in a list stays.",)


def test_edits_together_are_the_edits_one_by_one() -> None:
    edits = (
        SetField("cables/W07/length_m", "60"),
        SetField("cables/W62/slack_m", "2"),
        SetField("cables/W62/bus", "yes"),
        AddItem("cables", "W98", {"sheet": "six-core", "start": "control", "end": "door-yard", "length_m": "3"}),
        AddItem("joints", "box-9", {"room": "shop"}),
        AddItem("joints", "box-8", {"room": "lobby"}),
        SetField("circuits/c11/end_at", "control-unit"),
    )
    one_by_one = BUSINESS
    for edit in edits:
        one_by_one = apply(one_by_one, edit).text
    together = apply_together(BUSINESS, edits)
    assert read(together.text).job == read(one_by_one).job
    assert apply(together.text, together.inverse).text == BUSINESS


@pytest.mark.parametrize("empty", ["cables:\n", "cables: {}  # none yet\n", "cables:  # none yet\n", "", "cables: {a: {x: 1},}\n"])
def test_entries_go_into_whatever_stands_there(empty: str) -> None:
    text = f"title: x\n{empty}note: y\n"
    edited = apply_together(text, [AddItem("cables", "b", {"x": "2"}), AddItem("cables", "c", {"x": "3"})])
    assert edited.text.count("none yet") == empty.count("none yet")
    assert apply(edited.text, edited.inverse).text == text


def test_a_list_of_lines_is_replaced_unless_a_comment_stands_in_it() -> None:
    text = "areas:\n  - a\n  - b  # last\nnote: y\n"
    assert apply_together(text, [SetList("areas", ("c", "d"))]).text == "areas:\n  [c, d]  # last\nnote: y\n"
    with pytest.raises(JobError, match="Comments stand inside"):
        apply_together(text.replace("- a", "- a # first"), [SetList("areas", ("c",))])


def test_together_all_or_none() -> None:
    with pytest.raises(JobError) as caught:
        apply_together(BUSINESS, [AddItem("cables", "W07", {}), SetField("cables", "x"), SetField("cables/W08/length_m", "4")])
    assert [problem.path for problem in caught.value.problems] == ["cables", "cables"]


def test_tables_as_people_save_them() -> None:
    assert delimited("sep=;\na;b\n1;2\n") == ((), ("a", "b"), ("1", "2"))
    assert delimited("a|b\n1|2\n") == (("a", "b"), ("1", "2"))
    assert delimited('a,b\n"1\n2",3\n') == (("a", "b"), ("1\n2", "3"))
    assert paste("a\tb\n") == (("a", "b"),)
    with pytest.raises(CellsError, match="not closed"):
        delimited('a,b\n"1,2\n3,4\n')
    with pytest.raises(CellsError, match=f"Row 2: 10000 columns; a list has at most {MOST_COLUMNS}"):
        delimited("a,b\n" + "," * 9999)


def test_heads_are_folded() -> None:
    assert folded("  Cable\nNo. ") == "cable no"


@pytest.mark.parametrize("kind", ListKind)
def test_lists_in_feet_and_fahrenheit_change_nothing_either(kind: ListKind) -> None:
    dwelling = demo.text("dwelling")
    first = next(iter(read(dwelling).job.cables))
    text = apply(dwelling, SetField(f"cables/{first}/temperature_c", "0")).text
    rows = rows_out(text, kind)
    intake = take_in(text, kind, Grid(rows=rows))
    assert (intake.new, intake.changes, intake.problems) == ((), (), ())
    assert intake.edited is not None
    assert intake.edited.text == text
    assert kind is not ListKind.CABLES or {"Length (ft)", "Temperature (°F)"} <= set(rows[0])
