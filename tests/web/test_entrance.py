"""The entrance, as people come in by it and as somebody tries who has no business here."""

from __future__ import annotations

import base64
import re
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pyotp
import pytest

from loopwright.store.login import IDLE, LONGEST
from loopwright.store.secret import Secret
from loopwright.web.entrance import PROVED_FOR, TURN_AFTER, local
from loopwright.web.guard import MOST_POSTED

NAME, PORT = "bench.example", 8417
BASE = f"https://{NAME}:{PORT}"
VISIT = {"Accept": "text/html", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Site": "same-origin"}
COOKIE = f"__Host-loopwright-{PORT}"
ROOMS = ("/", "/premises", "/kit", "/wiring", "/power", "/programme", "/papers", "/secrets", "/people", "/you", "/ways-in", "/people/trail")
ASKED = ("/choices", "/revision", "/form?what=cables", "/working?key=x", "/papers/circuit-and-power-record.pdf", "/edit", "/nowhere")
INSIDE = ("Ada", "Rita", "cable", "Wiring")
PAGES = ("/sign-in", "/you", "/people", "/ways-in", "/people/trail")
FORGED = ("", "x", "A" * 43, "x" * 9000, '"; DROP', "%00", "..", "null")
ORIGINS = (
    None,
    "null",
    "http://bench.example:8417",
    "https://evil.example",
    "https://bench.example",
    "https://bench.example:8417.evil.example",
)
SITES = ("cross-site", "same-site", "none")
HOSTS = (
    "evil.example",
    "10.0.0.1:8417",
    f"{NAME}.evil.example",
    f"{NAME}:8417/static/?",
    f"a@{NAME}",
    "",
    f"{NAME}:port",
    f"{NAME}:8417/api/openapi.json?",
)
PATHS = (
    "//people",
    "/people/",
    "/./people",
    "/static/../people",
    "/static/%2e%2e/people",
    "/static//people",
    "/sign-in/../people",
    "/sign-in/",
    "/%70eople",
    "/people;x",
    "/PEOPLE",
    "/static/..%2fapp.py",
    "/static/%2e%2e%2f%2e%2e%2fapp.py",
    "/static/....//app.py",
    "/sign-in%2f..%2fpeople",
    "/api/../people",
    "/api",
    "/api/job",
    "/people%00",
    "/static/\\..\\people",
)
ELSEWHERE = (
    "//evil.example",
    "https://evil.example",
    "/\\evil.example",
    "javascript:alert(1)",
    "/\tevil",
    "",
    "evil",
    "/" * 3,
    "/x\r\nSet-Cookie: a=b",
)


def nothing_of_the_job(answer: Any, bench: Any) -> bool:
    return bench.title() not in answer.text and not any(word in answer.text for word in INSIDE)


def test_whoever_signs_in_works_and_is_named_on_what_they_change(bench: Any) -> None:
    ina = bench.come_in("Ina")
    assert bench.title() in ina.visit("/").text
    assert ina.edit().json()["problems"] == [] and bench.title() == "Taken over"
    assert "signed in Ina from 10.0.0.7" in bench.noted()


def test_the_cookie_is_for_this_host_alone_and_out_of_reach_of_scripts(bench: Any) -> None:
    browser = bench.browser()
    set_cookie = browser.hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"]).headers["set-cookie"]
    assert set_cookie.startswith(f"{COOKIE}=")
    for word in ("Secure", "HttpOnly", "SameSite=strict", "Path=/"):
        assert word in set_cookie
    assert "Domain" not in set_cookie and "Max-Age" not in set_cookie and "expires" not in set_cookie


def test_headers_hold_the_browser_to_https_and_to_this_program(bench: Any) -> None:
    for browser in (bench.browser(), bench.come_in("Ina")):
        for address in ("/sign-in", "/", "/static/sheet.css", "/nowhere"):
            headers = browser.visit(address).headers
            assert headers["strict-transport-security"] == "max-age=31536000"
            assert "default-src 'self'" in headers["content-security-policy"] and "unsafe" not in headers["content-security-policy"]
            assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "same-origin"
            assert headers["cross-origin-resource-policy"] == "same-origin"
        assert browser.visit("/sign-in").headers["cache-control"] == "no-store"


def test_no_markup_that_the_policy_would_refuse(bench: Any) -> None:
    for page in PAGES:
        html = bench.come_in("Ada").visit(page).text
        assert not re.search(r"\s(style|on[a-z]+)\s*=", html)
        assert "<style" not in html and "javascript:" not in html and not re.search("<script(?! type=.module. src=./static/)", html)


def test_nobody_sees_anything_without_a_session(bench: Any) -> None:
    browser = bench.browser()
    for address in (*ROOMS, *ASKED):
        seen, fetched = browser.visit(address), browser.get(address)
        assert seen.status_code == 303 and seen.headers["location"].startswith("/sign-in"), address
        assert fetched.status_code == 401 and "signed out" in fetched.text, address
        assert nothing_of_the_job(seen, bench) and nothing_of_the_job(fetched, bench)
    assert nothing_of_the_job(browser.visit("/sign-in"), bench)
    assert browser.edit().status_code == 401 and bench.title() != "Taken over"
    for address in ("/people/add", "/people/role", "/you/password", "/sign-out"):
        assert browser.hand_in(address, name="Eve", role="office").status_code == 303
    assert "Eve" not in bench.people.everybody()


def test_a_forged_cookie_is_worth_nothing(bench: Any) -> None:
    for value in FORGED:
        browser = bench.browser()
        answer = browser.get("/", headers=VISIT | {"Cookie": f"{COOKIE}={value}"})
        assert answer.status_code == 303 and nothing_of_the_job(answer, bench)


def test_a_form_of_another_site_changes_nothing(bench: Any) -> None:
    for origin in ORIGINS:
        ada = bench.come_in("Ada")
        headers = {} if origin is None else {"Origin": origin}
        assert ada.post("/people/add", data={"name": "Eve", "role": "office"}, headers=VISIT | headers).status_code == 403
        assert ada.post("/edit", json={"do": "set", "path": "title", "text": "Taken over"}, headers=headers).status_code == 403
        assert ada.post("/sign-out", headers=VISIT | headers).status_code == 403
        assert "Eve" not in bench.people.everybody() and bench.title() != "Taken over" and ada.visit("/you").status_code == 200


def test_a_browser_that_says_another_site_asks_is_believed(bench: Any) -> None:
    for site in SITES:
        ada = bench.come_in("Ada")
        assert ada.edit(**{"Sec-Fetch-Site": site}).status_code == 403 and bench.title() != "Taken over"


def test_another_name_for_this_machine_gets_nothing(bench: Any) -> None:
    for host in HOSTS:
        ada = bench.come_in("Ada")
        answer = ada.get("/", headers=VISIT | {"Host": host})
        assert answer.status_code == 421 and nothing_of_the_job(answer, bench)


def test_tricks_with_the_path_open_nothing(bench: Any) -> None:
    for path in PATHS:
        answer = bench.browser().visit(BASE + path)
        assert answer.status_code in (303, 307, 401, 404) and nothing_of_the_job(answer, bench)
        assert "create_app" not in answer.text


def test_too_much_is_not_read(bench: Any) -> None:
    origin = {"Origin": BASE}
    for browser in (bench.browser(), bench.come_in("Ada")):
        answer = browser.post("/sign-in", content=b"name=" + b"x" * MOST_POSTED, headers=VISIT | origin)
        assert answer.status_code == 413
        chunked = browser.post("/sign-in", content=iter([b"name=x"]), headers=VISIT | origin)
        assert chunked.status_code == 413
        for more in ({"Content-Length": "6", "Transfer-Encoding": "chunked"}, {"Content-Length": "9" * 5000}):
            answer = browser.post("/sign-in", content=b"name=x", headers=VISIT | origin | more)
            assert answer.status_code == 413, "what comes in pieces may be longer than it says"


def test_a_session_is_not_taken_over_from_before_the_sign_in(bench: Any) -> None:
    browser = bench.browser()
    planted = "p" * 43
    browser.cookies.set(COOKIE, planted, domain=NAME)
    answer = browser.hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"])
    given = answer.headers["set-cookie"].partition("=")[2].partition(";")[0]
    assert given != planted and len(given) >= 43
    assert bench.browser().visit("/", Cookie=f"{COOKIE}={planted}").status_code == 303
    # Somebody else's session in this browser ends with the sign-in.
    again = bench.browser().visit("/", Cookie=f"{COOKIE}={given}")
    assert again.status_code == 200
    browser.cookies.clear()
    answer = browser.post(
        "/sign-in",
        data={"name": "Rita", "password": bench.passwords["Rita"]},
        headers=VISIT | {"Origin": BASE, "Cookie": f"{COOKIE}={given}"},
    )
    assert answer.status_code == 303
    assert bench.browser().visit("/", Cookie=f"{COOKIE}={given}").status_code == 303


def test_a_token_is_exchanged_now_and_then_and_the_old_one_worth_nothing(bench: Any) -> None:
    ina = bench.come_in("Ina")
    old = ina.cookies[COOKIE]
    bench.later(minutes=TURN_AFTER.seconds / 60 - 1)
    assert "set-cookie" not in ina.visit("/").headers
    bench.later(minutes=1)
    assert "set-cookie" not in ina.get("/revision").headers, "not where a page only asks for something"
    assert COOKIE in ina.visit("/").headers["set-cookie"]
    assert ina.cookies[COOKIE] != old
    assert bench.browser().visit("/", Cookie=f"{COOKIE}={old}").status_code == 200, "what was under way is answered"
    bench.later(seconds=10)
    assert bench.browser().visit("/", Cookie=f"{COOKIE}={old}").status_code == 303
    assert ina.visit("/").status_code == 200


def test_a_session_ends_without_use_and_after_its_time(bench: Any) -> None:
    ina = bench.come_in("Ina")
    bench.later(seconds=IDLE.total_seconds())
    assert ina.visit("/").status_code == 303
    ina = bench.come_in("Ina")
    for _ in range(int(LONGEST / (IDLE / 2)) - 1):
        bench.later(seconds=IDLE.total_seconds() / 2)
        assert ina.visit("/you").status_code == 200
    bench.later(seconds=IDLE.total_seconds() / 2)
    assert ina.visit("/you").status_code == 303


def test_a_page_that_lies_open_keeps_no_session_alive(bench: Any) -> None:
    ina = bench.come_in("Ina")
    for _ in range(6):
        assert ina.get("/revision").status_code == 200
        assert ina.get("/prove/news?known=").status_code == 200
        assert ina.get("/away.js").headers["content-type"].startswith("text/javascript")
        assert ina.get("/prove", headers={"Accept": "text/html", "Loopwright-By-Itself": "yes"}).status_code == 200
        bench.later(minutes=5)
    assert ina.get("/revision").status_code == 401


def test_signing_out_ends_it_here_and_everywhere(bench: Any) -> None:
    here, there = bench.come_in("Ina"), bench.come_in("Ina", "10.0.0.9")
    token = here.cookies[COOKIE]
    answer = here.hand_in("/sign-out")
    assert answer.status_code == 303 and answer.headers["clear-site-data"] == '"storage"' and "Max-Age=0" in answer.headers["set-cookie"]
    assert bench.browser().visit("/", Cookie=f"{COOKIE}={token}").status_code == 303
    assert there.visit("/").status_code == 200
    third = bench.come_in("Ina")
    assert third.hand_in("/you/sessions").status_code == 303
    assert there.visit("/").status_code == 303 and third.visit("/").status_code == 303


def test_one_other_session_is_seen_and_ended(bench: Any) -> None:
    here, there = bench.come_in("Ina"), bench.come_in("Ina", "10.0.0.9")
    page = here.visit("/you").text
    assert "10.0.0.9" in page and here.cookies[COOKIE] not in page
    numbers = re.findall(r'name="number" value="(\w+)"', page)
    assert here.hand_in("/you/sessions", number=numbers[1]).headers["location"] == "/you?done=ended"
    assert there.visit("/").status_code == 303 and here.visit("/").status_code == 200


def test_wrong_tries_wait_and_the_words_never_say_what_was_wrong(bench: Any) -> None:
    browser = bench.browser()
    answers = [browser.hand_in("/sign-in", name=name, password="wrong and long enough") for name in ("Ina", "nobody here")]
    assert [answer.status_code for answer in answers] == [401, 401] and answers[0].text == answers[1].text
    for _ in range(4):
        last = browser.hand_in("/sign-in", name="Ina", password="wrong and long enough")
    assert last.status_code == 429 and int(last.headers["retry-after"]) > 0
    assert browser.hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"]).status_code == 429, "right, and not looked at"
    assert bench.come_in("Ina", "10.0.0.8"), "from elsewhere it is"
    bench.later(minutes=20)
    assert bench.come_in("Ina")


def test_the_owner_at_the_machine_is_never_made_to_wait(bench: Any) -> None:
    browser = bench.browser("127.0.0.1")
    for _ in range(12):
        assert browser.hand_in("/sign-in", name="Ada", password="wrong and long enough").status_code == 401
    assert bench.come_in("Ada", "127.0.0.1")


def test_after_the_sign_in_one_is_where_one_was(bench: Any) -> None:
    browser = bench.browser()
    sent = browser.visit("/wiring?open=d:cables/W01").headers["location"]
    then = unquote(sent.partition("then=")[2])
    assert then == "/wiring?open=d:cables/W01"
    assert f'value="{then}"' in browser.visit(sent).text
    answer = browser.hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"], then=then)
    assert answer.headers["location"] == then


def test_the_sign_in_leads_nowhere_else(bench: Any) -> None:
    for then in ELSEWHERE:
        answer = bench.browser().hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"], then=then)
        assert answer.headers["location"] == "/" == local(then)


def test_the_own_password_is_changed_with_the_old_one_and_few_tries(bench: Any) -> None:
    here, there = bench.come_in("Ina"), bench.come_in("Ina")
    new = "four lamps on a raft"
    token = here.cookies[COOKIE]
    assert "not the same twice" in here.hand_in("/you/password", old=bench.passwords["Ina"], new=new, again=new + "x").text
    assert "The password is not right" in here.hand_in("/you/password", old="wrong and long enough", new=new, again=new).text
    assert "tried first" in here.hand_in("/you/password", old=bench.passwords["Ina"], new="123456qwerty", again="123456qwerty").text
    assert here.hand_in("/you/password", old=bench.passwords["Ina"], new=new, again=new).headers["location"] == "/you?done=password"
    assert here.cookies[COOKIE] != token
    assert here.visit("/you").status_code == 200 and there.visit("/you").status_code == 303
    for _ in range(6):
        last = here.hand_in("/you/password", old="wrong and long enough", new=new, again=new)
    assert "next try" in last.text
    assert bench.browser("10.0.0.9").hand_in("/sign-in", name="Ina", password=new).status_code == 303


def test_one_time_codes_are_set_up_asked_for_and_dropped(bench: Any) -> None:
    ina = bench.come_in("Ina")
    assert "The password is not right" in ina.hand_in("/you/codes/begin", password="wrong and long enough").text
    page = ina.hand_in("/you/codes/begin", password=bench.passwords["Ina"])
    secret = re.sub(r"\s", "", re.search(r'class="once">([A-Z2-7 ]+)<', page.text)[1])  # type: ignore[index]
    assert len(base64.b32decode(secret)) == 20 and "<svg" in page.text
    wrong = ina.hand_in("/you/codes/confirm", password=bench.passwords["Ina"], code="000000")
    assert "not right" in wrong.text and bench.people.everybody()["Ina"].one_time is None
    code = pyotp.TOTP(secret).at(bench.now)
    assert (
        ina.hand_in("/you/codes/confirm", password=bench.passwords["Ina"], code=f"{code[:3]} {code[3:]}").headers["location"]
        == "/you?done=codes"
    )
    bench.later(seconds=60)
    other = bench.browser("10.0.0.9")
    assert other.hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"]).status_code == 401
    now = pyotp.TOTP(secret).at(bench.now)
    assert other.hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"], code=now).status_code == 303
    assert bench.browser().hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"], code=now).status_code == 401, "once"
    assert ina.hand_in("/you/codes/end", password=bench.passwords["Ina"]).headers["location"] == "/you?done=dropped"
    assert secret not in bench.noted() and secret not in ina.visit("/you").text


def test_the_pattern_holds_what_it_says(bench: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[str] = []
    monkeypatch.setattr("loopwright.web.own_entry.pattern", lambda text: seen.append(text) or "")
    page = bench.come_in("Ina").hand_in("/you/codes/begin", password=bench.passwords["Ina"])
    found = pyotp.parse_uri(seen[0])
    assert found.issuer == "Loopwright" and found.name == "Ina" and found.digits == 6 and found.interval == 30
    assert found.secret in re.sub(r"\s", "", page.text)


def test_people_are_kept_by_who_may_and_after_their_password(bench: Any) -> None:
    otto = bench.come_in("Otto")
    bench.later(seconds=PROVED_FOR.total_seconds())
    assert "give your password again" in otto.visit("/people").text
    assert otto.hand_in("/people/add", name="Eve", role="reader").status_code == 422 and "Eve" not in bench.people.everybody()
    assert "not right" in otto.hand_in("/people/prove", password="wrong and long enough").text
    assert otto.hand_in("/people/prove", password=bench.passwords["Otto"]).status_code == 303
    page = otto.hand_in("/people/add", name="Eve", role="reader")
    first = re.search(r'id="first-password">([a-z2-9-]+)<', page.text)[1]  # type: ignore[index]
    assert len(first) == 23 and first not in otto.visit("/people").text and first not in bench.noted()
    assert "Otto: person added Eve as reader" in bench.noted()
    assert otto.hand_in("/people/role", name="Eve", role="desk").status_code == 303
    assert "Otto: role changed to desk Eve" in bench.noted()
    assert otto.hand_in("/people/role", name="Eve", role="king").status_code == 422
    assert otto.hand_in("/people/add", name="Eve", role="reader").status_code == 422


def test_a_first_password_opens_the_way_to_another_one_alone(bench: Any) -> None:
    ada = bench.come_in("Ada")
    page = ada.hand_in("/people/password", name="Ina")
    first = re.search(r'id="first-password">([a-z2-9-]+)<', page.text)[1]  # type: ignore[index]
    browser = bench.browser()
    assert browser.hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"]).status_code == 401
    assert browser.hand_in("/sign-in", name="Ina", password=first).status_code == 303
    for address in ("/", "/wiring", "/choices", "/ways-in"):
        answer = browser.visit(address)
        assert answer.status_code == 403 and "change the password" in answer.text and nothing_of_the_job(answer, bench)
    assert browser.edit().status_code == 403 and bench.title() != "Taken over"
    new = "four lamps on a raft"
    assert "the one so far" in browser.hand_in("/you/password", old=first, new=first, again=first).text
    assert browser.hand_in("/you/password", old=first, new=new, again=new).status_code == 303
    assert browser.visit("/").status_code == 200


def test_the_owner_is_kept_by_the_owner_and_nobody_by_themselves(bench: Any) -> None:
    otto, ada = bench.come_in("Otto"), bench.come_in("Ada")
    for address in ("role", "out", "in", "password", "codes", "sessions"):
        for browser, name in ((otto, "Ada"), (otto, "Otto"), (ada, "Ada")):
            assert browser.hand_in(f"/people/{address}", name=name, role="reader").status_code == 403
    assert bench.people.everybody()["Ada"].active and bench.come_in("Ada") and bench.come_in("Otto")


def test_who_is_let_in_no_more_is_out_at_once_and_a_lost_device_is_dropped(bench: Any) -> None:
    ada, ina = bench.come_in("Ada"), bench.come_in("Ina")
    assert ada.hand_in("/people/out", name="Ina").status_code == 303
    assert ina.visit("/").status_code == 303
    assert ada.hand_in("/people/in", name="Ina").status_code == 303
    ina = bench.come_in("Ina")
    secret = bench.people.start_one_time("Ina", Secret(bench.passwords["Ina"]))
    code = Secret(pyotp.TOTP(secret.reveal()).at(bench.now))
    bench.people.confirm_one_time("Ina", Secret(bench.passwords["Ina"]), secret, code, now=bench.now)
    assert ada.hand_in("/people/codes", name="Ina").status_code == 303 and bench.people.everybody()["Ina"].one_time is None
    assert ada.hand_in("/people/sessions", name="Ina").status_code == 303
    assert ina.visit("/").status_code == 303 and "Ada: all sessions ended Ina" in bench.noted()


def test_the_trail_is_shown_and_what_was_changed_in_it_shows(bench: Any) -> None:
    ada = bench.come_in("Ada")
    page = ada.visit("/people/trail").text
    assert "signed in" in page and "Ada from 10.0.0.7" in page and "follows from the one before" in page
    bench.audit.path.write_text(bench.audit.path.read_text().replace("Rita", "Eve!"), encoding="ascii")
    assert "is not what was put there" in ada.visit("/people/trail").text


def test_names_are_never_markup(bench: Any) -> None:
    hostile = "<b>x</b>\"'&{{'q'*9}}"
    ada = bench.come_in("Ada")
    page = ada.hand_in("/people/add", name=hostile, role="reader").text
    for each in (page, ada.visit("/people").text, ada.visit("/people/trail").text):
        assert "<b>x</b>" not in each and "q" * 9 not in each and "&lt;b&gt;x" in each


def test_what_cannot_be_noted_or_read_lets_nobody_in(bench: Any, tmp_path: Path) -> None:
    ina = bench.come_in("Ina")
    (tmp_path / "people").write_text("{}", encoding="ascii")
    answer = ina.visit("/")
    assert answer.status_code == 503 and nothing_of_the_job(answer, bench)
    assert bench.browser().hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"]).status_code == 503


def test_what_cannot_be_noted_is_told_on_a_page(bench: Any) -> None:
    ada = bench.come_in("Ada")
    bench.audit.path.unlink()
    bench.audit.path.mkdir()
    page = ada.hand_in("/you/sessions")
    assert page.status_code == 503 and "could not be noted" in page.text and "This was not done" in page.text
    assert ada.visit("/you").status_code == 200, "nothing was done"


def test_nothing_that_was_typed_is_in_an_address_or_in_the_trail(
    bench: Any, capsys: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    browser = bench.browser()
    for name, password in (("Ina", "planted secret of a test"), ("planted name of a test", "x" * 20), ("Ina", bench.passwords["Ina"])):
        answer = browser.hand_in("/sign-in", name=name, password=password, then="/wiring")
        assert "planted" not in answer.text + str(answer.headers)
    token = browser.cookies[COOKIE]
    said = bench.noted() + capsys.readouterr().out + caplog.text
    for secret in ("planted", bench.passwords["Ina"], token):
        assert secret not in said and all(secret not in each.read_text("utf-8", "replace") for each in bench.path.parent.iterdir())


# Behind a proxy of the user's own.

PROXY = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "10.0.0.7"}


def test_only_the_proxy_is_believed(proxied: Any) -> None:
    for address in ("10.0.0.7", "::1", "127.0.0.2"):
        assert proxied.browser(address).visit("/sign-in", **PROXY).status_code == 403
    by_proxy = proxied.browser("127.0.0.1")
    assert by_proxy.visit("/sign-in", **PROXY).status_code == 200
    for missing in PROXY:
        assert by_proxy.visit("/sign-in", **{name: value for name, value in PROXY.items() if name != missing}).status_code == 403
    assert by_proxy.visit("/sign-in", **PROXY | {"X-Forwarded-Proto": "http"}).status_code == 403
    assert by_proxy.visit("/sign-in", **PROXY | {"X-Forwarded-For": "somebody"}).status_code == 403


def test_nobody_behind_a_proxy_is_at_the_machine(proxied: Any) -> None:
    browser = proxied.browser("127.0.0.1")
    browser.headers.update(PROXY | {"X-Forwarded-For": "10.6.6.6, 127.0.0.1"})
    statuses = [browser.hand_in("/sign-in", name="Ada", password="wrong and long enough").status_code for _ in range(7)]
    assert statuses[-1] == 429
    # What the browser itself says of where it is does not count, only what the proxy has added.
    browser.headers["X-Forwarded-For"] = "127.0.0.1, 10.0.0.7"
    assert browser.hand_in("/sign-in", name="Ada", password=proxied.passwords["Ada"]).status_code == 303
    assert "signed in Ada from 10.0.0.7" in proxied.noted()


def test_without_a_proxy_its_headers_are_not_believed(bench: Any) -> None:
    browser = bench.browser()
    browser.headers.update(PROXY | {"X-Forwarded-For": "127.0.0.1"})
    assert browser.hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"]).status_code == 303
    assert "signed in Ina from 10.0.0.7" in bench.noted()


def test_a_neighbourhood_of_ipv6_is_one_place(bench: Any) -> None:
    for number in range(6):
        last = bench.browser(f"2001:db8:0:7::{number + 1}").hand_in("/sign-in", name="Ina", password="wrong and long enough")
    assert last.status_code == 429
    assert bench.browser("2001:db8:0:8::1").hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"]).status_code == 303
