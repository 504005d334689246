"""The workbench's own certificate, by which a browser on the local network knows it again: made at first use, renewed near its end.

Key and certificate stand in one file of its owner alone, so that they are never of two makings. The certificate signs nothing else: whoever
takes the key can stand in for this workbench and for no other server.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from loopwright.store.file import StoreError
from loopwright.store.ours import read_own
from loopwright.store.whole import write_whole

OURS_ALONE = 0o600
SUFFIX = ".tls"
LASTS = timedelta(days=365)
RENEWED_BEFORE = timedelta(days=30)
BACKDATED = timedelta(hours=1)
"""A clock that is a little slow shall not refuse a new certificate."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Certificate:
    """The certificate as it is shown: the file it stands in with its key, the names it is for, its end, and what it is known by."""

    path: Path
    names: frozenset[str]
    ends_at: datetime
    sha256: str
    pem: str


def certificate_path(people: Path) -> Path:
    """Return where the certificate is kept: beside the people it lets in."""
    return people.with_name(people.name + SUFFIX)


def certificate_for(path: Path, names: frozenset[str], *, now: datetime) -> tuple[Certificate, str]:
    """Return the certificate for these names, and why it was made anew; that is empty when it was there. Raises StoreError."""
    why = "There was none yet."
    try:
        if path.exists():
            found = _read(path)
            if not names <= found.names:
                why = "This machine has another name or address than before."
            elif now < found.ends_at - RENEWED_BEFORE:
                return found, ""
            else:
                why = "The one so far is near its end."
        write_whole(path, _made(names, now), over=True, mode=OURS_ALONE)
        return _read(path), why
    except OSError as error:
        raise StoreError(f"{path.name} cannot be read or written: {(error.strerror or type(error).__name__).lower()}.") from error


def _read(path: Path) -> Certificate:
    try:
        raw = read_own(path, secret=True)
    except StoreError as error:
        raise StoreError(f"{error} Take it away: another is made at the next start.") from None
    try:
        key, read = serialization.load_pem_private_key(raw, None), x509.load_pem_x509_certificate(raw)
        if key.public_key() != read.public_key():
            raise ValueError("of two makings")
        names = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, TypeError, UnsupportedAlgorithm, x509.ExtensionNotFound):
        raise StoreError(f"{path.name} is damaged. Take it away: another is made at the next start.") from None
    said = {*names.get_values_for_type(x509.DNSName), *(str(each) for each in names.get_values_for_type(x509.IPAddress))}
    return Certificate(
        path=path, names=frozenset(said), ends_at=read.not_valid_after_utc,
        sha256=read.fingerprint(hashes.SHA256()).hex(":").upper(),
        pem=read.public_bytes(serialization.Encoding.PEM).decode("ascii"),
    )  # fmt: skip


def _made(names: frozenset[str], now: datetime) -> bytes:
    """Return a new key (P-256) and its certificate (RFC 5280) in PEM."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Loopwright workbench")])
    extensions: list[tuple[x509.ExtensionType, bool]] = [
        (x509.BasicConstraints(ca=False, path_length=None), True),
        (_signs_only(), True),
        (x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False),
        (x509.SubjectAlternativeName([_name(each) for each in sorted(names)]), False),
        (x509.SubjectKeyIdentifier.from_public_key(key.public_key()), False),
    ]
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject).issuer_name(subject).public_key(key.public_key()).serial_number(x509.random_serial_number())
        .not_valid_before((now - BACKDATED).astimezone(UTC)).not_valid_after((now + LASTS).astimezone(UTC))
    )  # fmt: skip
    for extension, critical in extensions:
        builder = builder.add_extension(extension, critical=critical)
    form, bare = serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    return key.private_bytes(serialization.Encoding.PEM, form, bare) + builder.sign(key, hashes.SHA256()).public_bytes(
        serialization.Encoding.PEM
    )


def _signs_only() -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=True, content_commitment=False, key_encipherment=False, data_encipherment=False, key_agreement=False,
        key_cert_sign=False, crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _name(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)
