"""An application whose addresses were worked out before is the same as one that is built from nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fastapi import routing

import loopwright.demo
import routed
from loopwright.store.file import JobFile
from loopwright.web.app import create_app
from loopwright.web.session import Session

from .conftest import Bench


def described(app: Any) -> list[object]:
    """Return what an application says of itself, and of every address the parameters it takes from where."""
    own = [each for each in app.routes if isinstance(each, routing.APIRoute)]
    taken = [
        (each.path, sorted(each.methods), each.endpoint.__qualname__, each.dependant.call is each.endpoint, _of(each.dependant))
        for each in own
    ]
    return [app.openapi(), taken]


def _of(dependant: Any) -> list[object]:
    names = ("path_params", "query_params", "header_params", "cookie_params", "body_params")
    return [
        *([(field.name, field.alias, str(field.field_info)) for field in getattr(dependant, name)] for name in names),
        dependant.request_param_name, dependant.response_param_name, dependant.background_tasks_param_name,
        [(each.call.__qualname__, _of(each)) for each in dependant.dependencies],
    ]  # fmt: skip


def test_an_application_of_known_addresses_is_the_one_built_from_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert set(routed.STANDS_FOR) == set(routed.OWN) and all(getattr(routing, name) is each for name, each in routed.STANDS_FOR.items())
    (tmp_path / "job.yaml").write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    session = Session(JobFile(tmp_path / "job.yaml"))
    (tmp_path / "office").mkdir()
    entrance = Bench(tmp_path / "office").entrance
    made = [[create_app(session, token=None), create_app(session, token=None, entrance=entrance)] for _ in range(2)]
    for name, own in routed.OWN.items():
        monkeypatch.setattr(routing, name, own)
    plain = [create_app(session, token=None), create_app(session, token=None, entrance=entrance)]
    for again in made:
        for app, other in zip(again, plain, strict=True):
            assert described(app) == described(other)
    own_endpoints = [{id(each.endpoint) for each in app.routes if isinstance(each, routing.APIRoute)} for apps in made for app in apps]
    assert not set.intersection(*own_endpoints), "each application answers with its own job"
