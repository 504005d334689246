"""The API under many more made-up requests, and many more orders of them, than the test-suite makes.

Each operation gets requests that fit its description and requests that do not; programs with tokens work on one job in any order, against a
model of what must come of it. Anything found is printed with the shortest way to it; the exit status is the tests' own.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

REQUESTS = os.environ.get("REQUESTS", "200")
"""Requests an operation and kind."""
ORDERS = os.environ.get("ORDERS", "100")
TESTS = Path(__file__).resolve().parent.parent / "tests" / "web" / "api"


def main() -> int:
    """Run them; return the exit status."""
    os.environ |= {"LOOPWRIGHT_API_EXAMPLES": REQUESTS, "LOOPWRIGHT_API_ORDERS": ORDERS}
    named = (TESTS / "test_conformance.py", TESTS / "test_any_order.py")
    return int(pytest.main(["-q", "--durations=4", *(str(path) for path in named)]))


if __name__ == "__main__":
    sys.exit(main())
