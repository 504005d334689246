"""What each act should report: zone, area, code and restore, from the programme. It is the event table a receiving centre is given."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from loopwright.job.document import Job, Zone
from loopwright.job.sheet import Topology
from loopwright.job.speech import plain_words
from loopwright.prove.kind import Kind

QUIET = frozenset({"ignored", "chime", "soak-test"})
_BURGLARY = ("130", "131", "132", "134", "135", "136")
_ALARM_CODES = {
    "final-exit": ("134", *_BURGLARY), "entry-route": ("134", *_BURGLARY), "immediate": ("130", *_BURGLARY), "24-hour": ("133", *_BURGLARY),
}  # fmt: skip
_CODES: dict[Kind, tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]] = {
    Kind.ALARM: (_BURGLARY, ("BA", "UA"), ("BR", "BH", "UR", "UH")),
    Kind.HOLD_UP: (("122", "120", "123"), ("HA", "PA"), ("HR", "HH", "PR", "PH")),
    Kind.TAMPER: (("137", "144", "383", "133", "130"), ("TA", "BA"), ("TR", "TH", "BR")),
    Kind.FAULT: (("380", "370"), ("BT", "IA"), ("BJ", "IR")),
    Kind.CONFIRMED: (("139",), ("BV",), ()),
    Kind.CANCEL: (("406",), ("BC",), ()),
    Kind.MAINS: (("301", "342"), ("AT",), ("AR",)),
    Kind.BATTERY: (("302", "311", "338"), ("YT",), ("YR",)),
    Kind.PATH: (tuple(str(number) for number in range(350, 359)), ("YC", "YS", "NT", "LT"), ("YK", "NR", "LR")),
    Kind.SET: (("401", "402", "403", "407", "408", "409"), ("CL", "CA", "CG", "CQ", "CS"), ()),
    Kind.UNSET: (("401", "402", "403", "407", "409"), ("OP", "OA", "OG", "OQ", "OR", "OS"), ()),
    Kind.TEST: (("601", "602"), ("RX", "RP"), ()),
}
"""For each kind the codes of Contact ID, the first the usual one, and those of DC-03, new and restored. Common practice, no source."""
_REPORTS = {
    "confirmed-alarm": (Kind.CONFIRMED,), "cancel": (Kind.CANCEL,), "mains-failure": (Kind.MAINS,), "low-battery": (Kind.BATTERY,),
    "path-failure": (Kind.PATH,), "set-and-unset": (Kind.SET, Kind.UNSET), "test": (Kind.TEST,),
}  # fmt: skip
_RESTORED = frozenset({Kind.ALARM, Kind.HOLD_UP, Kind.TAMPER, Kind.FAULT, Kind.MAINS, Kind.BATTERY, Kind.PATH})
_REPORT_OF = {Kind.ALARM: "alarm", Kind.HOLD_UP: "hold-up", Kind.TAMPER: "tamper", Kind.FAULT: "tamper"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Expected:
    """One event that should arrive: ``contact_id`` and ``dc03`` are its usual codes first, then others that mean the same of it.

    ``zone`` is the zone's id, empty for an event of the whole; ``areas`` are the numbers its area may be told by, in the order of the job.
    ``sent`` says whether the programme reports it to the receiving centre.
    """

    key: str
    kind: Kind
    restored: bool
    zone: str
    number: int | None
    text: str
    areas: tuple[int, ...]
    area_words: str
    contact_id: tuple[str, ...]
    dc03: tuple[str, ...]
    sent: bool
    from_words: str

    @property
    def words(self) -> str:
        """Return the event in words: its kind, and that it is over."""
        return f"{self.kind}, restored" if self.restored else str(self.kind)


def expected_events(job: Job) -> tuple[Expected, ...]:
    """Return every event that should be proved: of each zone in the order of its number, then of the whole."""
    zones = sorted(job.zones, key=lambda name: (job.zones[name].number, name))
    return (*(each for name in zones for each in zone_events(job, name)), *_whole(job))


def zone_events(job: Job, name: str) -> Iterator[Expected]:
    """Yield the events of a zone, each with its restore: its own alarm, a tamper and a fault where its circuit can tell them."""
    zone = job.zones[name]
    response, state = _response(zone)
    kind = alarm_kind(job, zone)
    told = f"{plain_words(response)} in {plain_words(state)}" if response else "no response is entered; taken as an alarm"
    codes = _ALARM_CODES.get(response, _BURGLARY) if kind is Kind.ALARM else _CODES[kind][0]
    yield from _pair(job, name, kind, codes, told)
    circuit = job.circuits.get(zone.circuit or "")
    if circuit is None:
        return
    contacts = {contact for hop in circuit.path if hop.device is not None for contact in hop.contacts}
    if kind is not Kind.TAMPER and "tamper" in contacts and circuit.topology in (Topology.DOUBLE, Topology.TRIPLE, Topology.PAIR):
        # Which of two zones on one pair tells of its lids is up to the unit: the first is asked for, the second may.
        second = zone.part == "b"
        told = "a lid of its pair, if told by both zones" if second else "a lid of its circuit"
        yield from _pair(job, name, Kind.TAMPER, _CODES[Kind.TAMPER][0], told, asked=not second)
    if "fault" in contacts and circuit.topology is Topology.TRIPLE:
        yield from _pair(job, name, Kind.FAULT, _CODES[Kind.FAULT][0], "a fault contact of its circuit")


def alarm_kind(job: Job, zone: Zone) -> Kind:
    """Return what a zone reports when what it watches for happens: a zone of lids alone tells a tamper."""
    response, _ = _response(zone)
    if response in ("hold-up", "tamper"):
        return Kind(response)
    circuit = job.circuits.get(zone.circuit or "")
    contacts = {contact for hop in circuit.path if hop.device is not None for contact in hop.contacts} if circuit else set()
    return Kind.TAMPER if contacts == {"tamper"} else Kind.ALARM


def _response(zone: Zone) -> tuple[str, str]:
    """Return the response a zone is proved by, and the set state it stands in: of the full set first, then whichever is not quiet."""
    states = sorted(zone.response, key=lambda state: (state != "full", state == "unset"))
    loud = [state for state in states if zone.response[state] not in QUIET]
    return (zone.response[loud[0]], loud[0]) if loud else ("", "")


def _pair(job: Job, name: str, kind: Kind, contact_id: tuple[str, ...], told: str, *, asked: bool = True) -> Iterator[Expected]:
    zone = job.zones[name]
    numbers = {area: at for at, area in enumerate(job.areas, start=1)}
    _, new, over = _CODES[kind]
    for restored in (False, True):
        yield Expected(
            key=f"signal:{name}:{kind}{':restored' if restored else ''}",
            kind=kind,
            restored=restored,
            zone=name,
            number=zone.number,
            text=zone.text,
            areas=tuple(numbers[area] for area in zone.areas if area in numbers),
            area_words=", ".join(job.areas[area].name for area in zone.areas if area in job.areas),
            contact_id=tuple(dict.fromkeys(contact_id)),
            dc03=over if restored else new,
            sent=asked and job.signalling.sends(_REPORT_OF[kind]),
            from_words=told,
        )


def _whole(job: Job) -> Iterator[Expected]:
    for report, kinds in _REPORTS.items():
        if report not in job.signalling.reports:
            continue
        for kind in kinds:
            contact_id, new, over = _CODES[kind]
            for restored in (False, True) if kind in _RESTORED else (False,):
                yield Expected(
                    key=f"signal:system:{kind}{':restored' if restored else ''}", kind=kind, restored=restored, zone="", number=None,
                    text="", areas=(), area_words="", contact_id=contact_id, dc03=over if restored else new,
                    sent=job.signalling.sends(report), from_words=f"report of {plain_words(report)}",
                )  # fmt: skip
