"""Lists of users with their rights, of rooms on their storeys, and of what runs are fed from: round trips, words, and what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.job.cells import Grid, delimited, written
from loopwright.job.document import Job
from loopwright.job.edit import SetField, apply
from loopwright.job.intake import Intake
from loopwright.job.list_plan import ListKind
from loopwright.job.listing import rows_out, take_in
from loopwright.job.read import read
from loopwright.job.tree import NOT_TEXT
from loopwright.store.sheetfile import grid_of, xlsx_bytes
from often import often

BUSINESS = demo.text("business")
FEW = """format: 1
title: A job
premises: {name: A}
region: {country: GB, ruleset: en-grade-2}
areas:
  shop: {name: A}
  yard: {name: B}
  up: {name: C}
users:
  owner: {role: owner, areas: {shop: both, yard: set, up: none}}
  staff: {role: staff, areas: {shop: unset}}
"""
USERS, ROOMS, CABLES = ListKind.USERS, ListKind.ROOMS, ListKind.CABLES


def taken(kind: ListKind, table: str, text: str = BUSINESS, **options: dict[str, str]) -> Intake:
    rows = tuple(tuple(cell.strip() for cell in line.split("|")) for line in table.strip().splitlines())
    return take_in(text, kind, Grid(rows=rows), **options)


def job_of(intake: Intake) -> Job:
    assert not intake.problems and intake.edited is not None, intake.problems
    return read(intake.edited.text).job


@settings(max_examples=often(10))
@given(st.lists(st.text(min_size=1, max_size=24).filter(lambda text: text.strip() and not NOT_TEXT.search(text)), min_size=3, max_size=3))
def test_rights_read_back_whatever_the_areas_are_called(names: list[str]) -> None:
    text = FEW
    for area, name in zip(read(FEW).job.areas, names, strict=True):
        text = apply(text, SetField(f"areas/{area}/name", name)).text
    rows = rows_out(text, USERS)
    for grid in (grid_of(xlsx_bytes(rows, sheet="users", numbers=frozenset()), "x"), Grid(rows=delimited(written(rows)))):
        intake = take_in(text, USERS, grid)
        assert intake.edited is not None and intake.edited.text == text, intake.problems
        assert not any(note.startswith("Left out") for note in intake.notes), intake.notes
    emptied = text.replace(", areas: {shop: both, yard: set, up: none}", "", 1)
    assert emptied != text
    assert job_of(take_in(emptied, USERS, Grid(rows=rows))).users == read(text).job.users


def test_users_are_known_by_their_role_and_rights_take_the_words_people_write() -> None:
    intake = taken(
        USERS, "Role | Shop | Workshop | Offices | Lobby and stair\ncleaner | | set only | | \nnight guard | x | no | arm | disarm"
    )
    users = job_of(intake).users
    assert intake.new == ("night-guard",) and [change.id for change in intake.changes] == ["cleaner"]
    assert users["cleaner"].areas["workshop"] == "set" and users["cleaner"].areas["shop"] == "both", "an empty cell changes nothing"
    assert dict(users["night-guard"].areas) == {"shop": "both", "workshop": "none", "offices": "set", "lobby": "unset"}
    wrong = taken(USERS, "Role | Shop\ncleaner | sometimes")
    assert [str(problem) for problem in wrong.problems] == [
        "Row 2, column B (Shop): 'sometimes' is not a word that can stand here. Accepted: set, unset, both, none."
    ]


@pytest.mark.parametrize(
    "table",
    [
        "Role | Code\nowner | 4821\ncleaner | 77310",
        "Role | User PIN\nowner | as agreed",
        "Role | Number\nowner | 4821\ncleaner | 77310\nservice | see list",
        "owner | 0417\ncleaner | 5520",
        "Role | Shop\n4821 | both\n5520 | none",
    ],
)
def test_codes_are_refused_with_the_reason_and_nothing_of_them_is_told(table: str) -> None:
    for told in ({}, {"column B": ""}):
        intake = take_in(BUSINESS, USERS, Grid(rows=tuple(tuple(row.split(" | ")) for row in table.split("\n"))), told=told)
        assert intake.edited is None and len(intake.problems) == 1
        words = str(intake.problems[0])
        assert "looks like codes" in words and "vault" in words
        told_of = " ".join((words, intake.sentence, *intake.notes, *map(str, intake.changes), *intake.new))
        assert not any(code in told_of for code in ("4821", "77310", "0417", "5520"))


def test_numbers_that_are_no_codes_are_taken() -> None:
    assert not taken(USERS, "User no | Role | Telephone\nu1 | owner | 01632 960100\nu2 | cleaner | 01632 960101").problems
    assert not taken(ListKind.DEVICES, "Device | Type | Product code\ndual-till | pk-dual | 4821\ndual-shop | pk-dual | 5520").problems


def test_rooms_are_taken_with_storeys_that_are_there_and_new_ones() -> None:
    intake = taken(ROOMS, "Room | Floor\nGuillotine bay | Ground floor\nCellar | Basement\nBoiler room | basement\nShop | ground")
    job = job_of(intake)
    assert intake.new == ("guillotine-bay", "cellar", "boiler-room") and intake.unchanged == 1
    assert job.storeys["ground"].rooms["guillotine-bay"].name == "Guillotine bay"
    assert job.storeys["basement"].name == "Basement" and list(job.storeys["basement"].rooms) == ["cellar", "boiler-room"]
    assert "New storey: Basement." in intake.notes
    begun = "format: 1\ntitle: A job\npremises: {name: A}\nregion: {country: GB, ruleset: en-grade-2}\n"
    assert list(job_of(taken(ROOMS, "Room | Floor\nHall | Ground", begun)).storeys["ground"].rooms) == ["hall"]


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("Id | Storey\nlobby | First floor", "lobby lies on ground. A list moves no room to another storey"),
        ("Room\nNew room", "Row 2: the storey it lies on is missing."),
        ("Id | Name | Storey\nlanding | Landing | \noffice | | Attic", "Row 3, column C (Storey): office lies on first."),
    ],
)
def test_what_a_list_of_rooms_cannot_do_is_said(table: str, words: str) -> None:
    intake = taken(ROOMS, table)
    assert intake.edited is None and words in " ".join(map(str, intake.problems))


def test_every_list_taken_in_again_changes_nothing() -> None:
    for text in (BUSINESS, demo.text("dwelling")):
        for kind in (USERS, ROOMS, CABLES):
            intake = take_in(text, kind, Grid(rows=rows_out(text, kind)))
            assert intake.edited is not None and intake.edited.text == text and not intake.changes, kind


def test_a_run_says_what_it_is_fed_from() -> None:
    head, *rows = rows_out(BUSINESS, CABLES)
    at = head.index("Fed from")
    job = read(BUSINESS).job
    assert {row[0]: row[at] for row in rows} == {name: ", ".join(feed.output for feed in cable.feeds) for name, cable in job.cables.items()}
    bare = next(name for name, cable in job.cables.items() if not cable.feeds)
    fed = next(name for name, cable in job.cables.items() if len(cable.feeds) == 1)
    intake = taken(CABLES, f"Run | Fed from\n{fed} | control aux-2\n{bare} | control: aux-1")
    cables = job_of(intake).cables
    assert [feed.output for feed in cables[fed].feeds] == ["control.aux-2"] and cables[fed].feeds[0].cores == job.cables[fed].feeds[0].cores
    assert [feed.output for feed in cables[bare].feeds] == ["control.aux-1"]
    new = job_of(taken(CABLES, "Run | From | To | Type | Length (m) | Supply\nW90 | control | dual-till | six-core | 12 | control.aux-1"))
    assert [(feed.output, feed.load) for feed in new.cables["W90"].feeds] == [("control.aux-1", "supply")]


def test_outputs_that_are_none_and_pairs_that_do_not_match_are_told() -> None:
    job = read(BUSINESS).job
    fed = next(name for name, cable in job.cables.items() if len(cable.feeds) == 1)
    wrong = taken(CABLES, f"Run | Fed from\n{fed} | control.nothing")
    assert "column B (Fed from)" in str(wrong.problems[0]) and wrong.edited is None
    more = taken(CABLES, f"Run | Fed from\n{fed} | control.aux-1, control.aux-2")
    assert "carries 1 supply pair; name as many outputs" in str(more.problems[0])
