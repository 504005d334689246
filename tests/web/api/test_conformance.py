"""The API against its own document, by a program that makes up requests (schemathesis), and the document against the standard it names.

For every operation, with data that fits the document and data that does not: no answer is a fault of the program, each has a status, a
type and a form the document names, what does not fit is not taken, and no address answers without a token.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from openapi_spec_validator import OpenAPIV31SpecValidator
from schemathesis import GenerationMode

from loopwright.web.api import manual
from loopwright.web.api.app import create_api
from loopwright.web.print_run import moment
from often import DEEP

EXAMPLES = int(os.environ.get("LOOPWRIGHT_API_EXAMPLES", "40" if DEEP else "4"))
"""Requests an operation and kind; bench/api.py asks for more."""


@pytest.fixture
def described(app: Any) -> Any:
    """Return the document as schemathesis reads it."""
    schema = schemathesis.openapi.from_asgi("/api/openapi.json", app)
    checks = schema.config.checks
    # An edit that has the right form may still be none that can be made to this job; and undo may have nothing to undo.
    checks.positive_data_acceptance.expected_statuses = ["2xx", "304", "404", "409", "412", "422"]
    checks.negative_data_rejection.expected_statuses = ["401", "404", "405", "412", "422", "428"]
    return schema


@pytest.mark.parametrize("mode", list(GenerationMode))
def test_every_operation_does_as_its_document_says(described: Any, writer: Any, mode: GenerationMode) -> None:
    for found in described.get_all_operations():
        operation = found.ok()
        asked = 0

        @given(operation.as_strategy(generation_mode=mode))
        @settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck), database=None)
        def conforms(case: Any) -> None:
            nonlocal asked
            asked += 1
            case.call_and_validate(headers={"Authorization": f"Bearer {writer.bearer}"})

        conforms()
        assert asked, operation.label


def test_the_document_is_openapi_3_1(nobody: Any) -> None:
    found = list(OpenAPIV31SpecValidator(nobody.get("/api/openapi.json").json()).iter_errors())
    assert not found, found


def test_the_page_of_the_manual_is_current(session: Any) -> None:
    page = Path(__file__).resolve().parents[3] / "docs" / "api.md"
    assert page.read_text(encoding="utf-8") == manual.page(create_api(session, moment)), "run tools/write-api-page"
