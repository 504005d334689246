"""The people in their file: what they may do, their passwords, their one-time codes."""

from __future__ import annotations

import base64
import json
import multiprocessing
import re
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from zxcvbn.frequency_lists import FREQUENCY_LISTS

from loopwright.store.file import StoreError
from loopwright.store.one_time import STEP_S, hotp, step_of
from loopwright.store.people import USUAL_COST, People
from loopwright.store.person import RIGHTS, SHORTEST_PASSWORD, Person, Right, Role, good_password
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret

CHEAP = Cost(passes=1, memory_kib=8, lanes=1)
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ADA, BEN = Secret("correct horse battery"), Secret("staple under the stair")


@pytest.fixture
def notes() -> list[tuple[str, str]]:
    return []


@pytest.fixture
def people(tmp_path: Path, notes: list[tuple[str, str]]) -> People:
    """Return Ada, who is the owner, and Ben."""
    made = People(tmp_path / "people", note=lambda act, subject: notes.append((act, subject)), cost=CHEAP)
    made.add("Ada", Role.OFFICE, ADA, owner=True)
    made.add("Ben", Role.INSTALLER, BEN)
    notes.clear()
    return made


def code_at(secret: Secret, now: datetime) -> Secret:
    return Secret(hotp(base64.b32decode(secret.reveal()), step_of(now)))


def with_codes(people: People, name: str = "Ben", password: Secret = BEN) -> Secret:
    """Begin one-time codes at eight o'clock and return the secret."""
    secret = people.start_one_time(name, password)
    people.confirm_one_time(name, password, secret, code_at(secret, AT), now=AT)
    return secret


def test_rights_are_what_is_listed_and_no_more() -> None:
    for role in Role:
        person = Person(name="x", role=role, password_hash="")
        assert {right for right in Right if person.may(right)} == RIGHTS[role]
        assert not any(Person(name="x", role=role, password_hash="", owner=True, active=False).may(right) for right in Right)
    assert not Person(name="x", role=Role.READER, password_hash="").may(Right.READ_SECRETS)
    assert all(Person(name="x", role=Role.READER, password_hash="", owner=True).may(right) for right in Right)


def test_passwords_are_hashed_with_argon2id_and_a_salt_each(people: People, tmp_path: Path) -> None:
    people.add("Cleo", Role.DESK, BEN)
    rows = json.loads((tmp_path / "people").read_text(encoding="utf-8"))["people"]
    hashes = [rows[name]["password"] for name in ("Ben", "Cleo")]
    assert all(re.fullmatch(r"\$argon2id\$v=19\$m=8,t=1,p=1\$.{22}\$.{43}", each) for each in hashes)
    assert hashes[0] != hashes[1]
    assert PasswordHasher().verify(hashes[0], BEN.reveal())
    assert stat.S_IMODE((tmp_path / "people").stat().st_mode) == 0o600
    assert (USUAL_COST.passes, USUAL_COST.memory_kib, USUAL_COST.lanes) == (3, 65_536, 4)


def test_a_password_fits_or_not(people: People) -> None:
    assert people.fits(people.find("Ben"), BEN)
    assert not people.fits(people.find("Ben"), ADA)
    assert not people.fits(people.find("Ben"), Secret(BEN.reveal() + " "))
    assert not people.fits(people.find("nobody"), BEN)
    assert not people.fits(None, Secret(""))


def test_names_are_found_however_accents_were_typed(people: People) -> None:
    people.add("Zoe\u0308", Role.READER, ADA)
    assert people.find("Zo\u00eb") == people.find("Zoe\u0308") is not None


@pytest.mark.parametrize("password", [
    "", "short", "x" * 11, "x" * 1025, "abcabcabcabcabc", "Ben is my name, yes", "LOOPWRIGHT forever",
    "123456qwerty", "Password123456", "1qaz2wsx3edc", "letmeinletmein1"])  # fmt: skip
def test_bad_passwords_are_refused(people: People, password: str) -> None:
    with pytest.raises(StoreError) as refused:
        people.change_password("Ben", BEN, Secret(password))
    assert len(password) < 6 or password not in str(refused.value)
    assert people.fits(people.find("Ben"), BEN)


@pytest.mark.parametrize(
    "password",
    [
        "oq vex tumu la",
        "    4 1 7  9 2 3",
        "ünïcödé wörds äre",
        "plum jar kept under " * 3 + "tin",
        "9184736502719",
        "\0k\1w\2z\3q\4p\5v\6t\r",
    ],
)
def test_any_characters_are_taken_and_none_demanded(people: People, password: str) -> None:
    people.change_password("Ben", BEN, Secret(password))
    assert people.fits(people.find("Ben"), Secret(password))


@pytest.mark.parametrize("name", ["", " Ada", "Ada ", "a\nb", "x" * 65, "a\u202eb"])
def test_bad_names_are_refused(people: People, name: str) -> None:
    with pytest.raises(StoreError, match="1 to 64"):
        people.add(name, Role.READER, ADA)


@pytest.mark.parametrize("name", ["ada", "ADA", "\uff21da", "stock (token)", "root at the Machine", "Nobody", "the  workbench"])
def test_nobody_passes_for_somebody_else_or_for_the_program(people: People, name: str) -> None:
    with pytest.raises(StoreError, match="already|somebody else"):
        people.add(name, Role.READER, BEN)
    assert set(people.everybody()) == {"Ada", "Ben"}


def test_the_first_is_the_owner_and_the_last_owner_stays(people: People, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="first person is the owner"):
        People(tmp_path / "others", note=lambda *_: None, cost=CHEAP).add("Ben", Role.READER, BEN)
    with pytest.raises(StoreError, match="last owner stays"):
        people.set_active("Ada", active=False)
    people.add("Dan", Role.OFFICE, ADA, owner=True)
    people.set_active("Ada", active=False)
    assert people.find("Ada") is None
    with pytest.raises(StoreError, match="last owner stays"):
        people.set_active("Dan", active=False)


def test_every_change_is_noted_and_no_password(people: People, notes: list[tuple[str, str]]) -> None:
    people.set_role("Ben", Role.DESK)
    people.change_password("Ben", BEN, ADA)
    people.set_active("Ben", active=False)
    people.set_active("Ben", active=True)
    with_codes(people, password=ADA)
    people.drop_one_time("Ben")
    people.add("Cleo", Role.READER, BEN)
    assert [act for act, _ in notes] == [
        "role changed to desk", "password changed", "let in no more", "let in again", "one-time codes begun", "one-time codes ended",
        "person added",
    ]  # fmt: skip
    assert not any(each.reveal() in str(notes) for each in (ADA, BEN))


def test_the_old_password_is_needed_for_a_new_one(people: People) -> None:
    with pytest.raises(StoreError, match="so far is not right"):
        people.change_password("Ben", ADA, Secret("something else long"))
    with pytest.raises(StoreError, match="nobody of that name"):
        people.change_password("Eve", ADA, Secret("something else long"))


def test_one_time_codes_are_taken_once_and_only_near_their_time(people: People) -> None:
    secret = with_codes(people)
    step = timedelta(seconds=STEP_S)
    assert not people.take_code("Ben", BEN, None, now=AT + step)
    assert not people.take_code("Ben", BEN, code_at(secret, AT), now=AT), "the code that began it is used"
    late = AT + 10 * step
    assert not people.take_code("Ben", BEN, code_at(secret, late - 2 * step), now=late)
    assert not people.take_code("Ben", BEN, code_at(secret, late + 2 * step), now=late)
    assert not people.take_code("Ben", BEN, Secret("000000x"), now=late)
    assert people.take_code("Ben", BEN, code_at(secret, late), now=late)
    assert not people.take_code("Ben", BEN, code_at(secret, late), now=late)
    assert not people.take_code("Ben", BEN, code_at(secret, late - step), now=late), "older than one that was used"
    assert people.take_code("Ben", BEN, code_at(secret, late + step), now=late)
    assert people.take_code("Ada", ADA, None, now=AT), "who has none is asked for none"
    assert not people.take_code("nobody", ADA, None, now=AT)


def test_a_lost_device_is_dropped(people: People) -> None:
    with_codes(people)
    assert not people.take_code("Ben", BEN, None, now=AT)
    people.drop_one_time("Ben")
    assert people.take_code("Ben", BEN, None, now=AT)


def test_a_code_must_be_shown_before_codes_are_asked_for(people: People) -> None:
    secret = people.start_one_time("Ben", BEN)
    for password, code in ((BEN, Secret("123456")), (ADA, code_at(secret, AT))):
        with pytest.raises(StoreError, match="code or the password"):
            people.confirm_one_time("Ben", password, secret, code, now=AT + timedelta(days=password is BEN))
    assert people.take_code("Ben", BEN, None, now=AT)
    with pytest.raises(StoreError, match="password is not right"):
        people.start_one_time("Ben", ADA)


def test_the_secret_of_the_codes_is_sealed_and_goes_with_a_new_password(people: People, tmp_path: Path) -> None:
    secret = with_codes(people)
    raw = (tmp_path / "people").read_bytes()
    assert secret.utf8() not in raw
    assert base64.b32decode(secret.utf8()).hex().encode() not in raw
    people.change_password("Ben", BEN, ADA)
    late = AT + timedelta(minutes=5)
    assert not people.take_code("Ben", ADA, code_at(secret, AT), now=AT), "what was used stays used"
    assert people.take_code("Ben", ADA, code_at(secret, late), now=late)


def test_a_sealed_secret_given_to_another_is_told(people: People, tmp_path: Path) -> None:
    with_codes(people)
    values = json.loads((tmp_path / "people").read_text(encoding="utf-8"))
    values["people"]["Ada"]["one_time"] = values["people"]["Ben"]["one_time"]
    (tmp_path / "people").write_text(json.dumps(values), encoding="utf-8")
    people.change_password("Ben", BEN, Secret("something else long"))
    with pytest.raises(StoreError, match="drop it and begin anew"):
        people.take_code("Ada", BEN, Secret("123456"), now=AT)


@pytest.mark.parametrize(
    "raw", [b"", b"{}", b"[" * 100_000, b'{"format": 2, "people": {}}', b'{"format": 1, "people": {"a": {}}}', b"\xff"]
)
def test_a_damaged_file_lets_nobody_in(people: People, tmp_path: Path, raw: bytes) -> None:
    (tmp_path / "people").write_bytes(raw)
    for act in (lambda: people.find("Ada"), lambda: people.add("Eve", Role.OFFICE, ADA, owner=True)):
        with pytest.raises(StoreError, match="damaged"):
            act()
    assert (tmp_path / "people").read_bytes() == raw


def test_nothing_is_changed_that_cannot_be_noted(people: People, tmp_path: Path) -> None:
    def full(act: str, subject: str) -> None:
        raise StoreError("the trail cannot be written.")

    before = (tmp_path / "people").read_bytes()
    with pytest.raises(StoreError, match="trail"):
        People(tmp_path / "people", note=full, cost=CHEAP).set_role("Ben", Role.OFFICE)
    assert (tmp_path / "people").read_bytes() == before


def _add_many(path: str, who: str) -> None:
    people = People(Path(path), note=lambda *_: None, cost=CHEAP)
    for number in range(20):
        people.add(f"{who} {number}", Role.READER, BEN)


def test_two_processes_lose_nobody(people: People, tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=_add_many, args=(str(tmp_path / "people"), who)) for who in ("x", "y")]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert [worker.exitcode for worker in workers] == [0, 0]
    assert len(people.everybody()) == 42


def test_much_used_passwords_are_refused_when_they_are_long_enough(people: People) -> None:
    """Every one of a list of the most used (zxcvbn's, 30 000 of them) that has twelve characters."""
    long = [each for each in FREQUENCY_LISTS["passwords"] if len(each) >= SHORTEST_PASSWORD]
    assert len(long) > 200
    for each in long:
        with pytest.raises(StoreError):
            good_password(Secret(each), "Ben")


def test_a_given_password_is_marked_until_it_is_changed(people: People, notes: list[tuple[str, str]]) -> None:
    until = AT + timedelta(days=3)
    secret = with_codes(people)
    assert secret.reveal()
    people.set_password("Ben", Secret("tin jar of plums"), given_until=until)
    kept = people.everybody()["Ben"]
    assert kept.given_until == until and kept.one_time is None
    assert notes[-1] == ("password set anew, without one-time codes", "Ben")
    with pytest.raises(StoreError, match="the one so far"):
        people.change_password("Ben", Secret("tin jar of plums"), Secret("tin jar of plums"))
    people.change_password("Ben", Secret("tin jar of plums"), BEN)
    assert people.everybody()["Ben"].given_until is None


def test_changes_are_noted_in_the_name_of_whoever_makes_them(people: People) -> None:
    mine: list[tuple[str, str]] = []
    people.noting(lambda act, subject: mine.append((act, subject))).set_role("Ben", Role.READER)
    assert mine == [("role changed to reader", "Ben")] and people.everybody()["Ben"].role is Role.READER
