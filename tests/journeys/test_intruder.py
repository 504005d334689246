"""The intruder: a real server as it is started, a real browser and bare sockets, and somebody who has no business here.

What each door does by itself is proved in tests/web/test_entrance.py and tests/journeys/test_entrance.py; here they stand together, on
this machine alone and over TLS, and whoever tries gets nothing.
"""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, NamedTuple

import pytest

import loopwright
import loopwright.demo
from loopwright.job.edit import SetField, apply
from loopwright.store.api_token import ApiTokens, Scope, tokens_path
from loopwright.store.people import People
from loopwright.store.person import Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.store.vault import create_vault, vault_path
from loopwright.web.guard import HEADERS

from .in_the_hand import PATIENCE_MS

CHEAP = Cost(passes=1, memory_kib=8, lanes=1)
PASSWORD, CODE = "blue ladder, no rungs", "739164820517724415"
MARKUP = '<img src="http://evil.example/x" onerror="window.owned=1"><script>window.owned=1</script>'
LINK, TITLE = "javascript:window.owned=1", "Planted premises"
ROOMS = ("/", "/premises", "/kit", "/wiring", "/power", "/programme", "/secrets", "/papers", "/history")
SAFE_NAME = re.compile(r"[a-z0-9][A-Za-z0-9_-]*\.[a-z]{3,4}")
KEPT_CLOSE = ("people", "people.tls", "people.trail", "job.yaml.vault")


class Served(NamedTuple):
    """A workbench as somebody starts it: where it is, its key where it has one, its process and its folder."""

    address: str
    port: int
    key: str
    process: subprocess.Popen[str]
    folder: Path
    token: str
    tls: bool

    def said(self) -> str:
        """Return what it has written to its terminal but the lines that are meant for whoever started it."""
        return (self.folder / "complaints").read_text(encoding="utf-8")

    def text(self) -> str:
        return (self.folder / "job.yaml").read_text(encoding="utf-8")

    def speak(self, raw: bytes) -> bytes:
        """Return all that comes back for these bytes, whatever they are; the connection ends with them."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=PATIENCE_MS / 1000) as bare:
            spoken: socket.socket = bare
            if self.tls:
                context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
                context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
                spoken = context.wrap_socket(bare)
            came = b""
            try:
                spoken.sendall(raw)
                if not self.tls:
                    spoken.shutdown(socket.SHUT_WR)
                while more := spoken.recv(65_536):
                    came += more
                    if b"\r\n\r\n" in came:
                        spoken.settimeout(1)
            except OSError:
                pass
            finally:
                spoken.close()
            return came


def prepared(folder: Path) -> str:
    """Lay out a job somebody sent, with a vault, people and a token to read; return the token."""
    text = loopwright.demo.text("dwelling")
    for path, words in (("title", TITLE + MARKUP), ("premises/name", LINK), ("premises/address", MARKUP)):
        text = apply(text, SetField(path, words)).text
    path = folder / "job.yaml"
    path.write_text(text, encoding="utf-8")
    create_vault(vault_path(path), Secret(PASSWORD), note=lambda *_: None, cost=CHEAP).put("user/sitter", Secret(CODE))
    people = People(folder / "people", note=lambda *_: None, cost=CHEAP)
    people.add("Ada", Role.OFFICE, Secret(PASSWORD), owner=True)
    people.add("Rita", Role.READER, Secret(PASSWORD))
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("XDG_DATA_HOME", str(folder))
        kept = tokens_path(path)
    tokens = ApiTokens(kept, note=lambda *_: None)
    return tokens.make("counter", frozenset({Scope.READ}), by="Ada", now=datetime.now(UTC)).reveal()


@contextmanager
def started(folder: Path, *more: str) -> Iterator[Served]:
    token = prepared(folder)
    quiet = {name: value for name, value in os.environ.items() if name not in ("DISPLAY", "WAYLAND_DISPLAY")}
    source = str(Path(loopwright.__file__).parents[1])
    with (folder / "complaints").open("w", encoding="utf-8") as complaints:
        process = subprocess.Popen(
            [sys.executable, "-m", "loopwright", "serve", str(folder / "job.yaml"), "--port", "0", "--no-browser", *more],
            stdout=subprocess.PIPE, stderr=complaints, text=True, env={**quiet, "PYTHONPATH": source, "XDG_DATA_HOME": str(folder)},
        )  # fmt: skip
    assert process.stdout is not None
    found = None
    for line in process.stdout:
        found = found or re.search(r"(https?)://127\.0\.0\.1:(\d+)/(?:\?key=(\S+))?", line)
        if "Ctrl-C" in line:
            break
    assert found is not None, (folder / "complaints").read_text(encoding="utf-8")
    scheme, port, key = found[1], int(found[2]), found[3] or ""
    yield Served(f"{scheme}://127.0.0.1:{port}", port, key, process, folder, token, scheme == "https")
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=PATIENCE_MS / 1000)


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with started(tmp_path_factory.mktemp("here")) as served:
        yield served


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("lan")
    with started(folder, "--lan", "--people", str(folder / "people")) as served:
        yield served


# Bare sockets


def tries(served: Served) -> Iterator[bytes]:
    """Yield what somebody sends who has no key, no session and no token, and does not keep to what browsers do."""
    host, own = f"Host: 127.0.0.1:{served.port}\r\n", f"Origin: {served.address}\r\n"
    end = "Connection: close\r\n\r\n"
    asked = [
        *ROOMS, "/choices", "/search", "/form?what=cables", "/working?key=x", "/revision", "/lists/cables.csv", "/history/1.yaml",
        "/secrets/sheet", "/papers/circuit-and-power-record.pdf", "/people", "/api/v1/job.yaml", "/api/v1/findings", "/api", "//wiring",
        "/./wiring",
        "/static/../wiring", "/static/%2e%2e/wiring", "/static/..%2f..%2fapp.py", "/static/%2e%2e%2fapp.py", "/sign-in/../wiring",
        "/%77iring", "/wiring%00", "/wiring%0a", "/a%0dpi/v1/job.yaml", "/api%2fv1%2fjob.yaml", "/api/../wiring", "/api/v1/../../wiring",
        "/at/job/wiring",
        f"{served.address}/wiring", "http://evil.example/wiring", "/?key=", "/?key=" + "A" * 32, "/?key=%ff&key=x",
    ]  # fmt: skip
    for address in asked:
        for method in ("GET", "HEAD") if address in ROOMS else ("GET",):
            yield f"{method} {address} HTTP/1.1\r\n{host}{end}".encode()
    for method in ("OPTIONS", "TRACE", "PROPFIND", "DELETE", "PUT", "CONNECT"):
        yield f"{method} /wiring HTTP/1.1\r\n{host}{own}Content-Length: 0\r\n{end}".encode()
    for named in ("", "Host: evil.example\r\n", f"Host: evil@127.0.0.1:{served.port}\r\n", f"{host}Host: evil.example\r\n", "Host: 0\r\n"):
        yield f"GET / HTTP/1.1\r\n{named}{end}".encode()
    yield b"GET / HTTP/1.0\r\n\r\n"
    yield b"GET /\r\n\r\n"
    yield b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"
    for other in ("websocket", "h2c"):
        yield f"GET /wiring HTTP/1.1\r\n{host}Upgrade: {other}\r\nConnection: Upgrade, close\r\n\r\n".encode()
    for proof in (
        "Authorization: Bearer x",
        "Authorization: Basic QWRhOng=",
        "Cookie: loopwright=x; __Host-loopwright=x",
        "X-Forwarded-For: 127.0.0.1",
    ):
        yield f"GET /wiring HTTP/1.1\r\n{host}{proof}\r\n{end}".encode()
        yield f"GET /api/v1/job.yaml HTTP/1.1\r\n{host}{proof}\r\n{end}".encode()
    body = json.dumps({"do": "set", "path": "title", "text": "Taken over"})
    for length in (f"Content-Length: {len(body)}", f"Content-Length: {len(body)}\r\nTransfer-Encoding: chunked", "Content-Length: -1", ""):
        yield f"POST /edit HTTP/1.1\r\n{host}{own}Content-Type: application/json\r\n{length}\r\n{end}{body}".encode()


@pytest.mark.parametrize("where", ["here", "lan"])
def test_bare_sockets_get_nothing(where: str, request: pytest.FixtureRequest) -> None:
    served: Served = request.getfixturevalue(where)
    before = served.text()
    for raw in tries(served):
        came = served.speak(raw)
        head = came.partition(b"\r\n\r\n")[0].lower()
        status = int(came[9:12]) if came else 400
        assert status >= 300, raw
        assert not any(word in came for word in (TITLE.encode(), b"W01", CODE.encode(), b"create_app", b"Traceback")), raw
        # What is no request at all is answered by the server's own parser, which knows nothing of this program.
        if status not in (400, 404, 405) or b"invalid http" not in came.lower():
            assert all(f"{name}: ".lower().encode() in head for name in HEADERS), raw
    assert served.text() == before and "Traceback" not in served.said()


def test_a_body_that_does_not_end_is_not_waited_for_before_anybody_has_signed_in(lan: Served) -> None:
    lead = (
        f"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1:{lan.port}\r\nOrigin: {lan.address}\r\n"
        "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 6\r\nTransfer-Encoding: chunked\r\n\r\n"
    )
    came = lan.speak(lead.encode() + b"80000\r\nname=" + b"x" * (0x80000 - 5) + b"\r\n")
    assert came.startswith(b"HTTP/1.1 413 ")


def test_only_this_machine_is_listened_to_and_the_key_is_where_only_its_user_can_see_it(here: Served) -> None:
    process = Path("/proc") / str(here.process.pid)
    own = {os.readlink(each) for each in (process / "fd").iterdir() if each.is_symlink()}
    heard = [
        row.split()[1]
        for table in ("tcp", "tcp6")
        for row in (process / "net" / table).read_text().splitlines()[1:]
        if row.split()[3] == "0A" and f"socket:[{row.split()[9]}]" in own
    ]
    # The kernel writes 127.0.0.1 as its four bytes in the machine's own order (proc_pid_net(5)).
    assert heard == [f"{int.from_bytes(bytes([127, 0, 0, 1]), sys.byteorder):08X}:{here.port:04X}"]
    assert here.key.encode() not in (process / "cmdline").read_bytes() and len(here.key) >= 32
    assert not any(here.key in each.read_text("utf-8", "replace") for each in here.folder.iterdir() if each.is_file())


# A page of somebody else's in the same browser


class _Elsewhere(BaseHTTPRequestHandler):
    page = ""

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(self.page.encode())

    def log_message(self, format: str, *args: object) -> None:
        return None


@contextmanager
def elsewhere(page: str) -> Iterator[int]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), type("Page", (_Elsewhere,), {"page": page}))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server.server_port
    server.shutdown()
    server.server_close()
    thread.join(10)


REACH = """async (there) => {
  const got = [];
  const edit = JSON.stringify({ do: "set", path: "title", text: "Taken over" });
  for (const path of ["/", "/choices", "/lists/cables.csv", "/history/1.yaml", "/api/v1/job.yaml", "/static/sheet.css"])
    for (const mode of ["cors", "no-cors"])
      try { got.push(await (await fetch(there + path, { mode, credentials: "include" })).text()); } catch {}
  for (const type of ["text/plain", "application/json", "application/x-www-form-urlencoded"])
    for (const path of ["/edit", "/lists/cables/take", "/history/back", "/secrets/close"])
      try { got.push(await (await fetch(there + path, { method: "POST", body: edit, mode: "no-cors", credentials: "include",
        headers: { "Content-Type": type } })).text()); } catch {}
  const loads = (tag, name, path) => new Promise((done) => {
    const each = document.createElement(tag);
    each.onload = () => done(tag); each.onerror = () => done("");
    each[name] = there + path; document.body.append(each); setTimeout(() => done(""), 3000);
  });
  got.push(...await Promise.all([loads("script", "src", "/choices"), loads("script", "src", "/static/workbench.js"),
    loads("img", "src", "/static/mark.svg")]));
  const frame = document.createElement("iframe");
  frame.src = there + "/"; document.body.append(frame);
  await new Promise((done) => { frame.onload = done; setTimeout(done, 3000); });
  try { got.push(frame.contentDocument.body.innerText); } catch {}
  const opened = window.open(there + "/");
  await new Promise((done) => setTimeout(done, 500));
  try { got.push(opened.document.body.innerText); } catch {}
  return got.join("");
}"""


def test_a_page_on_another_port_of_this_machine_reads_and_changes_nothing(browser: Any, here: Served) -> None:
    """It is the same site to the browser, which sends the strict cookie along: what keeps it out is the origin."""
    before = here.text()
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{here.address}/?key={here.key}")
    page.wait_for_url(f"{here.address}/")
    with elsewhere('<!doctype html><title>Elsewhere</title><form id="f" method="post" enctype="text/plain"></form>') as port:
        for name in ("127.0.0.1", "localhost"):
            page.goto(f"http://{name}:{port}/")
            assert page.evaluate(REACH, here.address) == ""
            page.evaluate(
                """(there) => { const form = document.getElementById("f"); form.action = there + "/edit"; form.submit(); }""", here.address
            )
            page.get_by_text("Only this program's own pages may change the job.").wait_for()
    context.close()
    assert here.text() == before


# A whole tour, and all that a browser asks for on it


class Tour:
    """A browser's visit, with every request it made and every answer it got."""

    def __init__(self, browser: Any, served: Served) -> None:
        self.context = browser.new_context(accept_downloads=True, ignore_https_errors=served.tls)
        self.served, self.asked, self.answers, self.complaints = served, [], [], []  # type: ignore[var-annotated]
        self.context.on("request", lambda request: self.asked.append(request.url))
        self.context.on("response", lambda answer: self.answers.append(answer))
        self.page = self.context.new_page()
        self.page.on("console", lambda said: self.complaints.append(said.text) if said.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def looks(self, room: str) -> None:
        self.page.goto(self.served.address + room)
        stray = self.page.evaluate(
            """() => [...document.querySelectorAll("*")].filter((each) => each.matches(
              "style, script:not([src]), [style], iframe, object, base")
              || [...each.attributes].some((own) => own.name.startsWith("on") || /^\\s*(javascript|data|https?):/i.test(own.value)
                && ["href", "src", "action", "formaction"].includes(own.name))).map((each) => each.outerHTML)"""
        )
        assert stray == [] and self.page.evaluate("window.owned") is None, room

    def fetches(self, address: str, **more: Any) -> int:
        return int(self.page.evaluate("async ([there, more]) => (await fetch(there, more)).status", [address, more]))

    def posts(self, address: str, many: int) -> int:
        """Return the answer to so many bytes."""
        sends = "async ([there, many]) => (await fetch(there, { method: 'POST', body: 'x'.repeat(many) })).status"
        return int(self.page.evaluate(sends, [address, many]))

    def ends(self) -> None:
        """Hold everything that was asked and answered against what may be."""
        own = self.served.address + "/"
        assert self.asked and all(each.startswith(own) for each in self.asked), [each for each in self.asked if not each.startswith(own)]
        for each in self.answers:
            headers = each.all_headers()
            policy = headers["content-security-policy"]
            assert "unsafe" not in policy and "script-src 'self'" in policy and "*" not in policy, each.url
            assert headers["x-content-type-options"] == "nosniff" and headers["x-frame-options"] == "DENY", each.url
            assert "/static/" in each.url or headers["cache-control"] == "no-store", each.url
            assert not any(word in each.url for word in (PASSWORD, CODE, self.served.token)), each.url
            for cookie in headers.get("set-cookie", "").splitlines():
                assert "HttpOnly" in cookie and "samesite=strict" in cookie.lower() and "domain" not in cookie.lower()
        self.context.close()


def test_a_whole_tour_asks_nobody_else_and_runs_nothing_that_stands_in_a_job(browser: Any, here: Served) -> None:
    tour = Tour(browser, here)
    page = tour.page
    page.goto(f"{here.address}/?key={here.key}")
    page.wait_for_url(f"{here.address}/")
    for room in ROOMS:
        tour.looks(room)
        assert CODE not in page.content() and here.key not in page.content()
    for room in (
        "/wiring?open=d:cables/W01",
        "/history?from=1&figures=all",
        f"/wiring?open={LINK}",
        f"/power?scenario={LINK}",
        f"/go?path={LINK}",
    ):
        tour.looks(room)
    page.keyboard.press("Control+k")
    page.keyboard.type("planted")
    page.wait_for_timeout(300)
    page.goto(here.address)
    names = []
    for address in ("/papers/circuit-and-power-record.pdf", "/lists/cables.csv", "/lists/devices.xlsx", "/history/1.yaml"):
        with page.expect_download() as coming:
            page.evaluate(
                "(there) => { const link = document.createElement('a'); link.href = there; document.body.append(link); link.click(); }",
                address,
            )
        names.append(coming.value.suggested_filename)
        assert CODE.encode() not in Path(coming.value.path()).read_bytes()
    assert all(SAFE_NAME.fullmatch(name) for name in names), names
    assert tour.fetches("/history/..%2f..%2fetc%2fpasswd.yaml") == 404 and tour.fetches("/papers/..%2f..%2fjob.pdf") == 404
    assert tour.posts("/lists/cables/look", 8_000_001) == 413 == tour.posts("/search", 300_000)
    wanted = [each for each in tour.complaints if "status of 4" not in each]
    assert wanted == []
    assert page.evaluate("document.cookie") == ""
    tour.ends()
    assert here.key not in here.said() and "Traceback" not in here.said()


def test_a_reader_from_the_network_and_a_program_that_may_read_come_no_further(browser: Any, lan: Served) -> None:
    before, tour = lan.text(), Tour(browser, lan)
    page = tour.page
    page.goto(f"{lan.address}/wiring")
    page.get_by_label("Name").fill("Rita")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{lan.address}/wiring")
    for room in (*ROOMS, "/you", "/ways-in", "/people"):
        tour.looks(room)
        assert CODE not in page.content()
    posted = {
        "method": "POST",
        "headers": {"Content-Type": "application/json"},
        "body": '{"do": "set", "path": "title", "text": "Taken over"}',
    }
    for address in (
        "/edit",
        "/lists/cables/look",
        "/lists/cables/take",
        "/history/back",
        "/history/name",
        "/secrets/open",
        "/secrets/show",
        "/people/add",
    ):
        assert tour.fetches(address, **posted) == 403, address
    assert tour.fetches("/secrets/sheet") == 403
    assert tour.fetches("/api/v1/job.yaml") == 401, "a session is no token"
    bearing = {"Authorization": f"Bearer {lan.token}"}
    assert tour.fetches("/api/v1/job.yaml", headers=bearing) == 200
    assert (
        tour.fetches(
            "/api/v1/edits",
            method="POST",
            headers=bearing | {"Content-Type": "application/json"},
            body='{"edits": [{"do": "remove", "path": "joints"}]}',
        )
        == 403
    )
    assert tour.fetches("/api/v1/undo", method="POST", headers=bearing | {"If-Match": "*"}) == 403
    assert tour.fetches("/api/../people", headers=bearing, credentials="omit") == 401, "a token opens no page"
    tour.ends()
    assert lan.text() == before
    trail = (lan.folder / "people.trail").read_text(encoding="ascii")
    assert "signed in" in trail and not any(word in trail + lan.said() for word in (PASSWORD, lan.token, "Traceback"))
    tokens = list((lan.folder / "loopwright" / "tokens").glob("job.yaml.*"))
    assert tokens
    for path in [*(lan.folder / name for name in KEPT_CLOSE), *tokens]:
        assert path.stat().st_mode & 0o077 == 0, path
