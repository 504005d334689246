"""The published answers of every lock that is used: AES-GCM, Argon2id, HMAC, HKDF.

Each number was read beside the name of its source in public test code, not in the standard itself:

- AES-256-GCM: McGrew and Viega, "The Galois/Counter Mode of Operation (GCM)", appendix B, test case 16.
- Argon2id: RFC 9106, section 5.3.
- HMAC-SHA-256: RFC 4231, test cases 1, 2 and 3.
- HKDF-SHA-256: RFC 5869, A.1, the first block, which is all that is used.
"""

from __future__ import annotations

import pytest
from argon2.low_level import ARGON2_VERSION as LIBRARY_VERSION
from argon2.low_level import core, ffi
from argon2.low_level import lib as argon2_library
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

from loopwright.store import seal
from loopwright.store.secret import Secret

KEY = "feffe9928665731c6d6a8f9467308308" * 2
NONCE = "cafebabefacedbaddecaf888"
PLAIN = (
    "d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a72"
    "1c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657ba637b39"
)  # fmt: skip
BOUND_TO = "feedfacedeadbeeffeedfacedeadbeefabaddad2"
SEALED = (
    "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa"
    "8cb08e48590dbb3da7b08b1056828838c5f61e6393ba7a0abcc9f662"
    "76fc6ece0f4e1768cddf8853bb2d551b"
)  # fmt: skip
ARGON2ID_TAG = "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659"


def raw(text: str) -> bytes:
    return bytes.fromhex(text)


def test_aes_256_gcm_test_case_16() -> None:
    cipher = seal.AESGCM(raw(KEY))
    assert cipher.encrypt(raw(NONCE), raw(PLAIN), raw(BOUND_TO)).hex() == SEALED
    assert cipher.decrypt(raw(NONCE), raw(SEALED), raw(BOUND_TO)).hex() == PLAIN


def test_argon2id_rfc_9106_section_5_3() -> None:
    """The vector has a secret and associated data, which only the library's innermost function takes."""
    out = ffi.new("uint8_t[]", 32)
    held = [ffi.new("uint8_t[]", content) for content in (b"\x01" * 32, b"\x02" * 16, b"\x03" * 8, b"\x04" * 12)]
    password, salt, secret, data = held
    context = ffi.new(
        "argon2_context *",
        {
            "out": out, "outlen": 32, "version": LIBRARY_VERSION, "pwd": password, "pwdlen": 32, "salt": salt, "saltlen": 16,
            "secret": secret, "secretlen": 8, "ad": data, "adlen": 12, "t_cost": 3, "m_cost": 32, "lanes": 4, "threads": 4,
            "allocate_cbk": ffi.NULL, "free_cbk": ffi.NULL, "flags": argon2_library.ARGON2_DEFAULT_FLAGS,
        },
    )  # fmt: skip
    assert core(context, seal.Type.ID.value) == 0
    assert bytes(ffi.buffer(out)).hex() == ARGON2ID_TAG


def test_the_key_is_what_another_library_makes_of_the_passphrase() -> None:
    cost = seal.Cost(passes=3, memory_kib=64, lanes=2)
    other = Argon2id(salt=b"salt" * 4, length=32, iterations=3, lanes=2, memory_cost=64)
    assert seal.main_key("Schlüssel".encode(), b"salt" * 4, cost) == other.derive("Schlüssel".encode())
    # That other library is held to the RFC's vector as well, so the two do not merely agree with each other.
    vector = Argon2id(salt=b"\x02" * 16, length=32, iterations=3, lanes=4, memory_cost=32, ad=b"\x04" * 12, secret=b"\x03" * 8)
    assert vector.derive(b"\x01" * 32).hex() == ARGON2ID_TAG


@pytest.mark.parametrize(
    ("key", "data", "expected"),
    [
        (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
        (b"Jefe", b"what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
        (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
    ],
)
def test_hmac_rfc_4231(key: bytes, data: bytes, expected: str) -> None:
    assert seal.hmac.digest(key, data, "sha256").hex() == expected


def test_hkdf_rfc_5869_first_block() -> None:
    main = raw("077709362c2e32df0ddc3f0dc47bba6390b6c73bb50f9c3122ec844ad7c2b3e5")
    assert seal.subkey(main, raw("f0f1f2f3f4f5f6f7f8f9")).hex() == "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf"


def test_both_keys_of_a_vault_come_from_the_passphrase_and_differ() -> None:
    cost = seal.Cost(passes=1, memory_kib=8, lanes=1)
    keys = seal.keys_from(Secret("correct horse"), b"s" * 16, cost)
    main = seal.main_key(b"correct horse", b"s" * 16, cost)
    nonce, sealed = keys.seal(Secret("4711"), b"name", lambda count: b"n" * count)
    assert sealed == seal.AESGCM(seal.subkey(main, b"loopwright vault 1: entries")).encrypt(nonce, seal.filled(b"4711"), b"name")
    assert keys.mark(b"file") == seal.hmac.digest(seal.subkey(main, b"loopwright vault 1: whole file"), b"file", "sha256")
