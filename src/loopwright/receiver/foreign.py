"""What else may knock at the port: known by its first bytes, so that a wrong setting is named and not guessed at."""

from __future__ import annotations

_BEGINNINGS = (
    (b"GET ", "HTTP"), (b"POST ", "HTTP"), (b"HEAD ", "HTTP"), (b"PUT ", "HTTP"), (b"OPTIONS ", "HTTP"), (b"CONNECT ", "HTTP"),
    (b"PRI * HTTP/2", "HTTP"), (b"\x16\x03", "TLS"), (b"SSH-", "SSH"), (b"INVITE ", "SIP"), (b"REGISTER ", "SIP"),
    (b"EHLO ", "mail"), (b"HELO ", "mail"), (b"\x05\x01", "SOCKS"), (b"\x05\x02", "SOCKS"), (b"\x10", "MQTT"),
)  # fmt: skip


def foreign(octets: bytes) -> str:
    """Return the protocol that begins so, empty where none is known.

    >>> foreign(b"GET / HTTP/1.1\\r\\n"), foreign(b"hello")
    ('HTTP', '')
    """
    return next((name for beginning, name in _BEGINNINGS if octets.startswith(beginning)), "")
