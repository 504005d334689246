"""The set-up sheet of a path, without keys: addressing, ports, polling, signal, and how soon a fault is told.

Bounds of signal strength: what a modem can report is 3GPP's; from where on it will do is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from ipaddress import AddressValueError, IPv4Address, IPv4Network, NetmaskValueError

RSRP_REPORTED = (-140.0, -44.0)
"""What a modem can report [dBm]: 3GPP TS 36.133, 9.1.4 (from memory)."""
RSSI_REPORTED = (-113.0, -51.0)
"""What a modem can report [dBm]: 3GPP TS 27.007, 8.5 (from memory)."""
RSRP_GOOD_DBM, RSRP_LEAST_DBM = -100.0, -110.0
RSSI_GOOD_DBM, RSSI_LEAST_DBM = -85.0, -95.0
"""Good from the first on, and not enough below the second: common practice, no source."""
LONGEST = 120
_KEY = re.compile(r"(?:[0-9A-Fa-f]{2}[\s:\-]?){16,}")
_NAME = re.compile(r"(?=.{1,253}$)[A-Za-z0-9](?:[A-Za-z0-9\-]{0,61}[A-Za-z0-9])?(?:\.[A-Za-z0-9](?:[A-Za-z0-9\-]{0,61}[A-Za-z0-9])?)*")
CELLULAR = "cellular"


@dataclass(frozen=True, kw_only=True, slots=True)
class Field:
    """One field of the sheet; ``check`` returns what is wrong with its text, in a sentence, or nothing."""

    name: str
    words: str
    unit: str
    check: Callable[[str], str]


def _any(text: str) -> str:
    return "" if len(text) <= LONGEST else f"At most {LONGEST} letters."


def _address(text: str) -> str:
    try:
        IPv4Address(text)
    except AddressValueError:
        return f"‘{text}’ is no address: write four numbers with points, for example 192.0.2.20."
    return ""


def _mask(text: str) -> str:
    try:
        IPv4Network(f"0.0.0.0/{text.removeprefix('/')}")
    except (AddressValueError, NetmaskValueError, ValueError):
        return f"‘{text}’ is no mask: write for example 255.255.255.0, or /24."
    return ""


def _receiver(text: str) -> str:
    return "" if _NAME.fullmatch(text) else f"‘{text}’ is neither an address nor a name, such as 192.0.2.7 or receiver.example."


def _between(low: float, high: float, words: str) -> Callable[[str], str]:
    def check(text: str) -> str:
        try:
            value = float(text.replace("−", "-").replace(",", "."))
        except ValueError:
            return f"‘{text}’ is no number. {words}"
        return "" if low <= value <= high else f"{text} cannot be. {words}"

    return check


def _port(text: str) -> str:
    return "" if text.isdigit() and 1 <= int(text) <= 65535 else f"‘{text}’ is no port: write a whole number, 1 to 65535."


_COMMON = (
    Field(name="receiver", words="Receiving centre's address or name", unit="", check=_receiver),
    Field(name="port", words="Its port", unit="", check=_port),
    Field(name="way", words="TCP or UDP", unit="", check=lambda text: "" if text.upper() in ("TCP", "UDP") else "TCP or UDP."),
    Field(name="account", words="Account", unit="", check=_any),
    Field(name="encrypted", words="Encrypted (the key itself stands in Secrets only)", unit="", check=_any),
    Field(name="poll", words="Poll every", unit="s", check=_between(1, 90000, "Write seconds, 1 to 90000.")),
    Field(name="told", words="A cut path was told after", unit="s", check=_between(0, 200000, "Write the seconds by the watch.")),
)
FIELDS: Mapping[str, tuple[Field, ...]] = {
    "ip": (
        Field(name="given", words="Address by hand, or by DHCP", unit="", check=_any),
        Field(name="address", words="Address of the unit", unit="", check=_address),
        Field(name="mask", words="Mask", unit="", check=_mask),
        Field(name="gateway", words="Gateway", unit="", check=_address),
        Field(name="power", words="What feeds the router when mains is gone", unit="", check=_any),
        *_COMMON,
    ),
    CELLULAR: (
        Field(name="network", words="Network and technology", unit="", check=_any),
        Field(name="apn", words="Access point name", unit="", check=_any),
        Field(name="rsrp", words="RSRP", unit="dBm", check=_between(*RSRP_REPORTED, "A modem reports RSRP of −140 to −44 dBm.")),
        Field(name="rssi", words="RSSI", unit="dBm", check=_between(*RSSI_REPORTED, "A modem reports RSSI of −113 to −51 dBm.")),
        *_COMMON,
    ),
}


def fields_of(kind: str) -> tuple[Field, ...]:
    """Return the fields of a path of a kind; those every path has where the kind is no known one."""
    return FIELDS.get(kind.strip().lower(), _COMMON)


def refuse_key(text: str) -> None:
    """Raise ValueError where a text looks like a key: it has no place on a sheet that is printed."""
    if _KEY.search(text):
        raise ValueError("That looks like a key. Keys stand in Secrets and nowhere else; here say only whether the path is encrypted.")


def refused(kind: str, name: str, text: str) -> str:
    """Return what is wrong with the text of a field, in a sentence; nothing where it may stand."""
    field = next((each for each in fields_of(kind) if each.name == name), None)
    if field is None:
        return "There is no such field."
    return field.check(text.strip()) if text.strip() else ""


def doubts(kind: str, said: Mapping[str, str], promised_poll_s: float | None = None) -> tuple[str, ...]:
    """Return what of a filled-in sheet will not do, or may not, a sentence each."""
    out = []
    address, mask, gateway = (said.get(name, "").strip() for name in ("address", "mask", "gateway"))
    if address and mask and gateway and not (_address(address) or _mask(mask) or _address(gateway)):
        net = IPv4Network(f"{address}/{mask.removeprefix('/')}", strict=False)
        if IPv4Address(gateway) not in net:
            out.append(f"The gateway {gateway} is not in the unit's own network {net}: nothing leaves by it.")
        if address == gateway:
            out.append("Unit and gateway have the same address.")
    if kind.strip().lower() == CELLULAR:
        out += _signal(said, "rsrp", RSRP_GOOD_DBM, RSRP_LEAST_DBM)
        out += _signal(said, "rssi", RSSI_GOOD_DBM, RSSI_LEAST_DBM)
    told, poll = (_number(said.get(name, "")) for name in ("told", "poll"))
    if told is not None and poll is not None and told < poll / 2:
        out.append(f"The fault was told after {told:g} s, sooner than a poll of {poll:g} s could notice: was it told by the unit itself?")
    if promised_poll_s is not None and told is not None and told > promised_poll_s:
        out.append(f"The fault was told after {told:g} s; {promised_poll_s:g} s are promised.")
    return tuple(out)


def _signal(said: Mapping[str, str], name: str, good: float, least: float) -> list[str]:
    value = _number(said.get(name, ""))
    if value is None or value >= good:
        return []
    words = "will drop out: move the aerial, or take another network" if value < least else "leaves little for bad weather"
    return [f"{name.upper()} {value:g} dBm {words} (common practice: from {good:g} dBm)."]


def _number(text: str) -> float | None:
    try:
        return float(text.replace("−", "-").replace(",", "."))
    except ValueError:
        return None


def poll_of(said: Mapping[str, str]) -> float | None:
    """Return how often a path polls [s], as its sheet says."""
    return _number(said.get("poll", ""))
