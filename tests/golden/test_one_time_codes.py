"""The published one-time codes: RFC 4226, appendix D, and RFC 6238, appendix B.

The numbers were read beside the name of their source in public test code, not in the RFCs themselves.
"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from loopwright.store.one_time import Hash, hotp, step_of

SEED = b"1234567890" * 7
SEEDS: dict[Hash, bytes] = {"sha1": SEED[:20], "sha256": SEED[:32], "sha512": SEED[:64]}
BY_COUNTER = ["755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871", "520489"]
BY_TIME = [
    (59, "94287082", "46119246", "90693936"),
    (1111111109, "07081804", "68084774", "25091201"),
    (1111111111, "14050471", "67062674", "99943326"),
    (1234567890, "89005924", "91819424", "93441116"),
    (2000000000, "69279037", "90698825", "38618901"),
    (20000000000, "65353130", "77737706", "47863826"),
]


def test_rfc_4226_appendix_d() -> None:
    assert [hotp(SEEDS["sha1"], counter) for counter in range(10)] == BY_COUNTER


@pytest.mark.parametrize(("second", "sha1", "sha256", "sha512"), BY_TIME)
def test_rfc_6238_appendix_b(second: int, sha1: str, sha256: str, sha512: str) -> None:
    step = step_of(datetime.fromtimestamp(second, UTC))
    codes = {each: hotp(seed, step, digits=8, hashed_with=each) for each, seed in SEEDS.items()}
    assert codes == {"sha1": sha1, "sha256": sha256, "sha512": sha512}
