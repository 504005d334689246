"""Serving others than the person at this machine: which addresses, whose certificate, and how TLS is spoken."""

from __future__ import annotations

import fcntl
import ipaddress
import re
import socket
import ssl
import struct
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from loopwright.store.audit import Audit
from loopwright.store.certificate import certificate_for, certificate_path
from loopwright.store.door import Door
from loopwright.store.file import StoreError
from loopwright.store.people import People
from loopwright.web.entrance import Entrance, Ways

ANYWHERE = "0.0.0.0"
TRAIL_SUFFIX = ".trail"
OURS = "the workbench"
LAID_OPEN = "Nobody may come in yet: `loopwright people add NAME --owner` sets the first person, then start this again."
CIPHERS = "ECDHE+AESGCM:ECDHE+CHACHA20"
"""For TLS 1.2; those of TLS 1.3 are all of this kind: forward secrecy and authenticated encryption (RFC 9325, 4.2)."""
SIOCGIFADDR = 0x8915
_NAME = re.compile(r"[a-z0-9](?:[a-z0-9.-]{0,251}[a-z0-9])?")


@dataclass(frozen=True, kw_only=True, slots=True)
class Network:
    """How others shall reach the workbench: the address to listen on, further names, the proxy that speaks TLS in its place, the people."""

    people: Path
    host: str = ANYWHERE
    names: tuple[str, ...] = ()
    proxy: str = ""


def trail_of(people: Path) -> Path:
    """Return where comings, refusals and changes of the people are noted."""
    return people.with_name(people.name + TRAIL_SUFFIX)


def entrance_for(network: Network, port: int) -> tuple[Entrance, str]:
    """Return the entrance, and why its certificate was made anew, which may be empty. Raises StoreError."""
    audit = Audit(trail_of(network.people), by=OURS, clock=lambda: datetime.now(UTC))
    people = People(network.people, note=audit.note)
    if not any(each.owner and each.active for each in people.everybody().values()):
        raise StoreError(LAID_OPEN)
    names, why, certificate = names_for(network), "", None
    if not network.proxy:
        certificate, why = certificate_for(certificate_path(network.people), names, now=datetime.now(UTC))
    ways = Ways(
        addresses=_addresses(network, names, port), hosts=names, port=port, certificate=certificate, proxy=network.proxy
    )  # fmt: skip
    return Entrance(door=Door(people, note=audit.note), people=people, audit=audit, ways=ways), why


def names_for(network: Network) -> frozenset[str]:
    """Return the names and addresses the workbench answers to. Raises StoreError when one is none."""
    wanted = {each.lower() for each in network.names}
    for each in sorted(wanted):
        if not _NAME.fullmatch(each):
            raise StoreError(f"{each!r} is not the name of a machine: letters, digits, hyphens and dots, without a port.")
    if network.proxy:
        return frozenset(wanted)
    own = socket.gethostname().lower()
    found = {each for each in (own, f"{own}.local" if "." not in own else own) if _NAME.fullmatch(each)}
    if network.host == ANYWHERE:
        return frozenset(wanted | found | own_addresses() | {"localhost", "127.0.0.1"})
    address = ipaddress.ip_address(network.host)
    return frozenset(wanted | {str(address)} | ({"localhost"} if address.is_loopback else found))


def own_addresses() -> set[str]:
    """Return the IPv4 addresses of this machine's interfaces, as the system knows them; nothing is sent."""
    found = set()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        for _, name in socket.if_nameindex():
            try:
                raw = fcntl.ioctl(asked, SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
            except OSError:
                continue
            found.add(socket.inet_ntoa(raw[20:24]))
    return found


def speaks_tls(entrance: Entrance) -> ssl.SSLContext | None:
    """Return how TLS is spoken: 1.2 and later, forward secrecy alone (RFC 9325); None when a proxy does it. Raises StoreError."""
    certificate = entrance.ways.certificate
    if certificate is None:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.set_ciphers(CIPHERS)
    # RFC 9325: no renegotiation, no compression (3.3, 3.5).
    context.options |= ssl.OP_NO_RENEGOTIATION | ssl.OP_NO_COMPRESSION
    try:
        context.load_cert_chain(certificate.path)
    except (OSError, ssl.SSLError) as error:
        raise StoreError(f"{certificate.path.name} cannot be used: {error.strerror or 'it is damaged'}.") from error
    return context


def greeting(entrance: Entrance, why: str, *, drawn: bool) -> str:
    """Return what is printed at the start: where to go, and how the certificate is known again."""
    ways = entrance.ways
    lines = [*(f"    {address}" for address in ways.addresses), "", "Whoever comes signs in with a name and a password."]
    if ways.certificate is not None:
        anew = f" It was made now: {why[:1].lower()}{why[1:]}" if why else ""
        lines += [
            "A browser warns of the certificate the first time, since no authority vouches for it. Its SHA-256 fingerprint, to compare:",
            "", f"    {ways.certificate.sha256}", "", f"It is good until {ways.certificate.ends_at:%Y-%m-%d}.{anew}",
        ]  # fmt: skip
    if drawn and ways.addresses:
        lines += ["", in_blocks(ways.addresses[0])]
    return "\n".join(lines)


def in_blocks(text: str) -> str:
    """Return a text as a QR code (ISO/IEC 18004) of characters, for a terminal."""
    import io

    import segno

    out = io.StringIO()
    segno.make_qr(text, error="m").terminal(out=out, compact=True)
    return out.getvalue().rstrip("\n")


def _addresses(network: Network, names: Iterable[str], port: int) -> tuple[str, ...]:
    """Return the addresses people open, the likeliest first: an address of the network, then names; those of the machine itself last."""
    if network.proxy:
        return tuple(f"https://{name}/" for name in sorted(names))

    def rank(name: str) -> tuple[int, str]:
        here = name in ("localhost", "127.0.0.1", "::1")
        return (2 if here else 1 if _NAME.fullmatch(name) and not name[-1].isdecimal() else 0), name

    shown = [name for name in sorted(names, key=rank) if name != "localhost"]
    return tuple(f"https://{f'[{name}]' if ':' in name else name}:{port}/" for name in shown)
