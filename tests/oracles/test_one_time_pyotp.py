"""One-time codes against another program's, the library pyotp, for any secret at any time."""

from __future__ import annotations

import base64
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.store.one_time import hotp, one_time_secret, step_of, step_taken
from loopwright.store.secret import Secret

pyotp = pytest.importorskip("pyotp", reason="oracle missing: pyotp")
TIMES = st.integers(0, 4_000_000_000).map(lambda second: datetime.fromtimestamp(second, UTC))


@given(st.binary(min_size=20, max_size=20), TIMES)
def test_any_code(raw: bytes, now: datetime) -> None:
    secret = one_time_secret(lambda count: raw[:count])
    code = pyotp.TOTP(secret.reveal()).at(now)
    assert hotp(base64.b32decode(secret.reveal()), step_of(now)) == code
    assert step_taken(secret, Secret(code), now=now, used_step=-1) is not None
