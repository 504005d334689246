"""The room Secrets by its addresses: who may do what, and a planted secret that is found nowhere but where it was asked for."""

from __future__ import annotations

import logging
import re
import warnings
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

import loopwright.demo
from loopwright.appraisal.appraise import Appraisal, appraise, judge_codes
from loopwright.appraisal.findings_form import findings_form
from loopwright.job.read import read
from loopwright.papers import PAPERS
from loopwright.store.kept import keep
from loopwright.store.person import RIGHTS, Right, Role
from loopwright.store.seal import Cost
from loopwright.store.vault import create_vault
from loopwright.values.code import CodeFacts
from loopwright.web.app import create_app
from loopwright.web.print_run import moment
from loopwright.web.rooms.register import ROOMS
from loopwright.web.session import Session
from loopwright.web.vault_open import LIMITS
from loopwright.web.visitor import EVERY_RIGHT, Visitor

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"
PASSPHRASE = "planted-passphrase-608135529417"
SECRET = "739164820517724415"
OTHER = "739164820517724416"
PLANTED = (PASSPHRASE, SECRET, OTHER)
CHANGES = ("make", "put", "remove")


class Desk:
    """A workbench with its history, asked by its addresses; everything it answers is kept."""

    def __init__(self, folder: Path, rights: frozenset[Right] = EVERY_RIGHT, name: str = "Ada") -> None:
        self.path = folder / "shop.yaml"
        if not self.path.exists():
            self.path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
        file, trouble = keep(self.path, by=name, clock=moment)
        assert not trouble
        self.session = Session(file)
        app = create_app(self.session, token=None, visitor=Visitor(name=name, rights=rights))
        self.client = TestClient(app, base_url=BASE, raise_server_exceptions=False)
        self.heard: list[str] = []

    def get(self, address: str) -> Any:
        return self._kept(self.client.get(address))

    def post(self, address: str, body: Any = None, **more: Any) -> Any:
        return self._kept(self.client.post(address, **({"json": body} if body is not None else {}), headers={"Origin": BASE}, **more))

    def asked(self, what: str, **body: str) -> dict[str, str]:
        answer = self.post(f"/secrets/{what}", body)
        assert answer.status_code == 200, answer.text
        said: dict[str, str] = answer.json()
        return said

    def done(self, what: str, **body: str) -> str:
        said = self.asked(what, **body)
        assert said["problem"] == ""
        return said["sheet"]

    def put(self, name: str, secret: str) -> str:
        return self.done("put", name=name, secret=secret, again=secret)

    def sheet(self) -> str:
        return str(self.get("/secrets/sheet").json()["sheet"])

    def _kept(self, answer: Any) -> Any:
        self.heard.append(f"{answer.request.url} {dict(answer.headers)} {answer.text}")
        return answer


@pytest.fixture(autouse=True)
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a new vault open at once."""
    assert create_vault.__kwdefaults__ is not None
    monkeypatch.setitem(create_vault.__kwdefaults__, "cost", Cost(passes=1, memory_kib=8, lanes=1))


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """Return a workbench whose vault is open, with a user's code and one a place away from it."""
    made = Desk(tmp_path)
    made.done("make", passphrase=PASSPHRASE, again=PASSPHRASE)
    made.put("user/owner", SECRET)
    made.put("user/sitter", OTHER)
    return made


def test_from_no_vault_to_one_that_is_closed_and_opened_again(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    assert "Make the vault" in desk.sheet()
    assert "not the same twice" in desk.asked("make", passphrase=PASSPHRASE, again=f"{PASSPHRASE} ")["problem"]
    assert "12 to 1024 characters" in desk.asked("make", passphrase="short", again="short")["problem"]
    opened = desk.done("make", passphrase=PASSPHRASE, again=PASSPHRASE)
    assert opened.count("not on record") == len(desk.session.state.job.users)
    assert "Identify the caller" in opened and "Every showing is noted" in opened
    after = desk.put("user/owner", "2580")
    assert after.count("not on record") == len(desk.session.state.job.users) - 1 and "4 digits" in after
    assert "Open the vault" in desk.done("close")
    for what, body in (("show", {"name": "user/owner"}), ("put", {"name": "a", "secret": "1", "again": "1"}), ("remove", {"name": "a"})):
        assert desk.asked(what, **body)["problem"] == "The vault is closed. Open it again."
    assert "was not opened" in desk.asked("open", passphrase="wrong horse battery")["problem"]
    assert "Close the vault" in desk.done("open", passphrase=PASSPHRASE)
    assert desk.asked("show", name="user/owner")["secret"] == "2580"
    assert "user/owner" in desk.done("remove", name="user/owner") and desk.sheet().count("not on record") == len(
        desk.session.state.job.users
    )


def test_each_showing_is_noted_first_with_who_asked(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    trail = Path(f"{desk.path}.vault.trail")
    assert desk.asked("show", name="user/owner")["secret"] == SECRET
    last = trail.read_text(encoding="utf-8").splitlines()[-1]
    assert '"act":"read"' in last and '"by":"Ada"' in last and '"subject":"user/owner"' in last
    trail.unlink()
    trail.mkdir()
    said = desk.asked("show", name="user/owner")
    assert "could not be noted" in said["problem"] and "secret" not in said


@pytest.mark.parametrize("role", Role)
def test_each_role_gets_what_its_rights_say(tmp_path: Path, role: Role) -> None:
    Desk(tmp_path).done("make", passphrase=PASSPHRASE, again=PASSPHRASE)
    Desk(tmp_path, name="Owner").done("open", passphrase=PASSPHRASE)
    desk = Desk(tmp_path, RIGHTS[role], role)
    may_read, may_change = Right.READ_SECRETS in RIGHTS[role], Right.CHANGE_SECRETS in RIGHTS[role]
    assert (desk.get("/secrets").status_code == 200) is may_read
    assert (">Secrets<" in desk.get("/").text) is may_read
    bodies = {
        "open": {"passphrase": PASSPHRASE}, "make": {"passphrase": PASSPHRASE}, "show": {"name": "user/1"}, "close": {},
        "put": {"name": "user/1", "secret": SECRET, "again": SECRET}, "remove": {"name": "user/1"},
    }  # fmt: skip
    assert (desk.get("/secrets/sheet").status_code == 200) is may_read
    for what, body in bodies.items():
        allowed = may_change if what in CHANGES else may_read
        assert desk.post(f"/secrets/{what}", body).status_code == (200 if allowed else 403), what
    if may_read and not may_change:
        sheet = desk.done("open", passphrase=PASSPHRASE)
        assert 'data-act="change"' not in sheet and "secret-in" not in sheet


def test_a_vault_is_open_for_who_opened_it_only(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody of the same name who comes from elsewhere is somebody else."""
    assert "Close the vault" in desk.sheet()
    for visitor in (Visitor(name="Ben"), Visitor(name="Ada", sitting="1")):
        monkeypatch.setattr("loopwright.web.vault_asked.visitor_of", lambda _, visitor=visitor: visitor)
        assert "Open the vault" in desk.sheet()
        assert desk.asked("show", name="user/owner")["problem"] == "The vault is closed. Open it again."


def test_who_signs_out_leaves_no_vault_open(bench: Any) -> None:
    """Two people from elsewhere, each with the vault open for themselves; one goes, and comes again."""
    ina, ada = bench.come_in("Ina"), bench.come_in("Ada")
    origin = {"Origin": str(ina.base_url).rstrip("/")}
    made = ina.post("/secrets/make", json={"passphrase": PASSPHRASE, "again": PASSPHRASE}, headers=origin)
    assert "Open for Ina alone" in made.json()["sheet"]
    assert "Open the vault" in ada.get("/secrets/sheet").json()["sheet"]
    ada.post("/secrets/open", json={"passphrase": PASSPHRASE}, headers=origin)
    ina.hand_in("/sign-out")
    assert ina.get("/secrets/sheet").status_code == 401
    assert "Open the vault" in bench.come_in("Ina").get("/secrets/sheet").json()["sheet"]
    assert "Open for Ada alone" in ada.get("/secrets/sheet").json()["sheet"]
    # Whoever signs in where Ada was puts an end to what was hers there.
    ada.hand_in("/sign-in", name="Rita", password=bench.passwords["Rita"])
    assert "Open the vault" in bench.come_in("Ada").get("/secrets/sheet").json()["sheet"]
    trail = Path(f"{bench.path}.vault.trail").read_text(encoding="utf-8")
    assert [re.search('"by":"(\\w+)"', line)[1] for line in trail.splitlines()][:2] == ["Ina", "Ina"] and '"by":"Ada"' in trail


def test_who_guesses_has_to_wait(desk: Desk) -> None:
    desk.done("close")
    for _ in range(LIMITS.free):
        assert "was not opened" in desk.asked("open", passphrase="wrong horse battery")["problem"]
    answer = desk.post("/secrets/open", {"passphrase": PASSPHRASE})
    assert answer.status_code == 429 and int(answer.headers["Retry-After"]) >= 1 and "Wait" in answer.json()["problem"]


def test_nothing_is_stored_on_the_way(desk: Desk) -> None:
    assert desk.get("/secrets").headers["Cache-Control"] == "no-store"
    assert desk.post("/secrets/show", {"name": "user/owner"}).headers["Cache-Control"] == "no-store"
    inputs = re.findall(r'<input type="password"[^>]*>', desk.sheet() + desk.done("close"))
    assert len(inputs) == 3
    for field in inputs:
        assert 'autocomplete="one-time-code"' in field and "name=" not in field and "value=" not in field and "data-path" not in field


def test_a_change_from_another_site_is_refused(desk: Desk) -> None:
    answer = desk.client.post("/secrets/show", json={"name": "user/owner"}, headers={"Origin": "http://evil.example"})
    assert answer.status_code == 403 and SECRET not in answer.text


# What is found by facts of the codes tells something of them.


def test_a_private_finding_cannot_stand_among_the_others_or_on_a_paper() -> None:
    job = read(loopwright.demo.text("business")).job
    codes = tuple(CodeFacts(name=name, length=3, digits_only=True, one_away=("user/x",)) for name in ("user/owner", "duress/owner"))
    whole, plain = appraise(job, codes), appraise(job)
    assert whole.private == judge_codes(plain, codes) and len(whole.private) >= 3 and not plain.private
    assert [finding.code for finding in whole.findings] == [finding.code for finding in plain.findings]
    with pytest.raises(ValueError, match="private"):
        Appraisal(**{name: getattr(plain, name) for name in plain.__slots__ if name != "findings"}, findings=whole.private)
    assert findings_form(whole) == findings_form(plain), "what programs are given"
    now = datetime(2026, 3, 2, 8, tzinfo=UTC)
    for made in PAPERS.values():
        assert made(whole, revision="0" * 12, now=now) == made(plain, revision="0" * 12, now=now)


# A planted secret.


def everywhere(desk: Desk) -> None:
    """Ask for every room, everything a page asks for, and what is nowhere; none of it tells what the codes are like."""
    before = len(desk.heard)
    for room in ROOMS:
        desk.get(room.address)
        desk.get(f"{room.address}?open=d:users/owner")
    addresses = [route.path for route in desk.client.app.routes if "GET" in (getattr(route, "methods", None) or ())]
    for address in addresses:
        if address != "/secrets/sheet":
            desk.get(re.sub(r"\{\w+(:\w+)?\}", "owner", address))
    for address in ("/working?key=variations/user/owner", "/form?what=users", "/go?path=users/owner", "/history/1.yaml"):
        desk.get(address)
    for words in ("owner", "code", SECRET):
        desk.post("/search", {"words": words})
    for name in PAPERS:
        desk.get(f"/papers/{name}.pdf")
    for do in ("undo", "redo"):
        desk.post("/edit", {"do": do})
    desk.post("/edit", {"do": "set", "path": "users/owner/role", "text": "owner of the house", "room": "secrets"})
    assert not re.findall(r"one slip of the finger|one place from|codes-near", " ".join(desk.heard[before:]))


def wrongly(desk: Desk) -> None:
    """Give secrets in every wrong way: in the wrong field, too long, too much, in an address, in a broken message."""
    for what in ("open", "make", "show", "put", "remove", "close"):
        desk.post(f"/secrets/{what}", {"name": SECRET, "secret": SECRET, "again": SECRET, "passphrase": PASSPHRASE, "more": SECRET})
        desk.post(f"/secrets/{what}", {"name": SECRET})
        desk.post(f"/secrets/{what}", [SECRET])
        desk.post(f"/secrets/{what}", content=f'{{"passphrase": "{PASSPHRASE}", "name": "{SECRET}"'.encode())
        desk.post(f"/secrets/{what}", content=f'{{"passphrase": "{PASSPHRASE}\\ud800", "secret": "{SECRET}\\ud800"}}'.encode())
    desk.done("open", passphrase=PASSPHRASE)
    for body in (
        {"secret": SECRET * 300, "again": SECRET * 300},
        {"secret": SECRET * 9999, "again": SECRET},
        {"secret": SECRET, "again": OTHER},
    ):
        desk.post("/secrets/put", {"name": "user/owner", **body})
    desk.post("/secrets/put", {"name": f"user {SECRET}", "secret": SECRET, "again": SECRET})
    desk.post("/secrets/open", {"passphrase": f"{PASSPHRASE} and more"})
    desk.post("/secrets/make", {"passphrase": PASSPHRASE, "again": PASSPHRASE})


def test_a_planted_secret_is_found_nowhere_but_where_it_was_asked_for(
    desk: Desk, tmp_path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    caplog.set_level(logging.DEBUG)
    assert "one slip of the finger" in desk.sheet()
    assert desk.client.post("/secrets/show", json={"name": "user/owner"}, headers={"Origin": BASE}).json()["secret"] == SECRET
    wrongly(desk)
    assert "not the same twice" in " ".join(desk.heard), "what was given wrongly reached an open vault"
    everywhere(desk)
    broken = Path(f"{desk.path}.vault")
    good = broken.read_bytes()
    for damage in (b"", good[:-9], good.replace(b"user/owner", b"user/ownex")):
        broken.write_bytes(damage)
        desk.get("/secrets/sheet")
        for what in ("show", "put", "remove"):
            desk.post(f"/secrets/{what}", {"name": "user/owner", **({"secret": SECRET, "again": SECRET} if what == "put" else {})})
    broken.write_bytes(good)
    monkeypatch.setattr("loopwright.store.vault.Vault.put", lambda *_: 1 / 0)
    assert desk.post("/secrets/put", {"name": "user/owner", "secret": SECRET, "again": SECRET}).status_code == 500
    out, err = capfd.readouterr()
    left = {
        "answers": " ".join(desk.heard), "log": caplog.text, "output": out + err,
        **{path.name: path.read_bytes().decode("latin-1") for path in tmp_path.rglob("*") if path.is_file()},
        "state": repr(desk.session.state) + desk.session.state.text, "history": repr(desk.session.history()),
    }  # fmt: skip
    assert {"shop.yaml.vault.trail", "shop.yaml"} <= set(left) and any(name.endswith(".db") for name in left)
    assert [(where, planted) for where, text in left.items() for planted in PLANTED if planted in text] == []
