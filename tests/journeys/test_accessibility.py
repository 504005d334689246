"""Every room and every page held against axe-core, the rules of WCAG 2.2 as Deque Systems keep them: desk and phone, light and dark.

One browser and one server; each page is opened once. By night every page is looked at in all four looks and as a whole. By day each has one
of the looks, and two of every kind of element in every place; nothing may reach over the edge at either width. The rest cost minutes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple
from urllib.parse import urljoin

import pytest

import loopwright.demo
from loopwright.job.edit import SetField
from loopwright.store.file import JobFile
from loopwright.store.kept import KeptJob
from loopwright.store.people import People
from loopwright.store.person import Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.store.sql import open_store
from loopwright.store.vault import create_vault
from loopwright.web import vault_asked
from loopwright.web.app import create_app
from loopwright.web.lan import Network, entrance_for, speaks_tls
from loopwright.web.rooms.register import ROOMS
from loopwright.web.serve import listen
from loopwright.web.session import Session
from often import DEEP

axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="oracle missing: axe-playwright-python")

PASSWORD, PASSPHRASE, CODE = "correct horse battery", "four lamps on a raft", "7391648205"
QUICK = Cost(passes=1, memory_kib=8, lanes=1)
DESK, PHONE = (1280, 860), (390, 844)
CONTRAST = {"color-contrast", "color-contrast-enhanced"}
"""4.5:1 and 7:1 (WCAG 2.2, 1.4.3 and 1.4.6): what misses the first is not told of by the second."""
FURTHER = {rule: {"enabled": True} for rule in ("color-contrast-enhanced", "target-size", "label-content-name-mismatch")}
"""Rules axe-core leaves out unless they are asked for: 7:1, targets (WCAG 2.2, 2.5.8), a name that holds what is read (2.5.3)."""
LOOKS: tuple[tuple[tuple[int, int], str, dict[str, Any]], ...] = (
    (DESK, "light", {"rules": FURTHER}),
    (DESK, "dark", {"runOnly": sorted(CONTRAST)}),
    (PHONE, "dark", {"runOnly": sorted(CONTRAST)}),
    (PHONE, "light", {"rules": FURTHER}),
)
"""The four looks, and what is asked in each: where only the sheet's colours are others, only those."""
BY_DAY = tuple((size, scheme, {"rules": FURTHER}) for size, scheme in ((DESK, "light"), (PHONE, "dark"), (DESK, "dark"), (PHONE, "light")))
"""The look a page has by day, from page to page in turn: what all pages share is seen in all four."""
THIN = """() => {
  const made = new Map();
  const shown = ["class", "type", "role", "open", "hidden", "style"];
  const kind = (each) => {
    if (!made.has(each)) {
      const own = [...each.attributes].filter(({ name }) => name !== "selected");
      const names = own.map(({ name, value }) => (shown.includes(name) ? `${name}=${value}` : name)).sort();
      const text = [...each.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
      made.set(each, `${each.localName}[${names}]${text ? "text" : ""}`);
    }
    return made.get(each);
  };
  const within = (each, above) => [above + kind(each), ...[...each.children].flatMap((child) => within(child, `${above}${kind(each)}>`))];
  const seen = new Map();
  const thin = (parent, above) => {
    for (const each of [...parent.children]) {
      const again = each !== parent.firstElementChild && within(each, above).every((one) => seen.get(one) > 1);
      if (again) each.remove();
      else { thin(each, above + kind(each) + ">"); seen.set(above + kind(each), (seen.get(above + kind(each)) ?? 0) + 1); }
    }
  };
  thin(document.body, "");
}"""
"""Takes out every sibling but the first all of whose elements are like two, each, that stay: in name, classes and attributes, and so
all the way up. Two of every kind in every place are looked at; a fault that one of many alike has by its words alone is for the night.
"""
LIST = "Device\tWhere it is\tModel\tRoom\r\nextra-1\tExtra 1\treed\tShop\r\nextra-2\tExtra 2\treed\tNowhere\r\n"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory, serve: Callable[..., Any]) -> Iterator[str]:
    """Serve one job as to a whole office: with a history, people, and a vault that opens at once."""
    folder = tmp_path_factory.mktemp("office")
    job, kept = folder / "job.yaml", folder / "people"
    job.write_text(loopwright.demo.text("business"), encoding="utf-8")
    people = People(kept, note=lambda *_: None, cost=QUICK)
    people.add("Ada", Role.OFFICE, Secret(PASSWORD), owner=True)
    people.add("Rita", Role.READER, Secret(PASSWORD))
    people.add("Ben", Role.INSTALLER, Secret(PASSWORD))
    held = KeptJob(JobFile(job), open_store(folder / "history.db"), by="Ada", clock=lambda: datetime.now(UTC))
    session = Session(held)
    session.edit(SetField("cables/W30/length_m", "90"))
    session.edit(SetField("title", "Another title"))
    listening = listen("127.0.0.1", 0)
    entrance, why = entrance_for(Network(host="127.0.0.1", people=kept), listening.getsockname()[1])
    assert why
    app = create_app(session, token=None, hosts=entrance.ways.hosts, entrance=entrance)
    with pytest.MonkeyPatch.context() as changed:
        assert create_vault.__kwdefaults__ is not None
        changed.setitem(create_vault.__kwdefaults__, "cost", QUICK)
        changed.setattr(vault_asked, "SHOWN_S", 600)
        with serve(app, on=listening, tls=speaks_tls(entrance)) as port:
            yield f"https://127.0.0.1:{port}/"
    held.close()


@pytest.fixture(scope="module")
def page(browser: Any, address: str) -> Iterator[Any]:
    """Open one page in one browser, signed in as the owner; the certificate is another test's business."""
    context = browser.new_context(viewport={"width": DESK[0], "height": DESK[1]}, ignore_https_errors=True, reduced_motion="reduce")
    context.add_init_script(axe.Axe().axe_script)
    made = context.new_page()
    made.goto(f"{address}sign-in")
    made.get_by_label("Name").fill("Ada")
    made.get_by_label("Password").fill(PASSWORD)
    made.get_by_role("button", name="Sign in").click()
    made.wait_for_url(address)
    yield made
    context.close()


class Fault(NamedTuple):
    """One thing a rule found wanting: which rule, how grave, where, and what axe-core says of it."""

    rule: str
    impact: str
    look: str
    where: str
    words: str


def faults(page: Any, within: str = "html", looks: Sequence[tuple[tuple[int, int], str, dict[str, Any]]] = LOOKS) -> list[Fault]:
    """Return what axe-core finds on the open page in each look. The page is done with then: by day it is thinned out."""
    found = []
    for width, height in (DESK, PHONE):
        page.set_viewport_size({"width": width, "height": height})
        if page.evaluate("document.documentElement.scrollWidth") > width:
            found.append(Fault("reflow", "serious", f"{width}", "html", "WCAG 2.2, 1.4.10: the page is wider than the window"))
    if not DEEP:
        page.evaluate(THIN)
    for (width, height), scheme, asked in looks:
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=scheme)
        told = page.evaluate("([where, how]) => axe.run(where, how)", [{"include": [[within]]}, {"resultTypes": ["violations"], **asked}])
        for each in told["violations"]:
            found += [Fault(each["id"], each["impact"], f"{width} {scheme}", *said(node)) for node in each["nodes"]]
    page.set_viewport_size({"width": DESK[0], "height": DESK[1]})
    return found


def said(node: Any) -> tuple[str, str]:
    return node["html"][:160], " ".join(node["failureSummary"].split())


def form(page: Any, what: str) -> None:
    page.locator(f'[data-form="{what}"]').first.click()
    page.locator("#form[open]").wait_for()
    for part in page.locator("#form details > summary").all():
        part.click()


def searched(page: Any) -> None:
    page.get_by_role("button", name="Search").click()
    page.locator("#search input").fill("keypad")
    page.locator("#search [role=option]").first.wait_for()


def listed(page: Any) -> None:
    page.locator('[data-list-in="devices"]').click()
    page.locator("#list-text").fill(LIST)
    page.locator("#list-wishes").wait_for()
    page.locator('[name="col:B"]').select_option("label")
    page.locator(".list-columns").get_by_text("as told").first.wait_for()


def refused(page: Any) -> None:
    cell = page.locator('[data-path="cables/W22/length_m"]')
    cell.fill("4,2")
    cell.press("Enter")
    page.locator('[id="said:cables/W22/length_m"]').wait_for()


def unanswered(page: Any) -> None:
    page.locator('[data-do="remove"][data-path="equipment/supply-2"]').click()
    page.locator(".said-no").wait_for()


def vault_open(page: Any) -> None:
    if page.locator('[data-ask="make"], [data-ask="open"], .open-vault').first.get_attribute("data-ask") == "make":
        for field in ("passphrase", "again"):
            page.locator(f'[data-ask="make"] [data-field="{field}"]').fill(PASSPHRASE)
        page.locator('[data-ask="make"] [type="submit"]').click()
    page.locator(".open-vault").wait_for()


def vault_entry(page: Any) -> None:
    vault_open(page)
    page.get_by_role("button", name="Put in a secret").click()
    page.locator('[data-ask="put"] [data-field="name"]').fill("word/desk")


def vault_shown(page: Any) -> None:
    vault_entry(page)
    for field in ("secret", "again"):
        page.locator(f'[data-ask="put"] [data-field="{field}"]').fill(CODE)
    page.locator('[data-ask="put"] [type="submit"]').click()
    page.locator('[data-act="show"][data-name="word/desk"]').click()
    page.locator("output.shown b").wait_for()


def codes(page: Any) -> None:
    page.locator('form[action$="codes/begin"] [name="password"]').fill(PASSWORD)
    page.get_by_role("button", name="Set up one-time codes").click()
    page.locator("svg.seen").wait_for()


def as_it_is(page: Any) -> None:
    page.locator("h1").first.wait_for()


ROWS = "open=d:circuits/c05&open=d:cables/W32&open=w:ohm/c05/rest/&open=d:circuits/c03"
WHOLE, FORM, REFUSED = "html", "#form", '[id="row:cables/W22"]'
PAGES: list[tuple[str, str, Callable[[Any], None], str]] = [
    *((room.key, room.address, as_it_is, WHOLE) for room in ROOMS),
    ("the keying plan", "./keying", as_it_is, WHOLE),
    ("rows and a working of the wiring", f"./wiring?{ROWS}", as_it_is, WHOLE),
    ("rows of the kit", "./kit?open=d:sheets/equipment/oq-c32&open=d:equipment/control", as_it_is, WHOLE),
    ("a working by itself", "./working?key=ohm/c05/rest/", as_it_is, WHOLE),
    ("the power when recharging", "./power?scenario=set/recharging&open=w:volts/", as_it_is, WHOLE),
    ("a form of a cable run", "./wiring", lambda page: form(page, "cables"), FORM),
    ("a form of a data sheet", "./kit", lambda page: form(page, "sheets/equipment"), FORM),
    ("the search", "./kit", searched, "#search"),
    ("a list matched", "./kit", listed, "#list"),
    ("a refused entry", "./wiring", refused, REFUSED),
    ("a refused removal", "./kit?open=d:equipment/supply-2", unanswered, ".said-no"),
    ("a difference", "./history?from=1", as_it_is, WHOLE),
    ("every figure then and now", "./history?from=1&figures=all", as_it_is, WHOLE),
    ("the vault open", "./secrets", vault_open, WHOLE),
    ("a secret put in", "./secrets", vault_entry, WHOLE),
    ("a secret shown", "./secrets", vault_shown, WHOLE),
    ("own entry", "/you", as_it_is, WHOLE),
    ("one-time codes", "/you", codes, WHOLE),
    ("people", "/people", as_it_is, WHOLE),
    ("trail", "/people/trail", as_it_is, WHOLE),
    ("ways in", "/ways-in", as_it_is, WHOLE),
    ("sign in", "/sign-in", as_it_is, WHOLE),
    ("no such room", "./nowhere", lambda page: None, WHOLE),
]
"""What is looked at, what is done there first, and how much of the page has come of it: the rest was looked at as a room."""


@pytest.mark.parametrize("number", [pytest.param(number, id=name) for number, (name, *_) in enumerate(PAGES)])
def test_axe_finds_nothing(page: Any, address: str, number: int) -> None:
    _, where, act, within = PAGES[number]
    page.goto(urljoin(address, where))
    act(page)
    found = faults(page, within, LOOKS if DEEP else [BY_DAY[number % 4]])
    assert not found, "\n".join(f"{each.look}: {each.rule} ({each.impact}): {each.where}: {each.words}" for each in found)


PLANTED = """() => { const main = document.querySelector("main");
  main.insertAdjacentHTML("beforeend", '<p id="planted"><input><a href="./kit"></a><img src="/static/mark.svg">\
<button aria-label="one">two</button></p><ul>' + '<li><input aria-label="row"></li>'.repeat(4) + '<li><input></li></ul>');
  document.getElementById("planted").append("faint"); document.getElementById("planted").style.color = "#999"; }"""


def test_planted_faults_are_found_in_every_look_they_show_in(page: Any, address: str) -> None:
    page.goto(urljoin(address, "./papers"))
    page.evaluate(PLANTED)
    told = faults(page)
    assert sum(each.rule == "label" for each in told) == 4, "the one and the row that is not like the others, at both widths"
    found = {(each.rule, each.look) for each in told}
    for rule in ("label", "link-name", "image-alt", "label-content-name-mismatch", "color-contrast"):
        assert {(rule, "1280 light"), (rule, "390 light")} <= found
    for colour, look in (("#6a6a6a", "light"), ("#8f8f8f", "dark")):
        page.evaluate(f"document.getElementById('planted').style.color = '{colour}'")
        assert {("color-contrast-enhanced", f"1280 {look}"), ("color-contrast-enhanced", f"390 {look}")} <= {
            each[:3:2] for each in faults(page)
        }
