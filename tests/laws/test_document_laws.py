"""Laws of the document: any text is read or refused in words; an edit changes its place only, and its inverse undoes it."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import yaml
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from loopwright.job.edit import AddItem, RemoveItem, RenameItem, SetField, apply
from loopwright.job.read import read
from loopwright.job.reading import Reading
from loopwright.job.shape import IdShape, MapShape, shape_at
from loopwright.job.tree import NOT_TEXT, SCALAR, compose
from loopwright.job.write import flow_text, scalar_text
from loopwright.values.error import JobError
from often import DEEP, often

SAMPLE = (Path(__file__).parents[1] / "job" / "sample.yaml").read_text(encoding="utf-8")
READING = read(SAMPLE)
PATHS = sorted(READING.places)
TEXTS = st.text(max_size=40).filter(lambda text: not NOT_TEXT.search(text))
SPECIAL = st.lists(st.sampled_from([*"-:#,[]{}&*!|>'\"%@`?~ \n\tax1.é", ": ", " #", "null", "\u2028", "\ufeff"]), max_size=8).map("".join)
VALUES = TEXTS | SPECIAL
NAMES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_-]{0,8}", fullmatch=True)


def plain(text: str) -> Any:
    """Return what a YAML library makes of the text, all scalars left as text.

    Its own parser reads what is short; a whole job, which it takes a quarter of a second over, only by night.
    """
    return yaml.load(text, yaml.BaseLoader if DEEP or len(text) < 2000 else yaml.CBaseLoader)


PLAIN = plain(SAMPLE)


def at(document: Any, path: str) -> Any:
    """Return the value at a path."""
    for name in path.split("/"):
        document = document[int(name)] if isinstance(document, list) else document[name]
    return document


def put(document: Any, path: str, value: object) -> None:
    """Put a value at a path of which the last name may be new."""
    parent, _, name = path.rpartition("/")
    holder = at(document, parent) if parent else document
    holder[int(name) if isinstance(holder, list) else name] = value


def assert_other_lines_stay(after: str, first: str, last: str) -> None:
    """Assert that the lines before the place ``first`` and those after the place ``last`` of the sample are as they were."""
    above = SAMPLE[: max(READING.places[first].key_start, 0) or READING.places[first].start].rpartition("\n")[0]
    below = SAMPLE[READING.places[last].end :].partition("\n")[2]
    if SAMPLE[: READING.places[last].key_start].endswith("- "):
        below = below.partition("\n")[2]  # the next key moves up to the dash of the list
    assert after.startswith(above)
    assert after.endswith(below)


def read_or_refused(source: str | bytes) -> Reading | None:
    """Return the reading, or None when the text was refused with a problem in words."""
    try:
        return read(source)
    except JobError as error:
        assert error.problems
        assert all(problem.message and problem.line >= 0 for problem in error.problems)
        return None


@given(st.text() | st.binary())
def test_any_text_is_read_or_refused(source: str | bytes) -> None:
    assert read_or_refused(source) is None


@given(
    st.lists(
        st.sampled_from(
            [
                "a",
                "format",
                ": ",
                ":",
                "\n",
                "  ",
                "- ",
                "{",
                "}",
                "[",
                "]",
                ",",
                "&x",
                "*x",
                "!t",
                "|",
                ">",
                "'",
                '"',
                "#",
                "---",
                "?",
                "<<",
                "1",
            ]
        )
    )
)
def test_anything_like_yaml_is_read_or_refused(pieces: list[str]) -> None:
    assert read_or_refused("".join(pieces)) is None


@settings(max_examples=often(60))
@given(st.integers(0, len(SAMPLE)), st.integers(0, 60), st.text(max_size=12))
def test_a_damaged_document_is_read_or_refused(start: int, length: int, new: str) -> None:
    read_or_refused(SAMPLE[:start] + new + SAMPLE[start + length :])


@settings(max_examples=often(60))
@given(st.data())
def test_a_document_with_lines_moved_is_read_or_refused(data: st.DataObject) -> None:
    lines = SAMPLE.splitlines(keepends=True)
    for _ in range(data.draw(st.integers(1, 4))):
        line = lines.pop(data.draw(st.integers(0, len(lines) - 1)))
        lines.insert(data.draw(st.integers(0, len(lines))), line)
    read_or_refused("".join(lines))


@settings(max_examples=often(60))
@given(st.sampled_from(PATHS), SPECIAL | st.sampled_from(["5,6", "nan", "1_000", "0x1", "9" * 5000, "yes", "null", "²", "[1]", "{}"]))
def test_any_text_in_any_field_is_read_or_refused(path: str, value: str) -> None:
    place = READING.places[path]
    read_or_refused(SAMPLE[: place.start] + value + SAMPLE[place.end :])


@given(VALUES)
@example("no")
@example("- a")
@example("a: b # c")
@example("a:")
@example("---")
def test_a_text_written_reads_back_as_itself(value: str) -> None:
    written = scalar_text(value)
    assert plain(f"a: {written}  # c\nb: [{written}, {{k: {written}}}]\n") == {"a": value, "b": [value, {"k": value}]}
    assert plain(f"- {written}\n- {written}: 1\n") == [value, {value: "1"}]
    _, root = compose(f"a: {written}\n")
    assert root.value[0][1].value == value
    assert not root.value[0][1].null


def scalar_paths(text: str) -> list[str]:
    """Return the paths of the single values that stand in a document."""
    found = []

    def walk(node: Any, path: str) -> None:
        for number, child in enumerate(node.value if node.kind != SCALAR else ()):
            name, value = (child[0].value, child[1]) if isinstance(child, tuple) else (str(number), child)
            here = f"{path}/{name}" if path else name
            if value.kind == SCALAR:
                found.append(here)
            walk(value, here)

    walk(compose(text)[1], "")
    return found


SAMPLE_SCALARS = scalar_paths(SAMPLE)


@settings(max_examples=often(40))
@given(st.sampled_from(SAMPLE_SCALARS), VALUES)
def test_a_field_set_says_the_new_text_and_nothing_else_changes(path: str, value: str) -> None:
    edited = apply(SAMPLE, SetField(path, value))
    expected = copy.deepcopy(PLAIN)
    put(expected, path, value)
    assert plain(edited.text) == expected
    assert apply(edited.text, edited.inverse).text == SAMPLE
    assert_other_lines_stay(edited.text, path, path)


@settings(max_examples=often(40))
@given(st.sampled_from(PATHS))
def test_anything_may_be_taken_out_and_put_back(path: str) -> None:
    edited = apply(SAMPLE, RemoveItem(path))
    expected = copy.deepcopy(PLAIN)
    parent, _, name = path.rpartition("/")
    holder = at(expected, parent) if parent else expected
    del holder[int(name) if isinstance(holder, list) else name]
    assert plain(edited.text) == expected
    assert apply(edited.text, edited.inverse).text == SAMPLE
    assert_other_lines_stay(edited.text, parent or path, path)


NEW = st.recursive(VALUES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3), max_leaves=6)
MAPPINGS = [path for path in PATHS if isinstance(shape_at(path), MapShape) and isinstance(at(PLAIN, path), dict)]
LISTS = [path for path in PATHS if isinstance(at(PLAIN, path), list)]


@settings(max_examples=often(40))
@given(st.sampled_from([*MAPPINGS, "users", "joints"]), NAMES, NEW)
def test_an_entry_put_in_reads_back_as_itself(path: str, key: str, value: Any) -> None:
    expected = copy.deepcopy(PLAIN)
    assume(key not in at(expected, path))
    edited = apply(SAMPLE, AddItem(path, key, value))
    put(expected, f"{path}/{key}", value)
    assert plain(edited.text) == expected
    assert apply(edited.text, edited.inverse).text == SAMPLE
    again = apply(edited.text, RemoveItem(f"{path}/{key}"))
    assert plain(again.text) == PLAIN


@settings(max_examples=often(30))
@given(st.sampled_from(LISTS), NEW)
def test_an_entry_appended_reads_back_as_itself(path: str, value: Any) -> None:
    edited = apply(SAMPLE, AddItem(path, None, value))
    expected = copy.deepcopy(PLAIN)
    at(expected, path).append(value)
    assert plain(edited.text) == expected
    assert apply(edited.text, edited.inverse).text == SAMPLE


REFERRED = [
    path
    for path in PATHS
    if isinstance(shape := shape_at(path.rpartition("/")[0]), MapShape) and isinstance(shape.key, IdShape) and shape.key.among is None
    if not path.startswith(("zones/", "signalling/reports")) and "/contacts/" not in path and "/loads/" not in path
]  # fmt: skip


@settings(max_examples=often(30))
@given(st.sampled_from(REFERRED), NAMES)
def test_a_renamed_entry_leaves_a_document_that_reads(path: str, name: str) -> None:
    parent = path.rpartition("/")[0]
    assume(all(name not in at(PLAIN, part) for part in (parent, "equipment", "joints")))
    assume(all(name not in storey["rooms"] for storey in PLAIN["storeys"].values()))
    edited = apply(SAMPLE, RenameItem(path, name))
    assert f"{parent}/{name}" in read(edited.text).places
    assert apply(edited.text, edited.inverse).text == SAMPLE
    back = apply(edited.text, RenameItem(f"{parent}/{name}", path.rpartition("/")[2]))
    assert plain(back.text) == PLAIN


class _Dumper(yaml.SafeDumper):
    def ignore_aliases(self, data: Any) -> bool:
        return True


DOCUMENTS = st.dictionaries(NAMES, NEW, min_size=1, max_size=4)


@settings(max_examples=often(100))
@given(DOCUMENTS, st.sampled_from([True, False, None]), st.sampled_from([20, 200]), st.data())
def test_an_edit_of_any_document_is_right_or_refused(document: Any, flow: bool | None, width: int, data: st.DataObject) -> None:
    text = yaml.dump(document, Dumper=_Dumper, default_flow_style=flow, width=width, allow_unicode=True, sort_keys=False)
    expected = copy.deepcopy(plain(text))
    path = data.draw(st.sampled_from(scalar_paths(text) or [next(iter(document))]))
    value = data.draw(VALUES)
    edit = data.draw(st.sampled_from([SetField(path, value), RemoveItem(path), AddItem("", "new", value), SetField("new/b", value)]))
    assume("new" not in document)
    try:
        edited = apply(text, edit)
    except JobError as error:
        assert "collection" in str(error) or "by hand" in str(error)
        return
    if isinstance(edit, RemoveItem):
        parent, _, name = path.rpartition("/")
        holder = at(expected, parent) if parent else expected
        del holder[int(name) if isinstance(holder, list) else name]
    elif isinstance(edit, AddItem):
        expected["new"] = value
    elif edit.path == "new/b":
        expected["new"] = {"b": value}
    else:
        put(expected, path, value)
    assert plain(edited.text) == expected
    assert apply(edited.text, edited.inverse).text == text


@given(NEW)
def test_a_value_on_one_line_reads_back_as_itself(value: Any) -> None:
    assert plain(f"a: {flow_text(value)}\n") == {"a": value}
