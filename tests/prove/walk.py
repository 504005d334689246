"""A site that is walked: what its control unit reports of each act, by the forecast of its wiring as it truly is, mistakes included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import loopwright.demo
from loopwright.circuits.forecast import forecast_circuits
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.prove.devices import zones_of
from loopwright.prove.kind import Kind, of_reading
from loopwright.prove.match import ACTS
from loopwright.prove.record import Walked
from loopwright.prove.report import alarm_kind
from loopwright.signalling.contact_id import ContactId
from loopwright.signalling.received import Received, Way

BEGIN = datetime(2026, 3, 5, 9, 0, tzinfo=UTC)
CODES = {Kind.ALARM: "130", Kind.HOLD_UP: "122", Kind.TAMPER: "137", Kind.FAULT: "380"}


def designed(name: str = "business") -> Job:
    """Return an example job as designed."""
    return read(loopwright.demo.text(name)).job


def miswired(job: Job) -> Job:
    """Return the bindery as somebody wired it, with three mistakes.

    The pairs of the roller door and the yard door have changed places; the resistor across the alarm contact of the packing detector
    was left out; the lid contact of the lobby detector was linked out.
    """
    circuits = dict(job.circuits)
    circuits["c08"] = replace(circuits["c08"], input=job.circuits["c11"].input)
    circuits["c11"] = replace(circuits["c11"], input=job.circuits["c08"].input)
    circuits["c12"] = replace(circuits["c12"], resistors=replace(circuits["c12"].resistors, alarm_ohm=None))
    circuits["c02"] = replace(circuits["c02"], path=tuple(replace(hop, contacts=("alarm",)) for hop in circuits["c02"].path))
    return replace(job, circuits=circuits)


@dataclass
class Site:
    """What the unit of a site sends: zones are those of the inputs in the design, readings those of the wiring as it is."""

    design: Job
    wired: Job

    def __post_init__(self) -> None:
        self.number = 0
        self.forecasts = {item.circuit: item for item in forecast_circuits(self.wired)}

    def act(self, device: str, act: str, at: datetime) -> list[Received]:
        """Return the events an act at a device leads to: what is reported, and half a minute after its restore."""
        out = []
        for circuit, item in self.forecasts.items():
            for forecast in item.acts:
                if forecast.act.device == device and forecast.act.kind is ACTS[act]:
                    out += self._reported(circuit, forecast.taken_for, at)
        return out

    def _reported(self, circuit: str, reads: object, at: datetime) -> list[Received]:
        landed = self.wired.circuits[circuit].input
        known = next((name for name, each in self.design.circuits.items() if each.input == landed), None)
        out: list[Received] = []
        for zone in self.design.zones.values():
            if zone.circuit != known or known is None:
                continue
            kind = of_reading(reads, self.design.circuits[known].topology, zone.part)  # type: ignore[arg-type]
            if kind is not None:
                own = alarm_kind(self.design, zone)
                code = CODES[own if kind is Kind.ALARM else kind]
                out += [self.event("1", code, zone.number, at + timedelta(seconds=3))]
                out += [self.event("3", code, zone.number, at + timedelta(seconds=12))]
        return out

    def event(self, qualifier: str, code: str, zone: int, at: datetime, **more: object) -> Received:
        """Return one event as the receiver hands it on."""
        self.number += 1
        area = list(self.design.areas).index(next(each for each in self.design.zones.values() if each.number == zone).areas[0]) + 1
        made = {
            "number": self.number, "at": at, "account": "4711", "line": "0", "sequence": f"{self.number:04d}", "token": "ADM-CID",
            "way": Way.TCP, "peer": "192.0.2.7", "said_at": at, "skew_s": 0.4,
            "event": ContactId(qualifier=qualifier, code=code, group=f"{area:02d}", number=f"{zone:03d}"),
        }  # fmt: skip
        return Received(**{**made, **more})  # type: ignore[arg-type]


def tour(site: Site, devices: Sequence[str], *, each_s: float = 40.0, lids: bool = True) -> tuple[list[Walked], list[Received]]:
    """Return what somebody says who operates every device and opens its lid, one after the other, and what arrives."""
    walked, events, at = [], [], BEGIN
    for device in devices:
        contacts = {
            contact for circuit in site.design.circuits.values() for hop in circuit.path if hop.device == device for contact in hop.contacts
        }
        acts = [act for act, contact in (("operate", "alarm"), ("lid", "tamper")) if contact in contacts and (lids or act == "operate")]
        for act in acts:
            walked.append(Walked(id=f"w{len(walked):03d}", at=at.isoformat(), by="J. Pell", device=device, act=act))
            events += site.act(device, act, at)
            at += timedelta(seconds=each_s)
    return walked, events


def reporting(job: Job) -> list[str]:
    """Return the devices that report by a zone."""
    return [name for name in job.equipment if zones_of(job, name)]
