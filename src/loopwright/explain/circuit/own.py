"""What of a job a circuit's predictions come from: they are worked out of that alone, and again only when it has changed."""

from __future__ import annotations

from dataclasses import replace

from loopwright.job.document import Job, Programme, Signalling, Stage

ANOTHER = ""
"""Stands for whichever other circuits there are: no circuit is called so."""


def own_job(job: Job, name: str) -> Job:
    """Return ``job`` with nothing in it but what the circuit called ``name`` is made of. Raises KeyError when there is none.

    Its runs, devices, boxes and sheets, the unit it lands on, and whether there are other circuits at all.
    """
    circuit = job.circuits[name]
    cables = {hop.cable: job.cables[hop.cable] for hop in circuit.path}
    ends = {end for cable in cables.values() for end in (cable.start, cable.end)}
    unit = circuit.input.partition(".")[0] if circuit.input else None
    wanted = {unit, *ends, *(hop.device for hop in circuit.path)}
    equipment = {key: item for key, item in job.equipment.items() if key in wanted}
    sheets = replace(
        job.sheets,
        equipment={item.sheet: job.sheets.equipment[item.sheet] for item in equipment.values()},
        cables={cable.sheet: job.sheets.cables[cable.sheet] for cable in cables.values()},
        batteries={},
    )
    return replace(
        job,
        title="",
        stage=Stage.DESIGN,
        parties={},
        storeys={},
        sheets=sheets,
        equipment=equipment,
        joints={key: joint for key, joint in job.joints.items() if key in ends},
        cables=cables,
        circuits={name: circuit} | ({ANOTHER: circuit} if len(job.circuits) > 1 else {}),
        areas={},
        zones={},
        users={},
        programme=Programme(),
        outputs={},
        signalling=Signalling(),
        observations=(),
        given=frozenset(),
    )
