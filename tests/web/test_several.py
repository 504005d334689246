"""A folder of premises: what is listed, what each job's pages lead to, who may come where, and what is open at a time."""

from __future__ import annotations

import os
import re
import warnings
from collections.abc import Iterator
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

import loopwright.demo
from loopwright.job.edit import SetField
from loopwright.job.starter import fresh
from loopwright.store.api_token import ApiTokens, Scope, tokens_path
from loopwright.store.file import JobFile, StoreError
from loopwright.store.folder import JobFolder
from loopwright.store.person import Right
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.store.vault import create_vault
from loopwright.web.app import create_app
from loopwright.web.new_premises import USUAL, faults_of
from loopwright.web.refusal import NO_CHANGE
from loopwright.web.rooms.register import ROOMS
from loopwright.web.session import Session
from loopwright.web.several import create_several
from loopwright.web.shelf import Opened, Shelf
from loopwright.web.visitor import Visitor

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1"
VISIT = {"Accept": "text/html", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Site": "same-origin"}
FORM = {"Origin": BASE}
TOP = ("/static/", "/sign-out", "/sign-in", "/you", "/people", "/ways-in")
"""What a job's pages may lead to outside of it, and the list of all premises, which is \"/\" itself."""
ADDRESS = re.compile(r"""(?:href|action|src|formaction)="([^"#][^"]*)\"""")
FETCHED = re.compile(r"""(?:fetch|assign|show)\((?:"([^"]+)"|`([^`]+)`)""")
STATIC = Path(loopwright.demo.__file__).parent.parent / "web" / "static"


class Office:
    """A folder with two jobs, opened as the workbench opens them, and what was closed again."""

    def __init__(self, path: Path, *, most: int = 16, visitor: Visitor | None = None) -> None:
        self.path = path
        self.closed: list[str] = []
        self.opened: list[str] = []
        self.shelf = Shelf(JobFolder(path), self.open, most=most)
        more = {} if visitor is None else {"visitor": visitor}
        app = create_several(self.shelf, token=None, tokens_of=tokens_of, **more)
        self.client = TestClient(app, base_url=BASE, follow_redirects=False)

    def open(self, path: Path) -> Opened:
        self.opened.append(path.stem)
        return Opened(Session(JobFile(path)), lambda: self.closed.append(path.stem))

    def page(self, address: str, **more: Any) -> Any:
        return self.client.get(address, headers={"Accept": "text/html", "Sec-Fetch-Mode": "navigate"} | more)


def tokens_of(job: Path) -> ApiTokens:
    return ApiTokens(tokens_path(job), note=lambda *_: None)


def begun(title: str) -> str:
    return fresh(title=title, name=title, country="GB", ruleset="en-grade-2", units="metric")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "bindery.yaml").write_text(loopwright.demo.text("business"), encoding="utf-8")
    (tmp_path / "larch.yaml").write_text(begun("Larch Cottage"), encoding="utf-8")
    return tmp_path


@pytest.fixture
def office(folder: Path) -> Iterator[Office]:
    made = Office(folder)
    with made.client:
        yield made


def addresses(html: str, at: str) -> set[str]:
    """Return every address a page leads to or asks for, as the browser has it."""
    found = {urljoin(at, unescape(each)) for each in ADDRESS.findall(html)}
    return {each for each in found if urlsplit(each).scheme in ("http", "")}


@pytest.mark.parametrize("name", ["bindery", "larch", ""])
def test_every_link_of_every_room_stays_in_the_job_and_leads_somewhere(folder: Path, name: str) -> None:
    if name:
        client, base = Office(folder).client, f"/at/{name}/"
    else:
        client, base = (
            TestClient(create_app(Session(JobFile(folder / "bindery.yaml")), token=None), base_url=BASE, follow_redirects=False),
            "/",
        )
    opened = "?open=d:circuits/c01&open=d:cables/W10&open=d:equipment/control&open=d:sheets/equipment/oq-c32"
    pages = [urljoin(base, room.address) for room in ROOMS]
    pages += [urljoin(base, each) + opened for each in ("kit", "wiring")] + [urljoin(base, "secrets/sheet")]
    asked: dict[str, str] = {}
    for page in pages:
        answer = client.get(page)
        assert answer.status_code == 200, page
        html = answer.json()["sheet"] if page.endswith("/sheet") else answer.text
        asked |= {each.partition("#")[0]: page for each in addresses(html, urljoin(BASE, page.replace("secrets/sheet", "secrets")))}
    assert len(asked) > 30
    tried: set[str] = set()
    for address, page in asked.items():
        path = urlsplit(address).path
        if path.startswith(base) and not (base == "/" and path.startswith(TOP)):
            # One question of each kind stands for those that are alike: there are hundreds of workings.
            if path not in tried:
                assert client.get(address).status_code in (200, 303), (page, address)
            tried.add(path)
        else:
            assert path == "/" or path.startswith(TOP), (page, address)
    assert client.get(urljoin(base, "go?path=cables/W1/bus")).headers["location"].startswith("./wiring?")


def test_what_the_pages_ask_for_in_scripts_is_relative_and_there(office: Office) -> None:
    fetched = {next(filter(None, found)) for script in STATIC.glob("*.js") for found in FETCHED.findall(script.read_text(encoding="utf-8"))}
    own = {each.split("?")[0].split("${")[0].strip("./") for each in fetched}
    assert {"edit", "search", "revision", "choices", "form", "go"} <= own
    assert not [each for each in fetched if each.startswith("/")]
    routes = {path.split("{")[0].strip("/") for held in [office.shelf.take("larch")] for path in paths(held.app)}
    assert not [each for each in own if not any(route == each or route.startswith(f"{each}/") for route in routes)]


def paths(app: Any) -> set[str]:
    return {getattr(route, "path", "") for route in app.routes}


def test_a_job_below_its_prefix_is_changed_and_no_other_is(office: Office) -> None:
    change = {"do": "set", "path": "title", "text": "Larch House", "room": "front", "query": "", "mark": "a"}
    answer = office.client.post("/at/larch/edit", json=change, headers=FORM)
    assert answer.status_code == 200 and answer.json()["problems"] == [], answer.text
    assert "title: Larch House" in (office.path / "larch.yaml").read_text(encoding="utf-8")
    assert (office.path / "bindery.yaml").read_text(encoding="utf-8") == loopwright.demo.text("business")
    assert "Larch House" in office.page("/").text


def test_what_is_put_into_the_folder_or_changed_there_is_seen_without_a_new_start(office: Office) -> None:
    assert "Willow" not in office.page("/").text and office.page("/at/willow/").status_code == 404
    (office.path / "willow.yaml").write_text(begun("Willow Court"), encoding="utf-8")
    assert 'href="/at/willow/"' in office.page("/").text and "Willow Court" in office.page("/at/willow/").text
    (office.path / "willow.yaml").write_text(begun("Willow Yard"), encoding="utf-8")
    assert "Willow Yard" in office.page("/").text and "Willow Yard" in office.page("/at/willow/kit").text
    (office.path / "willow.yaml").unlink()
    assert "Willow" not in office.page("/").text


def test_a_file_that_cannot_be_opened_is_listed_with_its_reason(office: Office) -> None:
    (office.path / "torn.yaml").write_text("format: 1\ntitle: <b>Torn</b>\npremises: [\n", encoding="utf-8")
    (office.path / "two words.yaml").write_text(begun("Two words"), encoding="utf-8")
    (office.path / "larch.yml").write_text(begun("The other Larch"), encoding="utf-8")
    (office.path / "gone.yaml").symlink_to(office.path / "nowhere.yaml")
    page = office.page("/").text
    assert "&lt;b&gt;Torn" in page and "This is not YAML" in page and 'href="/at/torn/"' not in page
    assert "rename it" in page and "larch.yaml has the same name" in page
    shut = office.page("/at/torn/")
    assert shut.status_code == 422 and "This is not YAML" in shut.text and 'href="/"' in shut.text
    (office.path / "torn.yaml").write_text(begun("Mended"), encoding="utf-8")
    assert office.page("/at/torn/").status_code == 200


@pytest.mark.parametrize("name", ["..", "%2e%2e", "nowhere", "larch%2f..", ".hidden", "larch.yaml", "a%00b"])
def test_no_name_leads_out_of_the_folder(office: Office, name: str) -> None:
    (office.path.parent / "outside.yaml").write_text(begun("Outside"), encoding="utf-8")
    for address in (f"/at/{name}/", f"/at/{name}/../outside/", f"/at/{name}%2foutside/"):
        answer = office.page(address)
        assert answer.status_code in (404, 303, 307) or "All premises" in answer.text, address
        assert "Outside" not in answer.text
    assert "outside" not in office.opened


def test_at_most_so_many_are_open_and_the_longest_unused_is_closed(tmp_path: Path) -> None:
    for name in "abcd":
        (tmp_path / f"{name}.yaml").write_text(begun(name.upper()), encoding="utf-8")
    office = Office(tmp_path, most=2)
    for name in ("a", "b", "a", "c"):
        assert office.page(f"/at/{name}/").status_code == 200
    assert office.opened == ["a", "b", "c"]
    assert office.page("/at/d/").status_code == 200 and office.closed[0] == "b"
    # One that is being answered stays open, however long ago it was asked.
    held = office.shelf.take("a")
    for name in ("b", "c", "d", "b"):
        office.page(f"/at/{name}/")
    assert "a" not in office.closed[office.closed.count("a") and len(office.closed) :]
    assert held.opened.session is office.shelf.session("a")
    office.shelf.give_back(held)
    office.shelf.close_all()
    assert office.closed.count("a") == office.opened.count("a")


def test_new_premises_are_made_and_opened(office: Office) -> None:
    facts = {"title": "../../etc: # 'Überhaus'", "name": "", "country": " ie ", "ruleset": "en-grade-2", "units": "us"}
    answer = office.client.post("/new", data=facts, headers=FORM)
    assert answer.status_code == 303 and answer.headers["location"] == "/at/etc-uberhaus/"
    session = Session(JobFile(office.path / "etc-uberhaus.yaml"))
    assert session.state.job.title == facts["title"] and session.state.job.region.country == "IE"
    assert session.edit(SetField("title", "Done")) == ()
    assert "What goes in first" in office.page("/at/etc-uberhaus/").text
    assert office.client.post("/new", data=facts, headers=FORM).headers["location"] == "/at/etc-uberhaus-2/"


@given(text=st.text(max_size=300), field=st.sampled_from(sorted(USUAL)))
def test_whatever_is_typed_is_told_in_place_or_makes_a_job(text: str, field: str) -> None:
    facts = USUAL | {"title": "Larch", "name": "Larch"} | {field: " ".join(text.split())}
    found = faults_of(facts)
    assert set(found) <= {field}
    if not found:
        assert fresh(**facts)


def test_a_bad_entry_is_told_beside_it_and_nothing_is_lost_or_made(office: Office) -> None:
    facts = {"title": "Yew <b>", "name": "Yew", "country": "Britain", "ruleset": "mine", "units": "yards"}
    answer = office.client.post("/new", data=facts, headers=FORM)
    assert answer.status_code == 422 and 'value="Yew &lt;b&gt;"' in answer.text
    for words in ("Two letters", "There are no such rules", "is not a word that can stand here"):
        assert words in unescape(answer.text)
    assert sorted(path.name for path in office.path.glob("*.yaml")) == ["bindery.yaml", "larch.yaml"]
    assert office.client.post("/new", data=facts).status_code == 403


def test_who_may_not_change_makes_nothing_and_who_may_not_read_sees_nothing(folder: Path) -> None:
    reader = Office(folder, visitor=Visitor(name="Rita", rights=frozenset({Right.READ_JOB})))
    assert 'href="/new"' not in reader.page("/").text and reader.page("/new").status_code == 403
    assert reader.client.post("/new", data=USUAL | {"title": "Mine"}, headers=FORM).status_code == 403
    assert reader.page("/at/larch/").status_code == 200
    nobody = Office(folder, visitor=Visitor(name="nobody", rights=frozenset()))
    for address in ("/", "/at/larch/", "/at/nowhere/", "/at/larch/choices"):
        assert nobody.page(address).status_code == 403, address
    assert nobody.opened == []


def test_a_token_counts_for_its_own_job_alone(office: Office) -> None:
    token = tokens_of(office.path / "larch.yaml").make("office", frozenset({Scope.READ}), by="Ana", now=datetime.now(UTC)).reveal()
    bearer = {"Authorization": f"Bearer {token}"}
    answer = office.client.get("/at/larch/api/v1/job", headers=bearer)
    assert answer.status_code == 200 and answer.json()["title"] == "Larch Cottage"
    for address in ("/at/bindery/api/v1/job", "/at/nowhere/api/v1/job", "/api/v1/job"):
        assert office.client.get(address, headers=bearer).status_code in (401, 404), address
    assert office.client.get("/at/bindery/api/v1/job").status_code == 401
    # The document is the same for every job, but opens none for a stranger.
    assert office.client.get("/at/bindery/api/openapi.json").status_code == 401
    assert office.client.get("/at/larch/api/openapi.json", headers=bearer).json()["servers"] == [{"url": "../api"}]
    assert office.opened == ["larch"]


def test_a_folder_that_goes_away_is_told(office: Office) -> None:
    for path in office.path.iterdir():
        os.unlink(path)
    office.path.rmdir()
    assert "cannot be read" in office.page("/").text
    with pytest.raises(StoreError):
        office.shelf.take("larch")


def test_the_printed_address_leads_into_the_job_that_is_meant(folder: Path) -> None:
    app = create_several(Office(folder).shelf, token="key", tokens_of=tokens_of, first="bindery")
    with TestClient(app, base_url=BASE, follow_redirects=False) as client:
        assert client.get("/at/bindery/").status_code == 403
        assert 'url=/at/bindery/"' in client.get("/?key=key").text
        assert "Fennimarch" in client.get("/at/bindery/").text and client.get("/").status_code == 200


def test_what_has_no_form_is_told_in_the_pages_words_and_never_repeated(bench: Any, folder: Path) -> None:
    """At the list, at the entrance and in a job alike: the library's own answer would repeat what was sent."""
    ways, planted = bench.entrance.ways, "a-password-in-the-wrong-place"
    bench.app = create_several(Office(folder).shelf, token=None, hosts=ways.hosts, entrance=bench.entrance, tokens_of=tokens_of)
    ada, stranger = bench.come_in("Ada"), bench.browser()
    origin = {"Origin": str(ada.base_url).rstrip("/")}
    a_file = {"files": {name: (f"{name}.txt", planted) for name in ("password", "title", "old")}}
    for browser, address in ((stranger, "/sign-in"), (ada, "/new"), (ada, "/people/prove"), (ada, "/you/password")):
        page = browser.post(address, headers=VISIT | origin, **a_file)
        assert page.status_code == 422 and "This was not done" in page.text and planted not in page.text, address
        words = browser.post(address, headers=origin, **a_file)
        assert words.json() == {"problems": [{"path": "", "message": NO_CHANGE}]}, address
    for address in ("/at/larch/edit", "/at/larch/secrets/open"):
        answer = ada.post(address, json={"do": planted, "passphrase": [planted]}, headers=origin)
        assert answer.status_code == 422 and answer.json()["problems"][0]["message"] == NO_CHANGE


def test_people_come_in_once_for_all_jobs(bench: Any, folder: Path) -> None:
    office = Office(folder)
    ways = bench.entrance.ways
    bench.app = create_several(office.shelf, token=None, hosts=ways.hosts, entrance=bench.entrance, tokens_of=tokens_of)
    sent = bench.browser().visit("/at/larch/wiring?open=d:cables/W1")
    assert sent.status_code == 303 and "then=/at/larch/wiring" in sent.headers["location"] and office.opened == []
    rita, ada = bench.come_in("Rita"), bench.come_in("Ada")
    assert "All premises" in rita.visit("/at/larch/").text and rita.visit("/new").status_code == 403
    assert 'href="/you"' in rita.visit("/at/larch/kit").text and rita.visit("/you").status_code == 200
    page = ada.visit("/new")
    assert page.status_code == 200 and ada.visit("/people").status_code == 200
    made = ada.hand_in("/new", **(USUAL | {"title": "Yew Lodge"}))
    assert made.headers["location"] == "/at/yew-lodge/" and ada.visit("/at/yew-lodge/").status_code == 200
    vaults, passphrase = office.shelf.take("larch").vaults, "correct horse battery"
    assert vaults is not None
    create_vault(vaults.path, Secret(passphrase), note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1))
    opened = ada.post("/at/larch/secrets/open", json={"passphrase": passphrase}, headers={"Origin": str(ada.base_url)})
    assert opened.json()["problem"] == "" and len(vaults._held) == 1
    ada.hand_in("/sign-out")
    assert not vaults._held and ada.visit("/at/larch/").status_code == 303
