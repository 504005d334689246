"""The store does what it says, in SQLite and in PostgreSQL alike."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone

import pytest

from loopwright.store.file import StoreError
from loopwright.store.sql import SqlStore, open_store
from loopwright.store.store import Change, Conflict, Mark, NotThere, Revision

Begin = Callable[..., SqlStore]
Made = Callable[..., Change]
START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def test_a_job_begins_with_its_first_text(store: SqlStore, change: Made) -> None:
    made = store.create("shop", "title: Größe Ω\n", change(by="Ada", why="begins"))
    head = store.head("shop")
    assert head.text == "title: Größe Ω\n" and head.revision == made and head.number == 1
    assert (made.by, made.why, made.at, made.note) == ("Ada", "begins", START, "")
    assert store.jobs() == ("shop",)
    with pytest.raises(StoreError, match="already keeps a job called shop"):
        store.create("shop", "other", change())
    assert store.head("shop").text == "title: Größe Ω\n"


def test_every_text_stays(store: SqlStore, begun: Begin) -> None:
    begun(store, 50)
    assert [store.text_at("shop", number) for number in range(1, 51)] == [f"text {number}" for number in range(1, 51)]
    assert store.head("shop").text == "text 50"
    assert store.verify() == []


def test_an_append_to_what_is_no_longer_last_gives_both_texts(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store, 2)
    done = store.append("shop", "ours", change(9), expected=1)
    assert isinstance(done, Conflict)
    assert (done.ours, done.theirs.text, done.theirs.number) == ("ours", "text 2", 2)
    assert store.head("shop").number == 2


def test_revisions_come_in_pages_the_latest_first(store: SqlStore, begun: Begin) -> None:
    begun(store, 25)
    first = store.revisions("shop", most=10)
    second = store.revisions("shop", before=first[-1].number, most=10)
    assert [each.number for each in first + second] == list(range(25, 5, -1))
    assert first[0].summary == "edit 25"


def test_a_revision_is_read_as_it_was_made(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store)
    east = timezone(timedelta(hours=9))
    at = datetime(2026, 7, 1, 9, 30, 15, 123456, tzinfo=east)
    made = store.append("shop", "x", change(by="Bo", why="because", summary="what", at=at), expected=1)
    assert isinstance(made, Revision)
    assert store.revision("shop", 2) == made
    assert made.at == at and made.at.tzinfo is UTC


def test_undo_and_redo_are_revisions_with_a_place(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store, 4)
    store.append("shop", "text 3", change(5, why="undo", back_to=3), expected=4)
    made = store.append("shop", "text 2", change(6, why="undo", back_to=2), expected=5)
    assert isinstance(made, Revision)
    assert (made.place.step, made.place.before, made.place.depth, made.place.tip) == (2, 1, 1, 4)
    assert store.head("shop").text == "text 2" and store.head("shop").number == 6
    assert store.verify() == []


def test_each_person_has_steps_of_their_own(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store, 2)
    for number, (by, back_to, place) in enumerate(
        [("Bo", None, (3, 0, 1, 3)), ("Ada", None, (4, 2, 2, 4)), ("Bo", None, (5, 3, 2, 5)), ("Ada", 2, (2, 1, 1, 4)),
         ("Bo", 3, (3, 0, 1, 5)), ("Bo", 0, (0, 0, 0, 5)), ("Bo", 3, (3, 0, 1, 5)), ("Bo", None, (10, 3, 2, 10))], 3,
    ):  # fmt: skip
        made = store.append("shop", f"text {number}", change(number, by=by, back_to=back_to), expected=number - 1)
        assert isinstance(made, Revision)
        assert (made.place.step, made.place.before, made.place.depth, made.place.tip) == place, number
    last = store.last_by("shop", "Ada")
    assert last is not None and last.number == 6 and store.last_by("shop", "Ada", up_to=5) == store.revision("shop", 4)
    assert store.last_by("shop", "Eve") is None and store.verify() == []


def test_what_is_done_alongside_and_fails_leaves_nothing(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store, 2)

    def fails() -> None:
        raise StoreError("the file could not be written.")

    with pytest.raises(StoreError, match="could not be written"):
        store.append("shop", "text 3", change(3), expected=2, alongside=fails)
    assert store.head("shop").number == 2
    assert isinstance(store.append("shop", "text 3", change(3), expected=2), Revision)
    assert store.verify() == []


def test_a_mark_stays_where_it_was_put(store: SqlStore, begun: Begin) -> None:
    begun(store, 3)
    assert store.mark("shop", " as installed ", 2) == Mark("as installed", 2)
    assert store.mark("shop", "as installed", 2) == Mark("as installed", 2)
    store.mark("shop", "handed over", 3)
    with pytest.raises(StoreError, match="already stands on revision 2"):
        store.mark("shop", "as installed", 3)
    with pytest.raises(NotThere, match="no revision 4"):
        store.mark("shop", "later", 4)
    with pytest.raises(StoreError, match="needs a name"):
        store.mark("shop", " ", 1)
    assert store.marks("shop") == (Mark("as installed", 2), Mark("handed over", 3))


def test_files_are_found_by_their_hash(store: SqlStore) -> None:
    content = bytes(range(256)) * 10
    key = store.put_file(content)
    assert store.put_file(content) == key
    assert store.get_file(key) == content
    assert store.get_file(store.put_file(b"")) == b""
    with pytest.raises(NotThere, match="keeps no file"):
        store.get_file("0" * 64)
    assert store.verify() == []


@pytest.mark.parametrize("text", ["", "\0", "line\r\nline\n", "\U0001f514", "a" * 1_000_000, "é" * 40_000])
def test_any_text_comes_back_as_it_was(store: SqlStore, text: str, begun: Begin, change: Made) -> None:
    begun(store, 2)
    store.append("shop", text, change(3), expected=2)
    assert store.text_at("shop", 3) == store.head("shop").text == text
    assert store.verify() == []


def test_half_a_character_is_refused_in_a_text_and_mended_in_words(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store)
    with pytest.raises(StoreError, match="half of one"):
        store.append("shop", "a\ud800", change(), expected=1)
    store.append("shop", "b", change(by="a\ud800\0", why="w" * 5000), expected=1)
    assert store.head("shop").revision.by == "a?\ufffd" and len(store.head("shop").revision.why) == 1000
    assert store.verify() == []


def test_the_clock_may_go_back_but_not_the_history(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store, 3)
    made = store.append("shop", "early", change(-1000), expected=3)
    assert isinstance(made, Revision)
    assert made.at == store.revision("shop", 3).at
    assert made.note.startswith("The clock said 2026-03-01T15:20:00")
    after = store.append("shop", "later", change(10), expected=4)
    assert isinstance(after, Revision) and after.note == "" and after.at > made.at
    assert store.verify() == []


def test_what_is_not_there_is_said(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store)
    for ask in (lambda: store.head("none"), lambda: store.append("none", "x", change(), expected=1), lambda: store.verify("none")):
        with pytest.raises(NotThere, match="keeps no job called none"):
            ask()
    with pytest.raises(NotThere, match="has no revision 2"):
        store.text_at("shop", 2)
    with pytest.raises(NotThere):
        store.append("shop", "x", change(back_to=7), expected=1)
    assert store.head("shop").number == 1


def test_jobs_do_not_know_each_other(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store, 3)
    store.create("house", "text 2", change())
    store.append("house", "text 1", change(), expected=1)
    assert store.jobs() == ("shop", "house")
    assert [each.number for each in store.revisions("house")] == [2, 1]
    assert store.verify() == store.verify("house") == store.verify("shop") == []


def test_opened_again_everything_is_there_and_read_only_means_it(where: str, begun: Begin, change: Made) -> None:
    first = open_store(where)
    begun(first, 20).mark("shop", "done", 7)
    key = first.put_file(b"plan")
    first.close()
    again = open_store(where, read_only=True)
    assert again.read_only and again.head("shop").text == "text 20" and again.text_at("shop", 3) == "text 3"
    assert again.marks("shop") == (Mark("done", 7),) and again.get_file(key) == b"plan" and again.verify() == []
    writes = (
        lambda: again.append("shop", "x", change(), expected=20),
        lambda: again.create("y", "x", change()),
        lambda: again.mark("shop", "m", 1),
        lambda: again.put_file(b"x"),
    )
    for write in writes:
        with pytest.raises(StoreError, match="nothing was added to .*read only"):
            write()
    again.close()


def test_many_threads_append_one_after_the_other(store: SqlStore, begun: Begin, change: Made) -> None:
    begun(store)
    lost: list[BaseException] = []

    def appends(name: str) -> None:
        try:
            for number in range(10):
                while isinstance(done := store.append("shop", f"{name} {number}", change(2, by=name), expected=expected(store)), Conflict):
                    assert done.theirs.number > 0
        except BaseException as error:
            lost.append(error)

    threads = [threading.Thread(target=appends, args=(name,)) for name in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not lost
    assert store.head("shop").number == 41 and store.verify() == []
    texts = {store.text_at("shop", number) for number in range(2, 42)}
    assert texts == {f"{name} {number}" for name in "abcd" for number in range(10)}


def expected(store: SqlStore) -> int:
    """Return the number of the last revision now."""
    return store.head("shop").number
