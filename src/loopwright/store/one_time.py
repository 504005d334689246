"""One-time codes that follow the clock (RFC 6238 on RFC 4226), as authenticator programs show them."""

from __future__ import annotations

import base64
import hmac
from datetime import datetime
from typing import Literal

from loopwright.store.secret import Draw, Secret, same

STEP_S = 30
DIGITS = 6
SECRET_BYTES = 20
STEPS_EITHER_WAY = 1
"""RFC 6238 section 5.2 allows one step for the delay; a clock may be off the other way too."""
Hash = Literal["sha1", "sha256", "sha512"]


def one_time_secret(draw: Draw) -> Secret:
    """Return a new secret of 160 bits in base 32, as it is typed into an authenticator."""
    return Secret(base64.b32encode(draw(SECRET_BYTES)).decode("ascii"))


def hotp(key: bytes, counter: int, *, digits: int = DIGITS, hashed_with: Hash = "sha1") -> str:
    """Return a code for a counter: HOTP(K,C) = Truncate(HMAC-SHA-1(K,C)) (RFC 4226, 5.2 and 5.3).

    >>> hotp(b"12345678901234567890", 1)  # RFC 4226, appendix D
    '287082'
    """
    mac = hmac.digest(key, counter.to_bytes(8, "big"), hashed_with)
    offset = mac[-1] & 0xF
    return str((int.from_bytes(mac[offset : offset + 4], "big") & 0x7FFFFFFF) % 10**digits).zfill(digits)


def step_of(now: datetime) -> int:
    """Return the time step: T = (current Unix time - T0) / X with T0 = 0 and X = 30 s (RFC 6238, 4.2)."""
    return int(now.timestamp()) // STEP_S


def step_taken(secret: Secret, code: Secret, *, now: datetime, used_step: int) -> int | None:
    """Return the step a code is right for, None when it is wrong or of a step that was used before (RFC 6238, 5.2: once only)."""
    key, given, found = base64.b32decode(secret.utf8()), code.utf8(), None
    present = step_of(now)
    for step in range(max(0, present - STEPS_EITHER_WAY), present + STEPS_EITHER_WAY + 1):
        if same(hotp(key, step).encode("ascii"), given) and step > used_step:
            found = step
    return found
