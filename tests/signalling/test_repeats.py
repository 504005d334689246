"""Repeats: known again for a while, among the last messages of an account, however many accounts there are."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.signalling.repeats import REMEMBERED, REMEMBERED_FOR, Recent, Source, Stored
from often import often

NOW = datetime(2026, 1, 15, 12, tzinfo=UTC)


class Kept:
    """Messages as a store keeps them, each once, with a memory of so many accounts beside it."""

    def __init__(self, most_accounts: int) -> None:
        self.rows: dict[Source, list[Stored]] = defaultdict(list)
        self.number = 0
        self.recent = Recent(lambda source: self.rows[source][-REMEMBERED:], most_accounts=most_accounts)

    def put(self, source: Source, sequence: str, data: str, at: datetime) -> int | None:
        found = self.recent.first(source, self.number + 1, at, sequence, data)
        if found is None:
            self.number += 1
            self.rows[source].append(Stored(self.number, at, sequence, data))
        return found


def test_the_numbers_of_the_annex_are_stored_once_each() -> None:
    # The 2007 annex sends 9995, 9996, 9995 once more, 9997: each is stored once.
    kept, source = Kept(10), (None, "0", "1234")
    assert [kept.put(source, str(each), "1130 01 001", NOW) for each in (9995, 9996, 9995, 9997)] == [None, None, 1, None]
    assert kept.put(source, "9995", "1130 01 001", NOW + REMEMBERED_FOR + timedelta(seconds=1)) is None
    assert kept.put(source, "9996", "3130 01 001", NOW) is None
    assert kept.put(("1", "0", "1234"), "9996", "1130 01 001", NOW) is None


messages = st.tuples(st.integers(0, 4), st.integers(1, 3), st.sampled_from(("a", "b", "c" * 90, "d" * 90)), st.integers(0, 400))


@given(st.lists(messages, max_size=60))
@settings(max_examples=often(40))
def test_what_is_no_more_in_mind_is_asked_of_the_store(said: list[tuple[int, int, str, int]]) -> None:
    narrow, wide, at = Kept(1), Kept(100), NOW
    for account, sequence, data, later_s in said:
        at += timedelta(seconds=later_s)
        source = (None, "0", f"00{account}")
        assert narrow.put(source, f"{sequence:04d}", data, at) == wide.put(source, f"{sequence:04d}", data, at)
        assert len(narrow.recent) <= 1


def test_a_counter_that_came_round_begins_new_messages() -> None:
    kept, source = Kept(3), (None, "0", "1234")
    for number in range(REMEMBERED + 1):
        assert kept.put(source, f"{number + 1:04d}", "1130 01 001", NOW) is None
    assert kept.put(source, "0001", "1130 01 001", NOW) is None
    assert kept.put(source, f"{REMEMBERED:04d}", "1130 01 001", NOW) == REMEMBERED
