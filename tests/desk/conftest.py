"""Designs that callers ring about, each appraised once, and calls about them."""

from __future__ import annotations

import pytest

import loopwright.demo
from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.desk.assumed import assumed_document
from loopwright.job.read import read


@pytest.fixture(scope="session")
def house() -> Appraisal:
    return appraise(read(loopwright.demo.text("dwelling")).job)


@pytest.fixture(scope="session")
def bindery() -> Appraisal:
    return appraise(read(loopwright.demo.text("business")).job)


@pytest.fixture(scope="session")
def assumed() -> Appraisal:
    return appraise(read(assumed_document("Lane 4", {}, year=2026)).job)
