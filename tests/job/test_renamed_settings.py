"""What a data sheet says of its settings follows the rows it names: in the text, and in the comparison of two jobs."""

from __future__ import annotations

import pytest

from loopwright.job.difference import difference
from loopwright.job.edit import RenameItem, apply
from loopwright.job.read import read

TEXT = """format: 1
title: Two areas
premises: {name: Two areas}
region: {country: GB, ruleset: custom}
sheets:
  equipment:
    unit:
      kind: control-unit
      maker: m
      model: m
      settings:
        hall-entry: {address: "a", default: 30 s, of: areas/hall/entry_s}
        where: {address: "b {zone}", default: "hall, yard", of: zones/*/areas, choices: {hall: H, yard: Y}, after: [hall-entry]}
        upstairs: {address: "c {zone}", default: ignored, of: zones/*/response/night}
        door: {address: "d", default: DOOR, of: zones/door/text}
        ana: {address: "e", default: on the lid, of: codes/user/ana}
        words: {address: "f {zone}", default: hall, of: zones/*/text}
equipment: {unit: {sheet: unit}}
areas: {hall: {name: Hall}, yard: {name: Yard}}
zones: {door: {number: 1, text: Door, areas: [hall], response: {full: final-exit, night: ignored}}}
users: {ana: {role: owner}}
programme: {part_sets: [night]}
"""


@pytest.mark.parametrize(
    ("path", "new", "lines"),
    [
        ("areas/hall", "foyer", ["of: areas/foyer/entry_s", "foyer, yard", "{foyer: H, yard: Y}", "default: hall, of: zones/*/text"]),
        ("zones/door", "front", ["of: zones/front/text"]),
        ("users/ana", "boss", ["of: codes/user/boss"]),
        ("programme/part_sets/0", "late", ["zones/*/response/late", "full: final-exit, late: ignored"]),
        ("sheets/equipment/unit/settings/hall-entry", "in", ["after: [in]", "in: {address"]),
    ],
)
def test_a_setting_follows_the_row_it_names(path: str, new: str, lines: list[str]) -> None:
    edited = apply(TEXT, RenameItem(path, new))
    assert all(line in edited.text for line in lines), edited.text
    assert apply(edited.text, edited.inverse).text == TEXT


@pytest.mark.parametrize(("path", "new"), [("areas/hall", "foyer"), ("zones/door", "front"), ("users/ana", "boss")])
def test_two_jobs_apart_by_a_name_differ_in_nothing_else(path: str, new: str) -> None:
    found = difference(read(TEXT).job, read(apply(TEXT, RenameItem(path, new)).text).job)
    assert [step.path for step in found.steps if step.act.value != "renamed"] == []
    assert found.names[path.partition("/")[0]] == {path.rpartition("/")[2]: new}
