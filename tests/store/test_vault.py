"""The vault: what goes in comes out, and nothing comes out of a file that was touched."""

from __future__ import annotations

import base64
import copy
import errno
import json
import logging
import multiprocessing
import os
import pickle
import re
import stat
import traceback
from collections.abc import Callable
from dataclasses import replace
from itertools import count
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loopwright.store import vault as vault_module
from loopwright.store import vault_form
from loopwright.store.code import edits, facts_of
from loopwright.store.file import StoreError
from loopwright.store.seal import Broken, Cost, keys_from
from loopwright.store.secret import Secret
from loopwright.store.vault import NotOpened, NoVault, Vault, create_vault, names_in, open_vault, trail_path, vault_path
from loopwright.store.vault_form import Form, NotAVault
from loopwright.values.code import CodeFacts
from often import often

CHEAP = Cost(passes=1, memory_kib=8, lanes=1)
"""A key that takes no time: the tests try many."""
PASSPHRASE = Secret("correct horse battery")
NAMES = st.from_regex(r"[a-z][a-z0-9._-]{0,8}(/[a-z0-9]{1,4})?", fullmatch=True)
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=300)
HERE = settings(max_examples=often(8), suppress_health_check=[HealthCheck.function_scoped_fixture])
_numbers = count()


class Notes(list[tuple[str, str]]):
    """A trail in memory."""

    def note(self, act: str, subject: str) -> None:
        self.append((act, subject))


@pytest.fixture
def notes() -> Notes:
    return Notes()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "shop.yaml.vault"


@pytest.fixture
def vault(path: Path, notes: Notes) -> Vault:
    """Return a vault with two codes and a key."""
    made = create_vault(path, PASSPHRASE, note=notes.note, cost=CHEAP)
    for name, text in {"user/1": "4711", "user/2": "4712", "path/key": "0f" * 16}.items():
        made.put(name, Secret(text))
    notes.clear()
    return made


def nobody(act: str, subject: str) -> None:
    """Note nothing."""


def reopened(path: Path, passphrase: Secret = PASSPHRASE) -> Vault:
    return open_vault(path, passphrase, note=nobody)


@HERE
@given(entries=st.dictionaries(NAMES, TEXTS, max_size=5))
def test_what_is_put_in_comes_out(tmp_path: Path, entries: dict[str, str]) -> None:
    path = tmp_path / f"{next(_numbers)}.vault"
    made = create_vault(path, PASSPHRASE, note=nobody, cost=CHEAP)
    for name, text in entries.items():
        made.put(name, Secret(text))
    opened = reopened(path)
    assert opened.names() == names_in(path) == tuple(sorted(entries))
    assert {name: opened.get(name).reveal() for name in opened.names()} == entries
    whole = path.read_bytes()
    assert not [text for text in entries.values() if len(text) > 8 and text.encode() in whole]


def test_removing_and_replacing(vault: Vault, path: Path) -> None:
    vault.put("user/1", Secret("9999"))
    vault.remove("user/2")
    opened = reopened(path)
    assert opened.names() == ("path/key", "user/1")
    assert opened.get("user/1").reveal() == "9999"
    with pytest.raises(StoreError, match="no secret of that name"):
        opened.get("user/2")
    with pytest.raises(StoreError, match="no secret of that name"):
        opened.remove("user/2")


def test_everything_is_noted_before_it_is_done(vault: Vault, notes: Notes, path: Path) -> None:
    vault.get("user/1")
    vault.put("user/3", Secret("1"))
    vault.remove("user/3")
    vault.facts()
    vault.change_passphrase(Secret("another horse battery"), cost=CHEAP)
    with pytest.raises(NotOpened):
        open_vault(path, PASSPHRASE, note=notes.note)
    assert notes == [
        ("read", "user/1"), ("put", "user/3"), ("removed", "user/3"), ("compared", path.name),
        ("passphrase changed", path.name), ("opening refused", path.name),
    ]  # fmt: skip


def test_nothing_is_done_that_cannot_be_noted(vault: Vault, path: Path) -> None:
    def full(act: str, subject: str) -> None:
        if act != "opened":
            raise StoreError("the trail cannot be written: no space left on device.")

    opened, before = open_vault(path, PASSPHRASE, note=full), path.read_bytes()
    for act in (
        lambda: opened.get("user/1"),
        lambda: opened.put("user/1", Secret("1")),
        lambda: opened.remove("user/1"),
        lambda: opened.facts(),
        lambda: opened.change_passphrase(Secret("another horse battery"), cost=CHEAP),
    ):
        with pytest.raises(StoreError, match="trail"):
            act()
    assert path.read_bytes() == before
    assert opened.names() == vault.names()


def test_every_byte_that_is_flipped_is_refused(vault: Vault, path: Path) -> None:
    raw = path.read_bytes()
    path.write_bytes(raw)
    for at in range(len(raw)):
        path.write_bytes(raw[:at] + bytes([raw[at] ^ (1 << at % 8)]) + raw[at + 1 :])
        with pytest.raises(StoreError):
            reopened(path)
    path.write_bytes(raw)
    assert reopened(path).names()


@HERE
@given(data=st.data())
def test_any_other_change_is_refused(vault: Vault, path: Path, data: st.DataObject) -> None:
    raw = path.read_bytes()
    start = data.draw(st.integers(0, len(raw)))
    end = data.draw(st.integers(start, len(raw)))
    other = raw[:start] + data.draw(st.binary(max_size=20)) + raw[end:]
    if other == raw:
        return
    try:
        path.write_bytes(other)
        with pytest.raises(StoreError):
            reopened(path)
    finally:
        path.write_bytes(raw)


def test_a_file_cut_short_is_refused(vault: Vault, path: Path) -> None:
    raw = path.read_bytes()
    for length in range(0, len(raw), 7):
        path.write_bytes(raw[:length])
        with pytest.raises(NotAVault):
            reopened(path)


def _edited(path: Path, edit: Callable[[dict[str, dict[str, object]]], None]) -> None:
    """Change the entries of a file, spelled as a vault is."""
    values = json.loads(path.read_bytes())
    edit(values["entries"])
    path.write_bytes((json.dumps(values, indent=1) + "\n").encode("ascii"))


def test_secrets_that_changed_places_are_refused(vault: Vault, path: Path) -> None:
    def swap(entries: dict[str, dict[str, object]]) -> None:
        entries["user/1"], entries["user/2"] = entries["user/2"], entries["user/1"]

    _edited(path, swap)
    with pytest.raises(NotOpened):
        reopened(path)
    with pytest.raises(NotOpened, match="changed by something"):
        vault.get("user/1")


def test_a_secret_taken_out_or_put_back_from_an_older_copy_is_refused(vault: Vault, path: Path) -> None:
    old = json.loads(path.read_bytes())["entries"]["user/1"]
    vault.put("user/1", Secret("9999"))
    good = path.read_bytes()
    for edit in (lambda entries: entries.update({"user/1": old}), lambda entries: entries.pop("user/1")):
        path.write_bytes(good)
        _edited(path, edit)
        with pytest.raises(NotOpened):
            reopened(path)


def test_a_seal_alone_holds_a_secret_to_its_name_and_file() -> None:
    """The seal over the whole aside, one secret opens only under its own name and in its own file."""
    salt = b"s" * 16
    keys = keys_from(PASSPHRASE, salt, CHEAP)
    form = vault_form.with_secret(Form(salt=salt, cost=CHEAP, written=1, boxes={}), "a", Secret("4711"), keys, os.urandom)
    assert vault_form.secret_in(form, "a", keys).reveal() == "4711"
    moved = Form(salt=salt, cost=CHEAP, written=1, boxes={"b": form.boxes["a"]})
    elsewhere = Form(salt=b"t" * 16, cost=CHEAP, written=1, boxes=form.boxes)
    for wrong, name in ((moved, "b"), (elsewhere, "a")):
        with pytest.raises(Broken):
            vault_form.secret_in(wrong, name, keys)


def test_a_wrong_passphrase_and_a_changed_file_are_refused_in_the_same_words(vault: Vault, path: Path) -> None:
    with pytest.raises(NotOpened) as wrong:
        reopened(path, Secret("correct horse batterie"))
    values = json.loads(path.read_bytes())
    values["seal"] = base64.b64encode(b"\0" * 32).decode("ascii")
    path.write_bytes((json.dumps(values, indent=1) + "\n").encode("ascii"))
    with pytest.raises(NotOpened) as changed:
        reopened(path)
    assert str(wrong.value) == str(changed.value)
    assert str(wrong.value).startswith("shop.yaml.vault was not opened: the passphrase is not the one it was sealed with, or ")


def test_how_accents_were_typed_does_not_matter(path: Path) -> None:
    create_vault(path, Secret("Schlu\u0308ssel im Fluß"), note=nobody, cost=CHEAP)
    assert reopened(path, Secret("Schl\u00fcssel im Fluß")).names() == ()


def test_the_file_does_not_tell_how_long_a_code_is(path: Path) -> None:
    made = create_vault(path, PASSPHRASE, note=nobody, cost=CHEAP)
    sizes = set()
    for text in ("1", "4711", "471147", "x" * 200):
        made.put("code", Secret(text))
        sizes.add(path.stat().st_size)
    assert len(sizes) == 1


def test_no_nonce_and_no_salt_comes_twice(vault: Vault, path: Path) -> None:
    seen = set()
    for _ in range(50):
        vault.put("user/1", Secret("4711"))
        seen.add(json.loads(path.read_bytes())["entries"]["user/1"]["nonce"])
    assert len(seen) == 50
    before = json.loads(path.read_bytes())["key"]["salt"]
    vault.change_passphrase(PASSPHRASE, cost=CHEAP)
    assert json.loads(path.read_bytes())["key"]["salt"] != before


def test_another_passphrase(vault: Vault, path: Path) -> None:
    other, new = reopened(path), Secret("another horse battery")
    vault.change_passphrase(new, cost=CHEAP)
    assert vault.get("user/1").reveal() == reopened(path, new).get("user/1").reveal() == "4711"
    with pytest.raises(NotOpened):
        reopened(path)
    with pytest.raises(StoreError, match="passphrase was changed"):
        other.put("user/1", Secret("1"))


@pytest.mark.parametrize("passphrase", ["", "short", "x" * 11, "x" * 1025])
def test_a_passphrase_too_short_or_too_long_is_refused(vault: Vault, tmp_path: Path, passphrase: str) -> None:
    with pytest.raises(StoreError, match="12 to 1024"):
        create_vault(tmp_path / "new.vault", Secret(passphrase), note=nobody, cost=CHEAP)
    with pytest.raises(StoreError, match="12 to 1024"):
        vault.change_passphrase(Secret(passphrase), cost=CHEAP)
    assert not (tmp_path / "new.vault").exists()


@pytest.mark.parametrize("name", ["", "4711", "1st", "a b", "../x", "a//b", "a\nb", "x" * 65, "-x", "a/", "a\0"])
def test_what_is_no_name_is_refused_and_not_repeated(vault: Vault, name: str) -> None:
    for act in (lambda: vault.put(name, Secret("1")), lambda: vault.get(name), lambda: vault.remove(name)):
        with pytest.raises(StoreError, match="cannot be the name") as refused:
            act()
        assert len(name) < 3 or name not in str(refused.value)


@pytest.mark.parametrize("text", ["", "x" * 4097])
def test_a_secret_of_no_or_too_much_text_is_refused(vault: Vault, text: str) -> None:
    with pytest.raises(StoreError, match="1 to 4096 bytes"):
        vault.put("user/1", Secret(text))
    assert vault.get("user/1").reveal() == "4711"


@pytest.mark.parametrize(
    "change",
    [
        {"memory_kib": 1 << 30}, {"passes": 10**9}, {"lanes": 0}, {"passes": 1.0}, {"passes": True}, {"salt": ""}, {"version": 16},
        {"by": "md5"},
    ],
)  # fmt: skip
def test_a_header_that_asks_for_the_impossible_is_refused_before_it_is_obeyed(vault: Vault, path: Path, change: dict[str, object]) -> None:
    values = json.loads(path.read_bytes())
    values["key"] |= change
    path.write_bytes((json.dumps(values, indent=1) + "\n").encode("ascii"))
    with pytest.raises(NotAVault, match="not a vault, or is damaged"):
        reopened(path)


@pytest.mark.parametrize("raw", [b"", b"{}", b"null", b"[" * 100_000, b"\xff", b"9" * 5000, b"x" * 4_000_001])
def test_what_is_not_a_vault_at_all(path: Path, raw: bytes) -> None:
    path.write_bytes(raw)
    with pytest.raises(NotAVault):
        names_in(path)


def test_no_vault_a_folder_a_link_and_a_pipe(path: Path, tmp_path: Path, vault: Vault) -> None:
    with pytest.raises(NoVault, match="no such vault"):
        reopened(tmp_path / "none.vault")
    (tmp_path / "folder.vault").mkdir()
    (tmp_path / "link.vault").symlink_to(path)
    os.mkfifo(tmp_path / "pipe.vault")
    for name in ("folder", "link", "pipe"):
        with pytest.raises(StoreError):
            reopened(tmp_path / f"{name}.vault")


def test_a_vault_that_is_there_is_not_made_again(vault: Vault, path: Path) -> None:
    before = path.read_bytes()
    with pytest.raises(StoreError, match="is there already"):
        create_vault(path, Secret("another horse battery"), note=nobody, cost=CHEAP)
    assert path.read_bytes() == before


def test_the_file_is_its_owners_alone(vault: Vault, path: Path) -> None:
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o644)
    vault.put("user/1", Secret("1"))
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_disk_that_is_full_leaves_the_file_as_it_was(vault: Vault, path: Path, notes: Notes, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    before = path.read_bytes()
    monkeypatch.setattr(vault_module, "write_whole", full)
    with pytest.raises(StoreError, match="was not written: no space left"):
        vault.put("user/1", Secret("1"))
    assert path.read_bytes() == before
    assert notes == [("put", "user/1"), ("not done after all", "user/1")]
    assert [each.name for each in path.parent.iterdir()] == [path.name]


def test_paths_follow_a_link_to_the_job(tmp_path: Path) -> None:
    (tmp_path / "real.yaml").write_text("x", encoding="utf-8")
    (tmp_path / "link.yaml").symlink_to(tmp_path / "real.yaml")
    assert vault_path(tmp_path / "link.yaml").name == "real.yaml.vault"
    assert trail_path(tmp_path / "link.yaml").name == "real.yaml.vault.trail"


def _put_many(path: str, who: str, times: int) -> None:
    opened = open_vault(Path(path), PASSPHRASE, note=nobody)
    for number in range(times):
        opened.put(f"{who}/{number}", Secret(f"{who}{number}"))


def test_two_processes_lose_nothing(path: Path) -> None:
    create_vault(path, PASSPHRASE, note=nobody, cost=CHEAP)
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=_put_many, args=(str(path), who, 25)) for who in ("ada", "ben")]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert [worker.exitcode for worker in workers] == [0, 0]
    opened = reopened(path)
    assert {name: opened.get(name).reveal() for name in opened.names()} == {
        f"{who}/{number}": f"{who}{number}" for who in ("ada", "ben") for number in range(25)
    }


# What a rule may know.


def test_facts_and_never_the_code(vault: Vault) -> None:
    for name, text in (("user/1", "4711"), ("user/2", "4712"), ("user/long", "94711"), ("installer", "0852"), ("factory/control", "0852")):
        vault.put(name, Secret(text))
    for name, text in (("duress/1", "4711"), ("user/run", "8901"), ("user/pieces", "2727"), ("user/word", "4a11"), ("key/path", "4711")):
        vault.put(name, Secret(text))
    found = {code.name: code for code in vault.facts()}
    assert set(found) == {"user/1", "user/2", "user/long", "installer", "duress/1", "user/run", "user/pieces", "user/word"}
    four = CodeFacts(name="", length=4, digits_only=True)
    assert found["user/1"] == replace(four, name="user/1", same_as=("duress/1",), one_away=("user/2", "user/long", "user/word"))
    assert found["user/2"] == replace(four, name="user/2", one_away=("duress/1", "user/1"))
    assert found["user/run"] == replace(four, name="user/run", is_sequence=True)
    assert found["user/pieces"] == replace(four, name="user/pieces", is_repeated=True)
    assert found["installer"] == replace(four, name="installer", is_factory=True)
    assert found["user/word"] == replace(four, name="user/word", digits_only=False, one_away=("duress/1", "user/1"))
    assert not re.search("4711|4712|0852|8901|2727|4a11", repr(found))


@given(texts=st.lists(st.text("01a", max_size=6), max_size=8))
def test_near_codes_are_those_one_edit_apart(texts: list[str]) -> None:
    named = {f"user/{number}": text for number, text in enumerate(texts)}
    for code in facts_of({name: Secret(text) for name, text in named.items()}):
        own = named[code.name]
        apart = {other: edits(own, text) for other, text in named.items() if other != code.name}
        assert set(code.same_as) == {other for other, steps in apart.items() if steps == 0}
        assert set(code.one_away) == {other for other, steps in apart.items() if steps == 1}
        assert code.is_repeated == any(own[:piece] * (len(own) // piece) == own for piece in range(1, len(own) // 2 + 1))


@pytest.mark.parametrize(("one", "other", "expected"), [("kitten", "sitting", 3), ("", "abc", 3), ("1234", "1234", 0), ("1234", "4123", 2)])
def test_edit_distances_by_hand(one: str, other: str, expected: int) -> None:
    assert edits(one, other) == edits(other, one) == expected


def _edits_by_definition(one: str, other: str) -> int:
    if not one or not other:
        return len(one) + len(other)
    return min(
        _edits_by_definition(one[1:], other) + 1,
        _edits_by_definition(one, other[1:]) + 1,
        _edits_by_definition(one[1:], other[1:]) + (one[0] != other[0]),
    )


@given(st.text("012", max_size=5), st.text("012", max_size=5))
def test_edit_distances_by_their_definition(one: str, other: str) -> None:
    assert edits(one, other) == _edits_by_definition(one, other)


# A secret shows itself to nobody.


@pytest.mark.parametrize("shown", [repr, str, format, lambda each: f"{each!r:>20}", lambda each: f"{[each]}", "{:x}".format])
def test_a_secret_is_not_shown(shown: Callable[[Secret], str]) -> None:
    assert "planted" not in shown(Secret("planted"))


def test_a_secret_is_not_copied_pickled_hashed_or_written_as_json() -> None:
    secret = Secret("planted")
    for act in (pickle.dumps, copy.copy, copy.deepcopy, hash, json.dumps, vars, bytes, len, iter):
        with pytest.raises(TypeError) as refused:
            act(secret)
        assert "planted" not in str(refused.value)
    keys = keys_from(secret, b"s" * 16, CHEAP)
    for refuse in (pickle.dumps, copy.copy):
        with pytest.raises(TypeError):
            refuse(keys)


def test_secrets_are_equal_by_what_they_say() -> None:
    assert Secret("a") == Secret("a")
    assert Secret("a") != Secret("b")
    assert Secret("a") != "a"


def test_what_is_no_text_is_refused_without_repeating_it() -> None:
    text = "".join(("pla", "nted"))
    for make in (lambda: Secret(text + "\ud800"), lambda: Secret.of_bytes(text.encode() + b"\xff")):
        with pytest.raises(ValueError, match="not a character") as refused:
            make()
        assert text not in "".join(traceback.format_exception(refused.value))
        assert refused.value.__context__ is None


def test_a_planted_secret_is_found_nowhere_after_many_failures(
    tmp_path: Path, path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fail in every way there is, and look for the secret and the passphrase in everything that is left behind."""
    caplog.set_level(logging.DEBUG)
    planted, words = "planted-739164820517-secret", "planted-passphrase-42"
    secret, passphrase = Secret(planted), Secret(words)
    audit = vault_module_audit(tmp_path)
    made = create_vault(path, passphrase, note=audit, cost=CHEAP)
    made.put("code", secret)
    made.put("user/1", secret)
    good, heard = path.read_bytes(), [repr(made), repr(secret), repr(made.facts())]

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    def failing(act: Callable[[], object], damage: bytes = good) -> None:
        path.write_bytes(damage)
        try:
            act()
        except Exception as error:
            logging.getLogger("test").exception("failed")
            heard.extend(("".join(traceback.format_exception(error)), repr(error), str(error), repr(error.args)))
        else:
            pytest.fail("this was to fail")

    failing(lambda: open_vault(path, Secret(planted), note=audit))
    failing(lambda: made.put(planted + " ", secret))
    failing(lambda: made.put("739164820517", secret))
    failing(lambda: made.get("none"))
    failing(lambda: made.put("code", Secret(planted * 300)))
    failing(lambda: made.change_passphrase(Secret(planted[:11])))
    failing(lambda: create_vault(path, passphrase, note=audit, cost=CHEAP))
    failing(lambda: Secret(planted + "\udc80"))
    failing(lambda: Secret.of_bytes(planted.encode() + b"\xff"))
    failing(lambda: pickle.dumps(secret))
    failing(lambda: json.dumps({"code": secret}))
    for damage in (b"", good[:-9], good[:400] + b"0" + good[401:], good.replace(b'"code"', b'"cede"')):
        failing(lambda: made.get("code"), damage)
        failing(lambda: made.put("code", secret), damage)
        failing(lambda: open_vault(path, passphrase, note=audit), damage)
    monkeypatch.setattr(vault_module, "write_whole", full)
    failing(lambda: made.put("code", secret))
    failing(lambda: made.change_passphrase(Secret(words + "x"), cost=CHEAP))

    out, err = capfd.readouterr()
    left = [each.read_bytes().decode("utf-8", "replace") for each in tmp_path.rglob("*") if each.is_file()]
    everything = "\n".join([*heard, *left, caplog.text, out, err, *(str(record.__dict__) for record in caplog.records)])
    assert "was not opened" in everything
    assert "739164820517" not in everything.replace('put("739164820517"', "")
    assert words not in everything
    assert base64.b64encode(planted.encode()).decode()[:16] not in everything
    assert planted.encode().hex() not in everything


def vault_module_audit(folder: Path) -> Callable[[str, str], None]:
    """Return the noting of a real trail beside the vault."""
    from datetime import UTC, datetime

    from loopwright.store.audit import Audit

    return Audit(folder / "shop.yaml.vault.trail", by="Ada", clock=lambda: datetime(2026, 3, 2, 8, tzinfo=UTC)).note
