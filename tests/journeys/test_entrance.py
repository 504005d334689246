"""People come in over TLS with a real browser, 127.0.0.1 standing in for the network; and somebody else tries."""

from __future__ import annotations

import base64
import hashlib
import http.client
import re
import shutil
import ssl
import subprocess
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any, NamedTuple

import pyotp
import pytest

import loopwright.demo
from loopwright.store.certificate import Certificate, certificate_for, certificate_path
from loopwright.store.file import JobFile
from loopwright.store.people import People
from loopwright.store.person import Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.web.app import create_app
from loopwright.web.entrance import Entrance
from loopwright.web.lan import Network, entrance_for, names_for, speaks_tls
from loopwright.web.serve import listen
from loopwright.web.session import Session

from .in_the_hand import kept_whole, until

PASSWORDS = {"Ada": "correct horse battery", "Rita": "blue ladder, no rungs"}
SIZES = [pytest.param((1280, 860), id="desk"), pytest.param((390, 844), id="phone")]


class Served(NamedTuple):
    """A workbench that is served to the network: where, by which entrance, with which job."""

    address: str
    entrance: Entrance
    session: Session

    @property
    def pem(self) -> str:
        assert self.entrance.ways.certificate is not None
        return self.entrance.ways.certificate.pem


@pytest.fixture(scope="module")
def own_certificate(tmp_path_factory: pytest.TempPathFactory) -> Certificate:
    """Return a certificate as it is made at first use; each workbench below finds it there."""
    network = Network(host="127.0.0.1", people=tmp_path_factory.mktemp("certificate") / "people")
    made, why = certificate_for(certificate_path(network.people), names_for(network), now=datetime.now(UTC))
    assert why == "There was none yet."
    return made


@pytest.fixture
def served(tmp_path: Path, own_certificate: Certificate, serve: Callable[..., Any]) -> Iterator[Served]:
    job, kept = tmp_path / "job.yaml", tmp_path / "people"
    job.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    shutil.copy(own_certificate.path, certificate_path(kept))
    people = People(kept, note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1))
    people.add("Ada", Role.OFFICE, Secret(PASSWORDS["Ada"]), owner=True)
    people.add("Rita", Role.READER, Secret(PASSWORDS["Rita"]))
    listening = listen("127.0.0.1", 0)
    port = listening.getsockname()[1]
    entrance, why = entrance_for(Network(host="127.0.0.1", people=kept), port)
    assert why == ""
    session = Session(JobFile(job))
    app = create_app(session, token=None, hosts=entrance.ways.hosts, entrance=entrance)
    with serve(app, on=listening, tls=speaks_tls(entrance)):
        yield Served(f"https://127.0.0.1:{port}", entrance, session)


@pytest.fixture(scope="module")
def browser(launch: Callable[..., Any], own_certificate: Certificate) -> Iterator[Any]:
    """Return a browser that takes this one certificate and no other that nobody vouches for."""
    launched = launch(f"--ignore-certificate-errors-spki-list={public_key_hash(own_certificate.pem)}")
    yield launched
    launched.close()


@pytest.fixture
def open_browser(browser: Any, served: Served) -> Iterator[Any]:
    """Return what opens the browser of one more person; they are closed before the workbench is, which waits for them otherwise."""
    opened = []

    def one_more(size: tuple[int, int] = (1280, 860)) -> Any:
        opened.append(browser.new_context(viewport={"width": size[0], "height": size[1]}))
        return opened[-1].new_page()

    yield one_more
    for each in opened:
        each.close()


def public_key_hash(pem: str) -> str:
    """Return what the browser knows a certificate by: the SHA-256 of its public key (RFC 7469, 2.4), taken out by OpenSSL."""
    key = subprocess.run(["openssl", "x509", "-noout", "-pubkey"], input=pem.encode(), capture_output=True, check=True).stdout
    return base64.b64encode(hashlib.sha256(ssl.PEM_cert_to_DER_cert(key.decode().replace("PUBLIC KEY", "CERTIFICATE"))).digest()).decode()


def sign_in(page: Any, name: str, password: str = "", code: str = "") -> None:
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(password or PASSWORDS[name])
    page.get_by_label("One-time code").fill(code)
    page.get_by_role("button", name="Sign in").click()


def change_title(page: Any, title: str) -> None:
    # The page's own keys are there when it has loaded.
    page.wait_for_load_state()
    cell = page.locator('[data-path="title"]').first
    cell.fill(title)
    cell.press("Enter")


@pytest.mark.parametrize("size", SIZES)
def test_somebody_comes_in_works_and_goes(open_browser: Any, served: Served, size: tuple[int, int]) -> None:
    page = open_browser(size)
    page.goto(f"{served.address}/?open=x")
    assert page.url == f"{served.address}/sign-in?then=/%3Fopen%3Dx"
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    sign_in(page, "Ada", "wrong and long enough")
    page.get_by_text("Name, password or code is not right.").wait_for()
    sign_in(page, "Ada")
    page.wait_for_url(f"{served.address}/?open=x")
    change_title(page, "Changed from elsewhere")
    until(page, "document.title.includes('Changed from elsewhere')")
    assert served.session.state.job.title == "Changed from elsewhere"
    (cookie,) = page.context.cookies()
    assert cookie["name"].startswith("__Host-") and cookie["secure"] and cookie["httpOnly"] and cookie["sameSite"] == "Strict"
    assert page.evaluate("document.cookie") == ""
    for address in ("/you", "/people", "/people/trail", "/ways-in"):
        page.goto(served.address + address)
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], address
    assert served.entrance.ways.certificate is not None
    assert served.entrance.ways.certificate.sha256 in page.locator("main").inner_text()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url(f"{served.address}/sign-in")
    assert page.context.cookies() == []
    page.go_back()
    assert "Changed from elsewhere" not in page.content()


def test_a_room_that_is_kept_for_the_cellar_goes_with_the_sign_in(open_browser: Any, served: Served) -> None:
    kept = "async () => (await caches.keys()).length + (await navigator.serviceWorker.getRegistrations()).length"
    page = open_browser()
    page.goto(f"{served.address}/on-site")
    sign_in(page, "Ada")
    kept_whole(page, "on-site")
    # The sign-in ends elsewhere while the page lies open: it says so, and keeps nothing of the room.
    served.entrance.door.turn_out("Ada")
    until(page, "async () => !(await caches.keys()).length")
    page.goto(f"{served.address}/on-site")
    sign_in(page, "Ada")
    kept_whole(page, "on-site")
    # What waits to be sent would go too: that is said first.
    page.evaluate("localStorage.setItem('said:/', JSON.stringify([{ do: 'note', mark: 'x' }]))")
    asked: list[str] = []
    page.once("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
    page.get_by_role("button", name="Sign out").click()
    assert asked[0].startswith("Signing out throws away what was said") and "not sent yet (1)" in asked[0] and page.url.endswith("/on-site")
    # The pages outside the rooms ask the same, whichever of the ways out is taken.
    page.goto(f"{served.address}/you")
    for name in ("Sign out", "Sign out everywhere", "End it"):
        page.once("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
        page.get_by_role("button", name=name, exact=name != "End it").first.click()
    assert asked == [asked[0]] * 4 and page.url.endswith("/you")
    page.once("dialog", lambda dialog: dialog.accept())
    page.get_by_role("button", name="Sign out", exact=True).click()
    page.wait_for_url(f"{served.address}/sign-in")
    until(page, f"async () => !localStorage.length && !(await ({kept})())")


def test_one_time_codes_are_set_up_on_the_screen_and_asked_for(open_browser: Any, served: Served) -> None:
    page = open_browser()
    page.goto(f"{served.address}/you")
    sign_in(page, "Rita")
    page.wait_for_url(f"{served.address}/you")
    page.get_by_label("Your password").fill(PASSWORDS["Rita"])
    page.get_by_role("button", name="Set up one-time codes").click()
    page.locator("svg.seen").wait_for()
    codes = pyotp.TOTP(re.sub(r"\s", "", page.locator(".once").inner_text()))
    page.get_by_label("The code it shows now").fill(codes.now())
    page.get_by_label("Your password, once more").fill(PASSWORDS["Rita"])
    page.get_by_role("button", name="Ask for codes from now on").click()
    page.get_by_text("a one-time code is asked for as well").wait_for()
    page.get_by_role("button", name="Sign out", exact=True).click()
    page.wait_for_url(f"{served.address}/sign-in")
    sign_in(page, "Rita")
    page.get_by_text("is not right").wait_for()


def test_a_first_password_is_handed_over_and_changed(open_browser: Any, served: Served) -> None:
    page, theirs = open_browser(), open_browser()
    page.goto(f"{served.address}/people")
    sign_in(page, "Ada")
    page.get_by_role("textbox", name="Name").fill("Ben")
    page.get_by_role("combobox", name="Role", exact=True).select_option("installer")
    page.get_by_role("button", name="Let in", exact=True).click()
    first = page.locator("#first-password").inner_text()
    theirs.goto(served.address)
    sign_in(theirs, "Ben", first)
    theirs.get_by_text("First change the password you were given").wait_for()
    theirs.get_by_role("link", name="Change it now").click()
    theirs.get_by_label("The one so far").fill(first)
    theirs.get_by_label("The new one 12").fill("four lamps on a raft")
    theirs.get_by_label("The new one once more").fill("four lamps on a raft")
    theirs.get_by_role("button", name="Change the password").click()
    theirs.get_by_text("The password is changed").wait_for()
    theirs.goto(served.address)
    change_title(theirs, "Ben was here")
    until(theirs, "document.title.includes('Ben was here')")
    page.reload()
    page.get_by_role("button", name="Let in no more: Ben").click()
    page.get_by_text("let in no more", exact=True).wait_for()
    theirs.goto(served.address)
    assert "/sign-in" in theirs.url


def test_what_was_entered_while_signed_out_is_there_after_the_sign_in(open_browser: Any, served: Served) -> None:
    page = open_browser()
    page.goto(served.address)
    sign_in(page, "Ada")
    page.locator('[data-path="title"]').first.wait_for()
    served.entrance.door.turn_out("Ada")
    change_title(page, "Entered too late")
    page.locator("#trouble").get_by_text("You are signed out").wait_for()
    assert served.session.state.job.title != "Entered too late"
    # The press leaves the cell, whose entry is sent again and refused again before the finger is up.
    with page.expect_response(f"{served.address}/edit"):
        page.locator("#trouble").get_by_role("link", name="Sign in").hover()
        page.mouse.down()
    until(page, "!document.querySelector('[aria-busy]')")
    page.mouse.up()
    sign_in(page, "Ada")
    cell = page.locator('[data-path="title"]').first
    cell.wait_for()
    # The page puts it back once its script has run.
    until(page, "document.querySelector('[data-path=\"title\"]').value === 'Entered too late'")
    cell.press("Enter")
    until(page, "document.title.includes('Entered too late')")


def test_a_reader_sees_and_cannot_touch(open_browser: Any, served: Served) -> None:
    page = open_browser()
    page.goto(f"{served.address}/premises")
    sign_in(page, "Rita")
    page.get_by_text("You may read this job, not change it.").wait_for()
    assert page.locator("main input:enabled, main select:enabled, main textarea:enabled").count() == 0
    assert page.locator("main button:visible").count() == 0
    page.goto(f"{served.address}/people")
    page.get_by_text("You may not keep the people").wait_for()


class _OtherSite(BaseHTTPRequestHandler):
    target = ""

    def do_GET(self) -> None:
        form = (
            f'<form id="f" method="post" action="{self.target}/people/add"><input name="name" value="Eve">'
            '<input name="role" value="office"></form>'
            '<script>document.getElementById("f").submit()</script>'
        )
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(form.encode())

    def log_message(self, format: str, *args: object) -> None:
        return None


def test_a_form_of_another_site_is_refused_in_the_browser_of_who_is_in(open_browser: Any, served: Served) -> None:
    page = open_browser()
    page.goto(f"{served.address}/people")
    sign_in(page, "Ada")
    page.get_by_role("heading", name="People", exact=True).wait_for()
    other = HTTPServer(("127.0.0.1", 0), type("Other", (_OtherSite,), {"target": served.address}))
    thread = threading.Thread(target=other.serve_forever, daemon=True)
    thread.start()
    try:
        # Another port of the same address is the same site for cookies: here the cookie comes along, and the origin tells.
        for name in ("localhost", "127.0.0.1"):
            page.goto(f"http://{name}:{other.server_port}/", wait_until="commit")
            page.get_by_text("Only this program's own pages may change the job.").wait_for()
    finally:
        other.shutdown()
        other.server_close()
        thread.join(10)
    assert "Eve" not in served.entrance.people.everybody()


# The stdlib's client and OpenSSL's, which know nothing of ours.


def test_the_certificate_is_good_for_the_address_and_no_older_tls_is_spoken(served: Served, openssl: str) -> None:
    port = served.entrance.ways.port
    vouched = ssl.create_default_context(cadata=served.pem)
    asked = http.client.HTTPSConnection("127.0.0.1", port, context=vouched, timeout=60)
    asked.request("GET", "/sign-in", headers={"Accept": "text/html"})
    assert asked.getresponse().status == 200
    assert isinstance(asked.sock, ssl.SSLSocket) and asked.sock.version() == "TLSv1.3"
    asked.close()
    with pytest.raises(ssl.SSLCertVerificationError):
        http.client.HTTPSConnection("127.0.0.1", port, context=ssl.create_default_context(), timeout=60).connect()
    for more, passes in (
        (["-tls1_3"], True), (["-tls1_2", "-cipher", "ECDHE-ECDSA-AES256-GCM-SHA384"], True),
        (["-tls1_2", "-cipher", "ECDHE-ECDSA-AES256-SHA384:AES256-GCM-SHA384:@SECLEVEL=0"], False),
        (["-tls1_1", "-cipher", "ALL:@SECLEVEL=0"], False), (["-tls1", "-cipher", "ALL:@SECLEVEL=0"], False),
    ):  # fmt: skip
        said = subprocess.run(
            [openssl, "s_client", "-connect", f"127.0.0.1:{port}", *more], input=b"", capture_output=True, timeout=120
        )  # fmt: skip
        text = (said.stdout + said.stderr).decode()
        assert (
            "Cipher is (NONE)" not in text and said.returncode in (0, 1) and "CN = Loopwright" in text.replace("CN=", "CN = ")
        ) is passes, text


def test_without_tls_nothing_is_said(served: Served) -> None:
    asked = http.client.HTTPConnection("127.0.0.1", served.entrance.ways.port, timeout=60)
    with pytest.raises((http.client.HTTPException, OSError)):
        asked.request("GET", "/sign-in")
        asked.getresponse()
    asked.close()
