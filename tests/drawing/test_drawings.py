"""Drawings are well-formed, carry no style or script, and say in words what they show."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import pytest

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.drawing.battery_curve import battery_curve, curve_words
from loopwright.drawing.circuit_bands import chance_words, circuit_bands
from loopwright.drawing.meter_points import meter_points
from loopwright.drawing.paper import for_paper
from loopwright.drawing.pen import escaped
from loopwright.drawing.power_tree import power_tree, power_tree_sheets
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.power.forecast import label_of

ROOT = Path(__file__).resolve().parents[2]
SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = (
    "<script>alert(1)</script>",
    '" onload="x',
    '#import "x": *',
    "back\\slash & 'quote'",
    "κάμερα 寝室 \u202eabc",
    "n" * 200,
    "bell\x07 and \ud800 half",
)


@cache
def cottage() -> Appraisal:
    return appraise(read((ROOT / "tests" / "job" / "sample.yaml").read_text(encoding="utf-8")).job)


@cache
def business() -> Appraisal:
    return appraise(read((ROOT / "src" / "loopwright" / "demo" / "business.yaml").read_text(encoding="utf-8")).job)


def labelled(job: Job, words: str) -> Appraisal:
    """Return the appraisal of a job in which every piece of equipment is called the same."""
    return appraise(replace(job, title=words, equipment={name: replace(item, label=words) for name, item in job.equipment.items()}))


def drawn(appraisal: Appraisal) -> list[str]:
    first, supply = next(iter(appraisal.job.circuits)), appraisal.standby[0].supply
    both: tuple[Callable[..., str], ...] = (circuit_bands, meter_points)
    return [
        *(power_tree(appraisal, narrow=narrow) for narrow in (False, True)),
        *(draw(appraisal, first, narrow=narrow) for draw in both for narrow in (False, True)),
        *(battery_curve(appraisal, supply, narrow=narrow) for narrow in (False, True)),
        *power_tree_sheets(appraisal, rows_a_sheet=20),
    ]


def texts(svg: str) -> list[str]:
    """Return what is written in a drawing, titles and descriptions apart."""
    return [node.text or "" for node in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def check_svg(svg: str) -> None:
    root = ElementTree.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    # What a picture holds is hidden from a screen reader: links may not stand in one (WAI-ARIA 1.2, children presentational).
    assert root.get("role") == ("img" if root.find(f".//{SVG}a") is None else "group")
    assert root.get("viewBox")
    assert [child.tag for child in root[:2]] == [f"{SVG}title", f"{SVG}desc"]
    assert all(child.text for child in root[:2])
    known = {"title", "desc", "a", "text", "rect", "circle", "polyline", "polygon"}
    for node in root.iter():
        assert node is root or node.tag.removeprefix(SVG) in known
        assert not {name for name in node.attrib if name == "style" or name.startswith("on")}
        assert (node.get("href") or "#").startswith("#")


@pytest.mark.parametrize("appraisal", [cottage(), business()], ids=["cottage", "business"])
def test_drawings_are_well_formed_and_carry_no_style_or_script(appraisal: Appraisal) -> None:
    for svg in drawn(appraisal):
        check_svg(svg)
        plain = for_paper(svg)
        ElementTree.fromstring(plain)
        assert not re.search(r"currentColor|class=|href=|<a ", plain)


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_only_letters(name: str) -> None:
    appraisal = labelled(cottage().job, name)
    for svg in drawn(appraisal):
        check_svg(svg)
    tips = [node.text for node in ElementTree.fromstring(power_tree(appraisal)).iter(f"{SVG}title")]
    clean = name.replace("\x07", "").replace("\ud800", "\N{REPLACEMENT CHARACTER}")
    assert any((tip or "").startswith(clean) for tip in tips)


def test_escaping_leaves_out_what_xml_cannot_hold() -> None:
    for code in (*range(0x20), 0xD800, 0xDFFF, 0xFFFE, 0xFFFF):
        ElementTree.fromstring(f"<a b='{escaped(chr(code))}'>{escaped(chr(code))}</a>")


@pytest.mark.parametrize("narrow", [False, True])
def test_the_power_tree_leads_to_every_device_once_for_each_supply_input(narrow: bool) -> None:
    job = business().job
    root = ElementTree.fromstring(power_tree(business(), narrow=narrow))
    paths = [link.get("data-path") for link in root.iter(f"{SVG}a")]
    for name in job.equipment:
        sheet = job.sheet_of(name)
        rows = len(sheet.loads) + len(sheet.outputs) + (sheet.supply is not None)
        assert paths.count(f"equipment/{name}") == rows
    for name, cable in job.cables.items():
        assert paths.count(f"cables/{name}") == len(cable.feeds)


def test_the_power_tree_writes_every_device_and_its_state() -> None:
    written = texts(power_tree(business()))
    short = [f for f in business().findings if f.code == "volts-below-minimum"]
    assert short
    job = business().job
    for name in job.equipment:
        label = label_of(job, name)
        if job.sheet_of(name).loads or job.sheet_of(name).supply is not None:
            assert any(words.startswith(label) for words in written), name
        else:
            assert label not in written, name
    silent = sum(1 for name in job.equipment if not job.sheet_of(name).loads and job.sheet_of(name).supply is None)
    assert f"{silent} more devices take nothing from a supply" in written
    assert sum(words.endswith(" V short") for words in written) == len(short)
    assert "off" in texts(power_tree(business(), "unset/mains"))[-200:]


def test_a_device_nobody_feeds_is_said_to_be_not_fed() -> None:
    job = cottage().job
    cut = replace(job, cables={name: cable for name, cable in job.cables.items() if name != "W05"})
    svg = power_tree(appraise(cut))
    assert "not fed" in texts(svg)[10:]
    assert "1 not fed: keypad" in svg


def test_two_hundred_devices_keep_a_row_each() -> None:
    job = cottage().job
    more = {f"pir-{n}": job.equipment["pir-lounge"] for n in range(200)}
    runs = {f"R{n}": replace(job.cables["W01"], start=f"pir-{n - 1}" if n % 12 else "control", end=f"pir-{n}") for n in range(200)}
    appraisal = appraise(replace(job, equipment={**job.equipment, **more}, cables={**job.cables, **runs}))
    root = ElementTree.fromstring(power_tree(appraisal))
    width, height = (float(part) for part in (root.get("viewBox") or "").split()[2:])
    rows = [float(node.get("y") or 0) for node in root.iter(f"{SVG}rect") if node.get("class") == "lw-hit"]
    assert len(rows) == len(set(rows)) > 205
    assert max(rows) < height
    assert all(0 <= float(node.get("x") or 0) <= width for node in root.iter(f"{SVG}text"))
    cut = power_tree_sheets(appraisal, rows_a_sheet=45)
    assert len(cut) == -(-len(rows) // 45)
    assert sum("Lounge detector" in words for svg in cut for words in texts(svg)) == 201


def test_the_band_picture_names_bands_and_misreadings() -> None:
    svg = circuit_bands(business(), "c11")
    written = texts(svg)
    assert {"short", "rest", "active", "open"} <= set(written)
    chance = next(act.misread for act in business().circuits[10].acts if act.misread and act.misread > 1e-6)
    assert chance_words(chance) in " ".join(written)
    assert 'class="lw-hatch"' in svg


def test_the_density_sums_to_the_whole() -> None:
    from loopwright.drawing.circuit_bands import _densities

    for item in cottage().circuits:
        for found in _densities(item.spreads, item.network.pull_up.ohm):
            assert found is None or float(found[1].sum()) == pytest.approx(1.0, abs=1e-9)


def test_the_marks_of_the_curve_are_numbered_from_one() -> None:
    for item in business().standby:
        written = texts(battery_curve(business(), item.supply))
        told = curve_words(business().job, item).split("; ")
        heads = [at for at, words in enumerate(written) if len(words) > 15 and any(each.startswith(words) for each in told)]
        assert [written[at - 1] for at in heads] == [str(number + 1) for number in range(len(heads))]
        assert len(heads) >= 2


def test_the_curve_names_its_ends() -> None:
    written = " ".join(texts(battery_curve(business(), "control")))
    item = business().standby[0]
    assert f"{item.to_cut_out_h:.1f} h set: the battery lets go" in written
    assert "asked for" in written


def test_the_wiring_shows_each_resistor_and_device() -> None:
    for name, circuit in business().job.circuits.items():
        written = texts(meter_points(business(), name))
        for hop in circuit.path:
            assert hop.cable in written
        assert ("2.7 kΩ" in written) == (circuit.resistors.end_ohm == 2700.0)


def test_an_unknown_name_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        circuit_bands(cottage(), "nowhere")
    with pytest.raises(KeyError):
        battery_curve(cottage(), "keypad")
    with pytest.raises(ValueError):
        power_tree(cottage(), "nowhere")
