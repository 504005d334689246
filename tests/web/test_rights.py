"""Every address asks for a right, and each role comes as far as its rights and no further."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import Depends
from fastapi.routing import APIRoute
from starlette.routing import Mount

from loopwright.store.person import RIGHTS, Right, Role
from loopwright.web.api.entry import ROOT
from loopwright.web.rights import MAY_NOT, TO_EDIT, Open, allowed, demand_of, demands
from loopwright.web.rooms.register import ROOMS

OPEN_TO_ANYBODY = {"/sign-in"}
OWN = {"/you", "/you/password", "/you/sessions", "/you/codes/begin", "/you/codes/confirm", "/you/codes/end", "/sign-out"}
KEEPING = {
    "/people", "/people/prove", "/people/add", "/people/role", "/people/out", "/people/in", "/people/sessions", "/people/codes",
    "/people/password", "/people/trail",
}  # fmt: skip
MOUNTED = {"/static", ROOT}
"""Of these the first shows nothing of the job, and the other asks for a token of its own."""
NAMES = {Role.INSTALLER: "Ina", Role.DESK: "Dora", Role.OFFICE: "Otto", Role.READER: "Rita", Role.SURVEYOR: "Sven", Role.MATE: "Max"}
OF_THE_JOB = ("/", "/premises", "/kit", "/wiring", "/power", "/programme", "/papers", "/choices", "/revision", "/ways-in")


def routes(app: Any) -> Iterator[APIRoute]:
    for route in app.routes:
        assert isinstance(route, APIRoute) or (isinstance(route, Mount) and route.path in MOUNTED), route
        if isinstance(route, APIRoute):
            yield route


def test_every_address_names_what_it_asks_for(bench: Any) -> None:
    asked = {route.path: demand_of(route.endpoint) for route in routes(bench.app)}
    assert len(asked) > 30
    assert [path for path, demand in asked.items() if demand is None] == []
    assert {path for path, demand in asked.items() if demand is Open.ANYBODY} == OPEN_TO_ANYBODY
    assert {path for path, demand in asked.items() if demand is Open.SIGNED_IN} == OWN
    assert {path for path, demand in asked.items() if demand is Right.KEEP_PEOPLE} == KEEPING
    assert asked["/edit"] == TO_EDIT


def test_whoever_changes_something_asks_for_more_than_reading(bench: Any) -> None:
    for route in routes(bench.app):
        if (route.methods or set()) - {"GET", "HEAD"} and demand_of(route.endpoint) is Right.READ_JOB:
            assert route.path in READ_BY_POST, route.path


READ_BY_POST = {"/search"}
"""Addresses that are posted to because what they ask for is long or shall be in no address, and that change nothing."""


def test_what_is_asked_for_is_looked_at_before_every_route(bench: Any) -> None:
    for route in routes(bench.app):
        assert [each.call for each in route.dependant.dependencies][:1] == [allowed], route.path


def test_the_way_of_the_programs_asks_for_a_token_everywhere(bench: Any) -> None:
    browser, ada = bench.browser(), bench.come_in("Ada")
    (api,) = (route.app.app for route in bench.app.routes if isinstance(route, Mount) and route.path == ROOT)
    described = api.openapi()["paths"]
    assert len(described) > 5
    for path, acts in described.items():
        for act in acts:
            for each in (browser, ada):
                answer = each.request(act, ROOT + path.removeprefix(ROOT).replace("{", "").replace("}", ""))
                assert answer.status_code == 401 and "token" in answer.text, (act, path)


def test_an_address_that_names_nothing_is_for_who_may_everything(bench: Any) -> None:
    @bench.app.get("/a/forgotten/address")
    def forgotten() -> str:
        return "reached"

    for name in NAMES.values():
        assert bench.come_in(name).get("/a/forgotten/address").status_code == 403
    assert "reached" in bench.come_in("Ada").get("/a/forgotten/address").text


@pytest.mark.parametrize("role", list(Role))
def test_each_role_comes_as_far_as_its_rights(bench: Any, role: Role) -> None:
    browser, rights = bench.come_in(NAMES[role]), RIGHTS[role]
    for address in OF_THE_JOB:
        assert (browser.visit(address).status_code == 200) is (Right.READ_JOB in rights), address
    for room in ROOMS:
        assert (browser.visit(room.address).status_code == 200) is (room.right in rights), room.key
        listed = f'href="{room.address}"' in browser.visit("/").text
        assert listed is (room.right in rights), room.key
    for address in ("/people", "/people/trail"):
        assert (browser.visit(address).status_code == 200) is (Right.KEEP_PEOPLE in rights), address
    assert ('href="/people"' in browser.visit("/").text) is (Right.KEEP_PEOPLE in rights)
    answer = browser.edit()
    assert (answer.status_code == 200 and bench.title() == "Taken over") is (Right.CHANGE_JOB in rights)


def test_every_posted_address_is_shut_to_a_reader(bench: Any) -> None:
    rita = bench.come_in("Rita")
    shut = [route.path for route in routes(bench.app) if "POST" in (route.methods or ()) and demand_of(route.endpoint) in {*Right, TO_EDIT}]
    shut = [path for path in shut if path not in READ_BY_POST]
    assert len(shut) > 10
    before = bench.session.state.text
    for path in shut:
        answer = rita.hand_in(path.replace("{", "").replace("}", ""), name="Ina", role="office")
        assert answer.status_code == 403 and "You may" in answer.text, path
    assert bench.session.state.text == before and bench.people.everybody()["Ina"].role is Role.INSTALLER


def test_a_reader_sees_the_rooms_and_nothing_to_change_them_with(bench: Any) -> None:
    rita, ina = bench.come_in("Rita"), bench.come_in("Ina")
    for address in ("/premises", "/kit", "/wiring", "/programme"):
        page = rita.visit(address).text
        assert MAY_NOT[Right.CHANGE_JOB] in page and '<fieldset class="still" disabled>' in page
        assert 'data-do="undo"' not in page
        theirs = ina.visit(address).text
        assert "fieldset" not in theirs and 'data-do="undo"' in theirs and MAY_NOT[Right.CHANGE_JOB] not in theirs
    assert rita.edit().json() == {"problems": [{"path": "", "message": MAY_NOT[Right.CHANGE_JOB]}]}


READING = {"at": "2026-03-02 09:00", "by": "Max", "where": "control", "reading": "13.6 V"}


def test_readings_are_entered_corrected_and_taken_back_without_the_right_to_change_the_job(bench: Any) -> None:
    max_ = bench.come_in("Max")
    origin = {"Origin": str(max_.base_url).rstrip("/")}

    def said(**change: Any) -> int:
        return int(max_.post("/edit", json=change, headers=origin).status_code)

    before = bench.session.state.job
    number = len(before.observations)
    assert said(do="add", path="observations", fields=READING) == 200
    assert said(do="set", path=f"observations/{number}/reading", text="13.7 V") == 200
    assert bench.session.state.job.observations[-1].reading == "13.7 V"
    assert said(do="undo") == 200 and bench.session.state.job.observations[-1].reading == "13.6 V"
    assert said(do="redo") == 200 and said(do="remove", path=f"observations/{number}") == 200 and bench.session.state.job == before
    held = bench.session.state.text
    for change in ({"do": "set", "path": "observationsx", "text": "1"}, {"do": "remove", "path": "equipment/control"}, {"do": "reload"}):
        assert said(**change) == 403
    assert bench.session.state.text == held


def test_a_step_that_was_more_than_readings_is_not_taken_back_without_the_right_to_change_the_job(bench: Any) -> None:
    sven = bench.come_in("Sven")
    assert sven.edit().status_code == 200
    bench.people.set_role("Sven", Role.MATE)
    origin = {"Origin": str(sven.base_url).rstrip("/")}
    assert sven.post("/edit", json={"do": "undo"}, headers=origin).status_code == 403 and bench.title() == "Taken over"


def test_what_changes_nothing_is_not_still_for_a_reader(bench: Any) -> None:
    rita, max_ = bench.come_in("Rita"), bench.come_in("Max")
    still = '<fieldset class="still" disabled>'
    for browser in (rita, max_):
        kit = browser.visit("/kit").text
        assert kit.index("data-within") < kit.index(still), "rows are sifted by whoever reads them"
    theirs, ours = max_.visit("/").text, rita.visit("/").text
    assert theirs.count(still) == 1 and theirs.index("Readings on record") > theirs.index("</fieldset>")
    assert ours.count(still) == 2 and ours.rindex(still) < ours.index("Readings on record")
    circuit = next(iter(bench.session.state.job.circuits))
    link = f'<a class="quiet" href="./#row:observations" data-form="observations" data-given="{circuit}"'
    assert [link in each.visit(f"/wiring?open=d:circuits/{circuit}").text for each in (max_, rita)] == [True, False]


def test_another_role_counts_from_the_next_request_on(bench: Any) -> None:
    ina = bench.come_in("Ina")
    assert ina.visit("/secrets").status_code == 200
    bench.people.set_role("Ina", Role.READER)
    assert ina.visit("/secrets").status_code == 403 and ina.edit().status_code == 403 and bench.title() != "Taken over"


def test_a_desk_keeps_no_people(bench: Any) -> None:
    dora = bench.come_in("Dora")
    for address in KEEPING - {"/people", "/people/trail"}:
        assert dora.hand_in(address, name="Dora", role="office", password=bench.passwords["Dora"]).status_code == 403
    assert bench.people.everybody()["Dora"].role is Role.DESK


def test_every_right_has_words_for_whoever_has_it_not() -> None:
    assert set(MAY_NOT) == set(Right)


def test_the_gate_sees_a_route_without_it(bench: Any) -> None:
    """A gate that cannot fail is worse than none."""

    @demands(Open.ANYBODY)
    def marked() -> None:
        return None

    assert demand_of(marked) is Open.ANYBODY and demand_of(lambda: None) is None
    bench.app.router.routes.append(APIRoute("/beside", lambda: None, dependencies=[Depends(lambda: None)]))
    with pytest.raises(AssertionError):
        test_what_is_asked_for_is_looked_at_before_every_route(bench)
