"""The places of the whole where a fault can be, with what the document itself says of each.

Where nothing names one, a fault has the whole for its place: a detector of the premises, a zone of it, its radio devices.
"""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.explain.circuit.check import label
from loopwright.explain.circuit.place import Spot
from loopwright.explain.expected.power import control_units
from loopwright.explain.whole.scope import Scope, sensing_devices
from loopwright.job.document import Job, YesNoUnknown
from loopwright.job.sheet import Kind

MOST_DEVICES = 3
"""Of more sensing devices than this on one circuit, they are one place together."""
LONG_SOUNDER_S = 900.0
"""Sounding longer than this [s] is against the law in many places, 15 minutes, in some 20 (Northumbria Police, security alarms)."""
SHORT_ENTRY_S, SHORT_EXIT_S = 30.0, 60.0
"""Entry and exit times below these [s] are below the defaults of ANSI/SIA CP-01."""
POOLED = {
    "detector": "a detector",
    "contact": "a contact",
    "sensing": "a detector or a contact",
    "zone": "a zone",
    "radio": "the radio devices",
}


class SystemPlaces:
    """Finds the places of the whole, and to which zones each belongs."""

    def __init__(self, job: Job, scope: Scope) -> None:
        self.job, self.scope = job, scope
        self.zones: dict[str, frozenset[str]] = {}
        self.devices: dict[str, tuple[str, str]] = {}
        """The circuit of each place that stands for devices, and the device that reads for it."""

    def spots(self, at: str) -> list[Spot]:
        """Return the places of a kind: site, unit, detector, contact, sensing, zone, path, radio."""
        if at == "site":
            return [_spot("", "the premises", self._site())]
        found = list(getattr(self, f"_{at}")())
        if not found and at in ("detector", "contact", "sensing") and self.scope.circuits:
            return []
        return found or [_spot("", f"{POOLED.get(at, 'a part')} of the premises", self._site())]

    def belongs(self, place: str, zone: str) -> bool:
        """Return whether what happens at a place can be seen of a zone; places of the whole belong to every zone."""
        return not place or not zone or zone in self.zones.get(place, frozenset((zone,)))

    def _detector(self) -> Iterator[Spot]:
        yield from self._sensing(Kind.DETECTOR)

    def _contact(self) -> Iterator[Spot]:
        yield from self._sensing(Kind.CONTACT)

    def _sensing(self, kind: Kind | None = None) -> Iterator[Spot]:
        for circuit in self.scope.circuits:
            devices = [name for name in sensing_devices(self.job, circuit) if kind is None or self.job.sheet_of(name).kind is kind]
            together = len(devices) > MOST_DEVICES
            for device in devices[:1] if together else devices:
                place = circuit if together else device
                self.devices[place] = (circuit, device)
                self.zones[place] = self.zones.get(place, frozenset()) | {
                    name for name, zone in self.job.zones.items() if zone.circuit == circuit
                }
                what = f"one of {len(devices)} on circuit {circuit}" if together else f"{label(self.job, device)}, circuit {circuit}"
                yield _spot(place, what, set())

    def _zone(self) -> Iterator[Spot]:
        for name in self.scope.zones:
            zone = self.job.zones[name]
            self.zones[name] = frozenset((name,))
            facts = set() if zone.areas else {"no-area"}
            facts |= {"always-on"} if "24-hour" in zone.response.values() else set()
            facts |= {"left-out"} if set(zone.response.values()) == {"ignored"} else set()
            yield _spot(name, f"zone {zone.number}, {zone.text}", facts | self._site())

    def _unit(self) -> Iterator[Spot]:
        for name in control_units(self.job):
            old = self.job.equipment[name].default_codes_changed is YesNoUnknown.NO
            yield _spot(name, label(self.job, name), {"factory-codes"} if old else set())

    def _path(self) -> Iterator[Spot]:
        for name, path in self.job.signalling.paths.items():
            yield _spot(name, f"path {name} ({path.kind})", {f"kind:{path.kind.casefold()}"} | self._site())

    def _radio(self) -> Iterator[Spot]:
        for name in self.scope.radio:
            yield _spot(name, label(self.job, name), set())

    def _site(self) -> set[str]:
        """Return what the document says of the premises as a whole."""
        job = self.job
        kinds = {path.kind.casefold() for path in job.signalling.paths.values()}
        out = {"line-promised" if "line" in kinds else "no-line"}
        out |= {"one-path"} if len(kinds) == 1 else set()
        out |= {"no-test"} if job.signalling.reports.get("test") != "yes" else set()
        out |= {"not-all-reported"} if "no" in job.signalling.reports.values() else set()
        out |= {"long-sounder"} if (job.programme.sounder_s or 0.0) > LONG_SOUNDER_S else set()
        times = [(area.entry_s, area.exit_s) for area in job.areas.values()]
        out |= {"short-entry"} if any(entry is not None and entry < SHORT_ENTRY_S for entry, _ in times) else set()
        out |= {"short-exit"} if any(leave is not None and leave < SHORT_EXIT_S for _, leave in times) else set()
        return out


def _spot(place: str, words: str, facts: set[str]) -> Spot:
    return Spot(place=place, words=words, names={"place": place}, facts=frozenset(facts))
