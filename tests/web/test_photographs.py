"""Photographs of a proving by their addresses: kept once, without where they were taken, shown in the room and printed in the record."""

from __future__ import annotations

from base64 import b64encode
from io import BytesIO
from pathlib import Path
from uuid import uuid4

import pytest
from pypdf import PdfReader
from tests.prove.test_picture import CANVAS, WHERE, segment
from tests.web.test_prove import NOON, Van

from loopwright.prove.picture import Picture
from loopwright.store.copies import beside
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.store.photo_file import MOST_PHOTOS, PhotoFile
from loopwright.store.proof_file import MOST_BEFORE

KEY = "photo:front-door"
SENT = CANVAS[:2] + segment(0xE1, b"Exif\0\0" + WHERE) + CANVAS[2:]


def text(raw: bytes) -> str:
    return b64encode(raw).decode("ascii")


@pytest.fixture
def van(tmp_path: Path) -> Van:
    return Van(tmp_path)


def test_a_photograph_is_kept_once_shown_and_printed_without_where_it_was_taken(van: Van) -> None:
    mark = uuid4().hex
    for _ in range(2):
        assert van.say("photo", key=KEY, photo=text(SENT), mark=mark, ago_ms=60_000) == ""
    (entry,) = van.record.entries
    assert entry.photo and entry.at < NOON.isoformat()
    page = van.page()
    address = f"./prove/photo/{entry.photo}.jpg"
    assert page.count(f'src="{address}"') == 1
    shown = van.client.get(address.removeprefix("."))
    assert shown.headers["content-type"] == "image/jpeg" and shown.headers["x-content-type-options"] == "nosniff"
    kept = van.path.with_name("job.yaml.photos")
    assert WHERE not in shown.content and WHERE not in kept.read_bytes() and kept.stat().st_mode & 0o077 == 0
    assert kept in beside(van.path).values(), "a backup takes it along"
    pdf = van.client.get("/prove/proving-record.pdf").content
    sheets = PdfReader(BytesIO(pdf)).pages
    (sheet,) = [each for each in sheets if "Photographs" in each.extract_text()]
    (printed,) = sheet["/Resources"]["/XObject"].values()  # type: ignore[index]
    assert printed.get_object()._data == shown.content, "as it is kept, byte for byte"
    assert WHERE not in pdf and "Ina" in sheet.extract_text()
    assert van.say("answer", key=KEY) == ""
    assert address not in van.page() and KEY not in van.record.standing, "taken back"
    assert entry.photo not in kept.read_text("utf-8") and van.client.get(address.removeprefix(".")).status_code == 404
    assert van.say("photo", key=KEY, photo=text(SENT), mark=mark) == "", "said before: what is sent again brings nothing back"
    assert entry.photo not in kept.read_text("utf-8")


def test_a_photograph_goes_when_no_proving_that_is_kept_speaks_of_it(van: Van) -> None:
    kept = van.path.with_name("job.yaml.photos")
    others = [CANVAS[:2] + segment(0xE0, b"JFIF\0\1\1\0\0\1\0\1\0\0") + CANVAS[2:], CANVAS]
    assert van.say("photo", key=KEY, photo=text(others[0])) == ""
    (first,) = van.record.photos.values()
    assert van.say("photo", key=KEY, photo=text(others[1])) == "", "taken anew"
    assert first not in kept.read_text("utf-8") and list(van.record.photos.values())[0] in kept.read_text("utf-8")
    (second,) = van.record.photos.values()
    for number in range(MOST_BEFORE + 1):
        assert second in kept.read_text("utf-8"), number
        assert van.say("anew", record=van.record.id) == ""
        assert van.say("answer", key="walk:front-door", answer="yes") == ""
    assert second not in kept.read_text("utf-8")


@pytest.mark.parametrize(
    ("key", "photo"),
    [
        (KEY, "nonsense"),
        (KEY, ""),
        (KEY, "Ä" * 40),
        (KEY, text(b"GIF89a" * 9)),
        (KEY, text(CANVAS[:300])),
        ("walk:front-door", text(CANVAS)),
    ],
)
def test_what_is_no_photograph_is_refused_in_one_sentence_and_nothing_is_kept(van: Van, key: str, photo: str) -> None:
    words = van.say("photo", key=key, photo=photo)
    assert ("a JPEG of at most 180 kB" in words) != (key != KEY) and words.count(". ") == 0
    assert not van.record.entries and van.client.get(f"/prove/photo/{'0' * 64}.jpg").status_code == 404


def test_who_may_only_read_sees_photographs_and_takes_none(tmp_path: Path) -> None:
    van = Van(tmp_path, rights=frozenset({Right.READ_JOB}))
    answer = van.client.post("/prove", json={"do": "photo", "mark": uuid4().hex, "key": KEY}, headers={"Origin": "http://127.0.0.1:8417"})
    assert answer.status_code == 403 and "data-photo" in van.page()


def test_a_full_file_takes_no_more_until_one_is_let_go(tmp_path: Path) -> None:
    file = PhotoFile(tmp_path / "job.yaml.photos")
    made = [Picture(jpeg=bytes((at,)), width=1, height=1) for at in range(MOST_PHOTOS + 1)]
    file._file.change(lambda kept: type(kept)(format=1, photos={each.digest: text(each.jpeg) for each in made[:-1]}))
    with pytest.raises(StoreError, match="takes no more"):
        file.put(made[-1])
    assert file.get(made[0].digest) == b"\x00"
    file.keep_only(frozenset(each.digest for each in made[1:]))
    file.put(made[-1])
    assert file.get(made[0].digest) is None and file.get(made[-1].digest) == bytes((MOST_PHOTOS,))
