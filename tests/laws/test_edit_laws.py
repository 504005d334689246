"""Laws of a long sitting: after any edits the figures are those of the same text opened anew, whatever was kept from before."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import loopwright.demo
from loopwright.appraisal import appraise as appraisal
from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.circuits import forecast as circuits
from loopwright.job import edit as job_edit
from loopwright.job.edit import AddItem, Edit, RemoveField, RemoveItem, SetField, apply, tree_of
from loopwright.job.read import read
from loopwright.job.reading import Reading
from loopwright.job.tree import LIST, MAP, Node, compose
from loopwright.power import standby
from loopwright.rules import reading as reading_rules
from loopwright.values.error import JobError
from loopwright.values.finding import Finding
from often import often

KEPT = (appraisal.KEPT, circuits.KEPT, circuits.CASES, standby.WALKED, standby.RESTED, standby.LASTED, reading_rules.SORTED)
JOBS = {name: loopwright.demo.text(name) for name in ("business", "dwelling")}
SAMPLE = (Path(__file__).parents[1] / "job" / "sample.yaml").read_text(encoding="utf-8")
PATHS = sorted(read(SAMPLE).places)
NUMBERS = ("0", "1", "2", "3.5", "12", "60", "250", "1 kΩ", "4.7 kΩ", "yes", "no", "double", "single", "alarm", "set")


def computed(found: Appraisal) -> tuple[object, ...]:
    """Return everything an appraisal says, as plain values."""
    looped = [(item.circuit, item.network, item.bands, item.acts, item.spreads) for item in (*found.circuits, *found.watches)]
    return (
        [(f.code, f.severity, f.subject, f.sentence, f.remedy, f.clause, f.source, figure_words(f)) for f in found.findings],
        [(load.landing, load.draw, load.volts_v.tobytes(), load.amps_a.tobytes(), load.live.tobytes()) for load in found.power.loads],
        [(item.name, item.limit_a, item.volts_v.tobytes(), item.amps_a.tobytes()) for item in found.power.outputs],
        [(item.name, item.mains_a.tobytes(), item.battery_a.tobytes(), item.charge_a.tobytes()) for item in found.power.supplies],
        [
            (item.supply, item.fitted_ah, item.required_ah, item.requirement, item.kinetic, item.longest, item.to_first_short_h)
            + (item.first_short, item.recharge, item.set_trace.terminal_v.tobytes(), item.trace.terminal_v.tobytes())
            for item in found.standby
        ],
        looped,
    )


def figure_words(finding: Finding) -> list[tuple[str, str]]:
    """Return a finding's figures with the line of their workings."""
    return [(str(figure), figure.working().substituted) for figure in finding.figures]


def places(reading: Reading) -> dict[str, tuple[int, ...]]:
    """Return where every value stands."""
    return {path: tuple(place) for path, place in reading.places.items()}


def random_edit(draw: st.DataObject, paths: list[str]) -> Edit:
    """Return an edit of a place of the document: another value, or none."""
    path = draw.draw(st.sampled_from(paths))
    return draw.draw(st.one_of(st.sampled_from(NUMBERS).map(lambda text: SetField(path, text)), st.just(RemoveField(path))))


@pytest.mark.parametrize("name", JOBS)
@settings(max_examples=often(3))
@given(st.data())
def test_figures_after_edits_are_those_of_the_text_opened_anew(name: str, data: st.DataObject) -> None:
    text, made = JOBS[name], 0
    paths = [path for path in sorted(read(text).places) if path.partition("/")[0] not in ("format", "title")]
    appraise(read(text).job)
    for _ in range(12):
        try:
            edited = apply(text, random_edit(data, paths))
            reading = read(edited.text, tree=edited.tree)
        except JobError:
            continue
        text, made = edited.text, made + 1
        here = computed(appraise(reading.job))
        if made == 3:
            break
    for kept in KEPT:
        kept.clear()
    if made:
        anew = read(text)
        assert anew.job == reading.job and places(anew) == places(reading)
        assert computed(appraise(anew.job)) == here


def stands(node: Node) -> object:
    """Return where everything in a tree stands."""
    here = (node.kind, node.flow, node.null, node.line, node.column, node.start, node.last())
    if node.kind == MAP:
        return here, [(stands(key), stands(child)) for key, child in node.value]
    return here, [stands(child) for child in node.value] if node.kind == LIST else node.value


ENTRIES = {"W77": {"sheet": "four-core", "length_m": "9"}, "extra": "x", "Z9": {"name": "shed"}}


def any_edit(data: st.DataObject, paths: list[str]) -> Edit:
    """Return an edit of any kind but a renaming."""
    path = data.draw(st.sampled_from(paths))
    key = data.draw(st.sampled_from([*ENTRIES, None]))
    added = AddItem(path.rpartition("/")[0], key, ENTRIES[key or "extra"])
    text = data.draw(st.sampled_from(["7", "two\nlines", "# no comment", "a: b", "...", ""]))
    return data.draw(st.sampled_from([RemoveItem(path), added, SetField(path, text), SetField(f"{path}/new", text), RemoveField(path)]))


def made(text: str, edit: Edit) -> object:
    """Return the new text and the way back, or the words with which the edit is refused."""
    try:
        edited = apply(text, edit)
    except JobError as error:
        return error.problems
    return edited.text, edited.inverse


def left_by(text: str, edit: Edit) -> str:
    """Return the text an edit leaves, which goes on from the last tree; all is held against the same with nothing kept."""
    job_edit.TREES.put("tree", (text,), compose(text)[1])
    warm = made(text, edit)
    after = warm[0] if isinstance(warm[0], str) else text  # type: ignore[index]
    left = job_edit.TREES.find("tree", (after,))
    assert left is not None and stands(left) == stands(compose(after)[1])
    job_edit.TREES.clear()
    job_edit.TREES.put("tree", (text,), compose(text)[1])
    assert stands(tree_of(after, text)) == stands(left)
    again = made(after, SetField("z/9", "1"))
    job_edit.TREES.clear()
    assert made(text, edit) == warm
    job_edit.TREES.clear()
    assert made(after, SetField("z/9", "1")) == again
    return after


@settings(max_examples=often(12))
@given(st.data())
def test_an_edit_that_goes_on_from_the_last_tree_is_the_edit_of_the_text(data: st.DataObject) -> None:
    text = SAMPLE
    for _ in range(4):
        text = left_by(text, any_edit(data, PATHS))


ODD = (
    "a: {b: 1,\n c: 2}\nd:\n  e: |+\n    text\n\n  f: 'x\n\n    y'\n  # over\n  g:\n  - 1\n  - h: 2\n# last\n",
    "a:\r\n  b: 1\r\n  c:\r\nd: >\r\n  folded\r\n",
    "? a\n: b: 1\n  c: 2\nd: 3\ne:\n    f: 1\n    g: [1, 2]",
    "%YAML 1.1\n---\na:\n  b: 1\nc: 2\n...\n",
    "\ufeffa:\n  b: 1\nc: 2\n",
    'a: 1\nd: "x\n---x\ny"\ne:\n  f: plain\n   and on\n  g:\n  - 1\n',
)
"""Texts as people and other programs may write them, with nothing in them that a job would know."""


@pytest.mark.parametrize("text", ODD)
@settings(max_examples=often(12))
@given(st.data())
def test_a_tree_grown_from_the_last_is_the_tree_of_the_text_however_it_is_written(text: str, data: st.DataObject) -> None:
    for _ in range(3):
        text = left_by(text, any_edit(data, ["a", "a/b", "a/c", "d", "d/e", "d/f", "d/g/1/h", "c", "e/f", "e/g/0", "z/x"]))
