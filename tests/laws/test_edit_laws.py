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
from loopwright.job.edit import AddItem, Edit, RemoveField, RemoveItem, SetField, apply, content
from loopwright.job.read import read
from loopwright.job.reading import Reading
from loopwright.job.tree import compose
from loopwright.values.error import JobError
from loopwright.values.finding import Finding
from often import often

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
    appraisal.KEPT.clear()
    circuits.KEPT.clear()
    if made:
        anew = read(text)
        assert anew.job == reading.job and places(anew) == places(reading)
        assert computed(appraise(anew.job)) == here


ENTRIES = {"W77": {"sheet": "four-core", "length_m": "9"}, "extra": "x", "Z9": {"name": "shed"}}


def any_edit(data: st.DataObject, paths: list[str]) -> Edit:
    """Return an edit of any kind but a renaming."""
    path = data.draw(st.sampled_from(paths))
    key = data.draw(st.sampled_from([*ENTRIES, None]))
    added = AddItem(path.rpartition("/")[0], key, ENTRIES[key or "extra"])
    return data.draw(st.sampled_from([RemoveItem(path), added, SetField(path, "7"), SetField(f"{path}/new", "7"), RemoveField(path)]))


def made(text: str, edit: Edit) -> object:
    """Return the new text and the way back, or the words with which the edit is refused."""
    try:
        edited = apply(text, edit)
    except JobError as error:
        return error.problems
    return edited.text, edited.inverse


@settings(max_examples=often(20))
@given(st.data())
def test_an_edit_that_goes_on_from_the_last_tree_is_the_edit_of_the_text(data: st.DataObject) -> None:
    text = SAMPLE
    for _ in range(4):
        edit = any_edit(data, PATHS)
        warm = made(text, edit)
        left = job_edit.TREES.find("tree", (text,))
        assert left is None or content(left) == content(compose(text)[1])
        job_edit.TREES.clear()
        assert made(text, edit) == warm
        if isinstance(warm[0], str):  # type: ignore[index]
            text = warm[0]  # type: ignore[index]
