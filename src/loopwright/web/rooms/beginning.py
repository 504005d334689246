"""How a job is begun: what goes in first, in the order in which one thing names another, and what is there by now."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.job.document import Job
from loopwright.job.sheet import Kind


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One thing a job needs: its name, how it is put in, where, and whether something of it is there."""

    words: str
    how: str
    link: str
    done: bool


def steps_of(job: Job) -> tuple[Step, ...]:
    """Return what a job needs, in order; nothing once all of it is there."""
    sheets, fitted = job.sheets, [job.sheet_of(name) for name in job.equipment]
    control = any(sheet.kind is Kind.CONTROL for sheet in sheets.equipment.values())
    steps = (
        Step(
            words="Rooms", how="Put in the storeys, and in each its rooms.", link="./premises#row:storeys",
            done=any(storey.rooms for storey in job.storeys.values()),
        ),
        Step(
            words="Data sheet of the control unit", how="Copy its figures from paper: outputs, inputs, supply, charger.",
            link="./kit#sheets", done=control,
        ),
        Step(
            words="Data sheets of the devices", how="One for each model of detector and sounder: currents, least volts, contacts.",
            link="./kit#sheets", done=len(sheets.equipment) > control,
        ),
        Step(
            words="Cable and battery", how="What is printed on the drum and on the battery.", link="./kit#batteries",
            done=bool(sheets.cables and sheets.batteries),
        ),
        Step(
            words="Equipment", how="What is fitted, each with its data sheet and room; many at once as a list of rows.",
            link="./kit#equipment", done=len(fitted) > 1,
        ),
        Step(
            words="Cable runs", how="From the control unit to each device, with its length and the output it feeds from.",
            link="./wiring#runs", done=bool(job.cables),
        ),
        Step(
            words="Detection circuits", how="The input, the resistors, and the way along the runs.", link="./wiring#circuits",
            done=bool(job.circuits),
        ),
        Step(
            words="The battery in its box", how="Open the control unit and name the battery it has.", link="./kit#equipment",
            done=any(item.battery for item in job.equipment.values()),
        ),
        Step(words="Areas", how="What is set on its own, with its entry and exit time.", link="./programme#areas", done=bool(job.areas)),
        Step(
            words="Zones", how="Each circuit as a zone: its number and text, its area, what it does.", link="./programme#zones",
            done=bool(job.zones),
        ),
    )  # fmt: skip
    return () if all(step.done for step in steps) else steps
