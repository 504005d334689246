"""Every field of the document has words for people, and none of them is a key of the file."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

import loopwright.demo
from loopwright.job.labels import _table, label_at, label_in, place_words
from loopwright.job.read import read
from loopwright.job.shape import ListShape, MapShape, RecordShape, Shape, job_shape


def fields(shape: Shape) -> Iterator[tuple[type, str]]:
    if isinstance(shape, RecordShape):
        for name, declared in shape.fields.items():
            yield shape.record, name
            yield from fields(declared.shape)
    elif isinstance(shape, MapShape):
        yield from fields(shape.value)
    elif isinstance(shape, ListShape):
        yield from fields(shape.item)


def test_every_field_has_words() -> None:
    given = {(section, name) for section, names in _table().items() for name in names}
    found = {f"{record.__name__}.{name}": label_in(record, name) for record, name in fields(job_shape())}
    assert len(found) > 150
    for field, words in found.items():
        assert words and "_" not in words, field
        record, name = field.split(".")
        assert (record, name) in given or ("*", name) in given, f"{field} has no words of its own"


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("cables/W31/length_m", "length of W31"),
        ("equipment/dual-lobby/label", "what people call it of Lobby detector"),
        ("zones/z02/areas", "areas of zone 2"),
        ("zones/z23/response/late", "does, late of zone 23"),
        ("region/standby_h", "standby asked for"),
        ("sheets/equipment/oq-k/loads/supply/min_v", "least working voltage of data sheet oq-k"),
        ("cables/W31", "W31"),
        ("signalling/reports/tamper", "reported, tamper"),
    ],
)
def test_a_place_is_said_as_people_say_it(path: str, words: str) -> None:
    assert place_words(read(loopwright.demo.text("business")).job, path) == words


def test_a_place_that_is_none_is_named_as_it_was_given() -> None:
    assert label_at("cables/W31/nothing") == "cables/W31/nothing"
