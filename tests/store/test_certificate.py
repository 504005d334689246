"""The own certificate: kept, renewed, refused when it is not ours alone; looked at by OpenSSL."""

from __future__ import annotations

import hashlib
import ssl
import stat
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from loopwright.store.certificate import LASTS, RENEWED_BEFORE, certificate_for, certificate_path
from loopwright.store.file import StoreError

NOW = datetime.now(UTC).replace(microsecond=0)
NAMES = frozenset({"bench.local", "localhost", "127.0.0.1", "::1"})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return certificate_path(tmp_path / "people")


def test_it_is_made_once_and_kept_by_its_owner_alone(path: Path) -> None:
    made, why = certificate_for(path, NAMES, now=NOW)
    again, unchanged = certificate_for(path, NAMES, now=NOW + timedelta(days=200))
    assert why and not unchanged and made == again
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert made.names == NAMES and abs(made.ends_at - (NOW + LASTS)) < timedelta(seconds=2)
    der = ssl.PEM_cert_to_DER_cert(made.pem)
    assert hashlib.sha256(der).hexdigest() == made.sha256.replace(":", "").lower()
    assert "PRIVATE" not in made.pem


def test_it_is_renewed_near_its_end_and_for_a_new_name(path: Path) -> None:
    first, _ = certificate_for(path, NAMES, now=NOW)
    kept, why = certificate_for(path, NAMES, now=first.ends_at - RENEWED_BEFORE - timedelta(minutes=1))
    assert kept == first and not why
    second, why = certificate_for(path, NAMES, now=first.ends_at - RENEWED_BEFORE)
    assert second.sha256 != first.sha256 and "near its end" in why
    third, why = certificate_for(path, NAMES | {"10.0.0.9"}, now=NOW)
    assert third.sha256 != second.sha256 and "another name or address" in why


def test_a_key_that_others_may_read_is_not_used(path: Path) -> None:
    certificate_for(path, NAMES, now=NOW)
    path.chmod(0o640)
    with pytest.raises(StoreError, match="others may read it"):
        certificate_for(path, NAMES, now=NOW)


@pytest.mark.parametrize("damage", [lambda raw: b"", lambda raw: raw[: len(raw) // 2], lambda raw: raw[raw.index(b"-----BEGIN CERT") :]])
def test_a_damaged_one_is_said_to_be(path: Path, damage: object) -> None:
    certificate_for(path, NAMES, now=NOW)
    path.write_bytes(damage(path.read_bytes()))  # type: ignore[operator]
    with pytest.raises(StoreError, match="damaged"):
        certificate_for(path, NAMES, now=NOW)


def test_a_key_and_a_certificate_of_two_makings_are_refused(path: Path, tmp_path: Path) -> None:
    certificate_for(path, NAMES, now=NOW)
    other = tmp_path / "other.tls"
    certificate_for(other, NAMES, now=NOW)
    key, certificate = path.read_bytes(), other.read_bytes()
    path.write_bytes(key[: key.index(b"-----BEGIN CERT")] + certificate[certificate.index(b"-----BEGIN CERT") :])
    with pytest.raises(StoreError, match="damaged"):
        certificate_for(path, NAMES, now=NOW)


def test_openssl_finds_it_in_order(path: Path, openssl: str, tmp_path: Path) -> None:
    made, _ = certificate_for(path, NAMES, now=NOW)
    alone = tmp_path / "certificate.pem"
    alone.write_text(made.pem, encoding="ascii")
    shown = [openssl, "x509", "-in", alone, "-noout", "-text", "-fingerprint", "-sha256"]
    text = subprocess.run(shown, capture_output=True, text=True).stdout
    assert made.sha256 in text
    assert "CA:FALSE" in text and "prime256v1" in text and "ecdsa-with-SHA256" in text
    assert "TLS Web Server Authentication" in text and "DNS:bench.local" in text and "IP Address:127.0.0.1" in text
    as_server = [openssl, "verify", "-x509_strict", "-purpose", "sslserver", "-verify_hostname", "bench.local", "-partial_chain"]
    good = subprocess.run([*as_server, "-CAfile", alone, alone], capture_output=True, text=True)
    assert good.returncode == 0, good.stdout + good.stderr
