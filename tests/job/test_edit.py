"""Edits of the document's text: what changes, what stays, what is refused."""

from __future__ import annotations

from difflib import unified_diff
from pathlib import Path

import pytest

from loopwright.job.edit import AddItem, Edit, InTurn, RemoveField, RemoveItem, RenameItem, SetField, apply
from loopwright.job.read import read
from loopwright.values.error import JobError

SAMPLE = (Path(__file__).parent / "sample.yaml").read_text(encoding="utf-8")


def difference(before: str, after: str) -> list[str]:
    """Return the lines taken out and put in."""
    lines = unified_diff(before.splitlines(), after.splitlines(), n=0, lineterm="")
    return [line for line in lines if line[:2] not in ("--", "++", "@@")]


@pytest.mark.parametrize(
    ("edit", "lines"),
    [
        (SetField("cables/W01/length_m", "60"), ["-    length_m: 18", "+    length_m: 60"]),
        (SetField("cables/W03/slack_m", "2 ft"), ["+    slack_m: 2 ft"]),
        (SetField("premises/notes", "- key: under the #2 pot"), ['+  notes: "- key: under the #2 pot"']),
        (SetField("premises/address", "x"), ["-  address: |", "-    1 Example Lane", "-    Exampleton", "+  address: x"]),
        (SetField("joints/attic/room", "hall"), ["+  attic:", "+    room: hall"]),
        (SetField("circuits/c01/path/0/contacts/1", "x"), ["-        contacts: [tamper, alarm]", "+        contacts: [tamper, x]"]),
        (RemoveField("stage"), ["-stage: first-fix"]),
        (RemoveField("cables/W01/slack_m"), ["-    slack_m: 1"]),
        (RemoveItem("circuits/c03/path/0"), ["-      - cable: W02          # passes the loft box"]),
        (RemoveItem("circuits/c01/path/0/contacts/0"), ["-        contacts: [tamper, alarm]", "+        contacts: [alarm]"]),
        (RemoveItem("circuits/c01/path/0/contacts/1"), ["-        contacts: [tamper, alarm]", "+        contacts: [tamper]"]),
        (RemoveItem("joints/loft"), ["-joints:", "-  loft: {room: landing}", "+joints: {}"]),
        (RemoveItem("cables/W01/feeds/0"), ["-    feeds:", "-      - output: control.aux", "+    feeds: []"]),
        (AddItem("circuits/c02/path", None, {"cable": "W03"}), ["+      - cable: W03"]),
        (AddItem("joints", "attic", {"room": "hall"}), ["+  attic:", "+    room: hall"]),
        (AddItem("circuits/c03/path/0/contacts", None, "alarm"), ["+        contacts:", "+          - alarm"]),
        (
            RenameItem("cables/W02", "W22"),
            [
                "-  W02:",
                "+  W22:",
                "-      - cable: W02          # passes the loft box",
                "+      - cable: W22          # passes the loft box",
            ],
        ),
    ],
)  # fmt: skip
def test_an_edit_changes_its_own_lines_only(edit: Edit, lines: list[str]) -> None:
    edited = apply(SAMPLE, edit)
    assert difference(SAMPLE, edited.text) == lines
    assert apply(edited.text, edited.inverse).text == SAMPLE


def test_a_new_cable_is_written_in_full_and_read() -> None:
    new = {
        "sheet": "six-core",
        "start": "control",
        "end": "bell",
        "length_m": 3,
        "bus": True,
        "feeds": [{"output": "control.aux", "cores": 2}],
    }
    edited = apply(SAMPLE, AddItem("cables", "W9", new))
    assert difference(SAMPLE, edited.text) == [
        "+  W9:", "+    sheet: six-core", "+    start: control", "+    end: bell", "+    length_m: 3", "+    bus: true", "+    feeds:",
        "+      - output: control.aux", "+        cores: 2",
    ]  # fmt: skip
    assert read(edited.text).job.cables["W9"].feeds[0].cores == 2


@pytest.mark.parametrize(
    ("text", "edit", "after"),
    [
        ("a: 1", SetField("b", "2"), "a: 1\nb: 2"),
        ("a:\nb: 1\n", SetField("a", "2"), "a: 2\nb: 1\n"),
        ("a:   # why\nb: 1\n", SetField("a/x", "2"), "a:   # why\n  x: 2\nb: 1\n"),
        ("a: {}  # why\n", SetField("a/x/y", "2"), "a:  # why\n  x:\n    y: 2\n"),
        ("a: ~\n", AddItem("a", None, "x"), "a:\n  - x\n"),
        ("{}\n", SetField("a", "2"), "\na: 2\n"),
        ("{a: 1}\n", SetField("b", "x, y"), '{a: 1, b: "x, y"}\n'),
        ("{a: 1,}\n", SetField("b", "2"), "{a: 1, b: 2}\n"),
        ("{a: 1 # one, two\n}\n", SetField("b", "2"), "{a: 1, b: 2 # one, two\n}\n"),
        ("{a: , b: 1}\n", SetField("a", "2"), "{a: 2, b: 1}\n"),
        ("{a, b: 1}\n", SetField("a", "2"), "{a: 2, b: 1}\n"),
        ("{a: {b: }}\n", SetField("a/c", "2"), "{a: {b: , c: 2}}\n"),
        ("a: {b: ~}\n", SetField("a/b/c", "2"), "a: {b: {c: 2}}\n"),
        ("a:\n- x\n- y\n", AddItem("a", None, {"b": 1, "c": [2]}), "a:\n- x\n- y\n- b: 1\n  c:\n    - 2\n"),
        ("a:\n- x\n- y\n", RemoveItem("a/0"), "a:\n- y\n"),
        ("a:\n- x\n", RemoveItem("a/0"), "a: []\n"),
        ("a:\n# why\n- x\n", RemoveItem("a/0"), "a:\n# why\n []\n"),
        ("a:\n- b: 1 # why\n  c: 2\n", RemoveField("a/0/b"), "a:\n-  # why\n  c: 2\n"),
        ("a:\n- b: 1\n  c: 2\n", RemoveField("a/0/b"), "a:\n- c: 2\n"),
        ("a: |+\n  x\n\nb: 1\n", RemoveField("a"), "b: 1\n"),
        ("a:\n  b: |+\n    x\n\nc: 1\n", SetField("a/d", "2"), "a:\n  b: |+\n    x\n\n  d: 2\nc: 1\n"),
        ("a: |\n  x\n\nb: 1\n", SetField("a", "2"), "a: 2\n\nb: 1\n"),
        ("a: 1\r\nb: 2\r\n", SetField("c", "3"), "a: 1\r\nb: 2\r\nc: 3\r\n"),
        ("a: 1\nb: 2", RemoveField("b"), "a: 1\n"),
        ("{a: 1, # one\n b: 2} # end\n", RemoveField("a"), "{# one\n b: 2} # end\n"),
        ("{\n  a: 1,\n  b: 2,\n}\n", RemoveField("b"), "{\n  a: 1,\n}\n"),
        ("{a: 1, # one\n b: 2} # end\n", RemoveField("b"), "{a: 1 # one\n } # end\n"),
        ("\ufeffa: 1\nb: 2\n", SetField("a", "3"), "\ufeffa: 3\nb: 2\n"),
    ],
)
def test_every_way_of_writing_can_be_edited(text: str, edit: Edit, after: str) -> None:
    edited = apply(text, edit)
    assert edited.text == after
    assert apply(edited.text, edited.inverse).text == text


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (SetField("cables", "1"), "A collection stands here"),
        (SetField("title/x", "1"), "A single value stands here"),
        (SetField("circuits/c01/path/7/cable", "W01"), "A list takes entries without a key"),
        (SetField("title", "a\0b"), "U+0000"),
        (RemoveField("cables/W99"), "nothing here to take out"),
        (RemoveField(""), "nothing here to take out"),
        (AddItem("cables", "W01", {}), "already an entry called W01"),
        (AddItem("cables", None, "x"), "A list takes entries without a key"),
        (RenameItem("equipment/bell", "control"), "already an entry called control"),
        (RenameItem("equipment/bell", "the bell"), "letters, digits"),
        (RenameItem("cables/W01/length_m", "x"), "no entry here that has an id"),
        (RenameItem("cables/W99", "x"), "no entry here that has an id"),
        (RenameItem("sheets/equipment/pir-12/contacts/alarm", "nc"), "is not written and means alarm"),
        (RenameItem("sheets/equipment/pir-12/loads/supply", "feed"), "is not written and means supply"),
    ],
)
def test_an_edit_that_cannot_be_made_is_refused(edit: Edit, says: str) -> None:
    with pytest.raises(JobError, match=says.replace("+", r"\+")):
        apply(SAMPLE, edit)


@pytest.mark.parametrize("text", ["a: [b: 1]\n", "? a\n: b\n"])
def test_text_an_edit_cannot_follow_is_left_alone(text: str) -> None:
    with pytest.raises(JobError, match="braces|by hand|already|single"):
        apply(text, SetField("a/0/c" if "[" in text else "a/c", "1"))


@pytest.mark.parametrize(
    ("path", "new_id", "named"),
    [
        ("equipment/control", "panel", lambda job: job.circuits["c01"].input == "panel.1" and job.cables["W01"].start == "panel"),
        ("joints/loft", "attic", lambda job: (job.cables["W02"].end, job.cables["W03"].start) == ("attic", "attic")),
        ("storeys/ground/rooms/hall", "entry", lambda job: job.equipment["door"].room == "entry"),
        ("sheets/equipment/panel-8", "ex", lambda job: job.equipment["control"].sheet == "ex"),
        ("sheets/batteries/seven", "c7", lambda job: job.equipment["control"].battery.sheet == "c7"),
        ("sheets/equipment/panel-8/outputs/aux", "kit", lambda job: job.cables["W01"].feeds[0].output == "control.kit"),
        ("sheets/equipment/reed/contacts/alarm", "nc", lambda job: job.circuits["c01"].path[0].contacts == ("tamper", "nc")),
        ("sheets/equipment/bell/loads/supply", "hold-off", lambda job: job.cables["W06"].feeds[0].load == "hold-off"),
        ("circuits/c01", "front", lambda job: job.zones["z1"].circuit == "front"),
        ("areas/house", "home", lambda job: job.zones["z1"].areas == ("home",) and job.users["owner"].areas == {"home": "both"}),
        ("parties/centre", "arc", lambda job: job.signalling.centre == "arc"),
        ("programme/part_sets/0", "dusk", lambda job: job.zones["z1"].response == {"full": "entry", "dusk": "entry"}),
        ("zones/z1", "front", lambda job: "front" in job.zones),
    ],
)
def test_a_renamed_entry_is_renamed_wherever_it_is_named(path: str, new_id: str, named: object) -> None:
    edited = apply(SAMPLE, RenameItem(path, new_id))
    assert callable(named)
    assert named(read(edited.text).job)
    assert len(edited.text.splitlines()) == len(SAMPLE.splitlines())
    assert apply(edited.text, edited.inverse).text == SAMPLE


def test_the_tree_an_edit_leaves_is_read_as_the_text_is() -> None:
    """A reader that goes on from the tree finds the same job, and every place where it stands in the new text."""
    edited = apply(SAMPLE, SetField("cables/W06/length_m", "150 ft"))
    again, onward = read(edited.text), read(edited.text, tree=edited.tree)
    assert onward.job == again.job and onward.job.given == again.job.given
    assert {path: onward.places[path] for path in onward.places} == {path: again.places[path] for path in again.places}


def test_edits_in_turn_are_all_made_or_none_and_go_back_together() -> None:
    edits = (SetField("title", "Another"), AddItem("zones", "z9", {"text": "Loft"}), RenameItem("zones/z9", "z8"))
    made = apply(SAMPLE, InTurn(edits))
    one_by_one = SAMPLE
    for edit in edits:
        one_by_one = apply(one_by_one, edit).text
    assert made.text == one_by_one
    assert apply(made.text, made.inverse).text == SAMPLE
    with pytest.raises(JobError):
        apply(SAMPLE, InTurn((*edits, RemoveItem("zones/z7"))))
    assert apply(SAMPLE, InTurn(())).text == SAMPLE
