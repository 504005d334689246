"""A difference told: the sentences a person would say, for the edits people make."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

import loopwright.demo
from loopwright.job.difference import difference
from loopwright.job.edit import AddItem, Edit, RemoveField, RemoveItem, RenameItem, SetField, apply
from loopwright.job.read import read
from loopwright.job.sentence import sentences

TEXT = loopwright.demo.text("business")
NEW = {"sheet": "pk-pir", "label": "PIR 7", "room": "office"}
RUN = {"sheet": "six-core", "start": "pir-office", "end": "pir-7", "length_m": "7", "feeds": [{"output": "supply-2.aux-1"}]}
HOP = {"cable": "W80", "device": "pir-7"}


def told(*edits: Edit, text: str = TEXT) -> list[str]:
    """Return the sentences for edits of the bindery."""
    after = text
    for edit in edits:
        after = apply(after, edit).text
    return [each.words for each in sentences(difference(read(text).job, read(after).job))]


@pytest.mark.parametrize(
    ("edits", "words"),
    [
        ([SetField("cables/W12/length_m", "60")], ["Run W12 is 60 m long instead of 16 m."]),
        (
            [SetField("cables/W30/feeds/0/output", "supply-2.aux-1")],
            ["Run W30 feeds Lobby sounder from output aux-1 of Second supply instead of output sounders of Control unit."],
        ),
        (
            [AddItem("equipment", "pir-7", NEW), AddItem("cables", "W80", RUN), AddItem("circuits/c12/path", None, HOP)],
            [
                "PIR 7 added in Front office, data sheet pk-pir, on circuit c12.",
                "Run W80 added from Front office detector to PIR 7, 7 m of six-core.",
            ],
        ),
        ([RenameItem("equipment/control", "panel")], ["Piece of equipment control (Control unit) renamed panel."]),
        ([RenameItem("programme/part_sets/0", "evening")], ["Part set late renamed evening."]),
        (
            [RenameItem("cables/W12", "W99"), SetField("cables/W99/length_m", "60")],
            ["Run W12 renamed W99.", "Run W99 is 60 m long instead of 16 m."],
        ),
        ([SetField("equipment/pir-office/room", "landing")], ["Front office detector moved from Front office to Landing."]),
        ([SetField("cables/W12/slack_m", "2")], ["Run W12: slack at the ends: 2 m instead of the 0 m assumed."]),
        ([SetField("cables/W12/slack_m", "0")], ["Run W12: slack at the ends: written down now, 0 m as was assumed."]),
        ([RemoveField("cables/W02/slack_m")], ["Run W02: slack at the ends: 0 m as assumed, 1 m before."]),
        ([RemoveItem("zones/z05/areas/0")], ["Zone 5: areas: now without Shop."]),
        ([SetField("zones/z03/response/full", "chime")], ["Zone 3: does, full: ‘chime’ instead of ‘entry-route’."]),
        ([RemoveItem("zones/z12")], ["Zone 12 (Packing) taken out."]),
        ([SetField("region/standby_h", "30")], ["Standby asked for: 30 h."]),
        (
            [SetField("sheets/equipment/oq-e16/loads/supply/unset_a", "50 mA")],
            ["Data sheet oq-e16: supply input, supply, current, system unset: 50 mA instead of 36 mA."],
        ),
        (
            [SetField(f"cables/W{number}/sheet", "eight-core") for number in (10, 11, 12, 13)],
            ["Cable of 4 runs: eight-core instead of six-core (W10, W11, W12 and W13)."],
        ),
        (
            [AddItem("equipment", f"pir-{number}", {"sheet": "pk-pir", "label": f"PIR {number}"}) for number in range(7, 12)],
            ["5 pieces of equipment added: PIR 7, PIR 8, PIR 9, PIR 10 and PIR 11."],
        ),
    ],
)  # fmt: skip
def test_an_edit_is_told(edits: Sequence[Edit], words: list[str]) -> None:
    assert told(*edits) == words


def test_lengths_of_many_runs_are_one_sentence() -> None:
    (sentence,) = told(*(SetField(f"cables/W{number}/length_m", str(number + 40)) for number in range(10, 18)))
    assert sentence.startswith("Length of 8 runs: W10 50 m instead of 15 m, W11 51 m")
    assert sentence.endswith(" and 2 more.")


def test_values_that_are_shown_alike_are_told_apart() -> None:
    text = apply(TEXT, SetField("cables/W12/length_m", "12.341")).text
    assert told(SetField("cables/W12/length_m", "12.342"), text=text) == ["Run W12 is 12.342 m long instead of 12.341 m."]


def test_rooms_of_one_name_are_told_apart() -> None:
    text = apply(TEXT, SetField("storeys/ground/rooms/shop/name", "Lobby")).text
    text = apply(text, SetField("storeys/ground/rooms/lobby/name", "Lobby")).text
    assert told(SetField("equipment/door-front/room", "shop"), text=text) == ["Street door moved from Lobby (lobby) to Lobby (shop)."]


def test_comments_and_spelling_are_no_difference() -> None:
    assert told(text=TEXT) == []
    before, after = read(TEXT).job, read(f"# a remark\n{TEXT.replace('length_m: 16,', 'length_m: 1600 cm,')}").job
    assert not difference(before, after)


def test_a_row_that_took_the_place_of_another_is_no_renaming() -> None:
    after = apply(TEXT, RemoveItem("parties/insurer")).text
    after = apply(after, AddItem("parties", "locksmith", {"role": "locksmith", "name": "Orla Fennick"})).text
    words = [each.words for each in sentences(difference(read(TEXT).job, read(after).job))]
    assert words == ["Party locksmith added.", "Party insurer taken out."]
