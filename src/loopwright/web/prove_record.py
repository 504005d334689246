"""Readings of a proving, as observations of the document: what trends over the years are read from."""

from __future__ import annotations

from loopwright.job.document import Job
from loopwright.job.edit import AddItem, InTurn
from loopwright.netlist.loop import ActKind
from loopwright.prove.found import Found
from loopwright.prove.item import Proof
from loopwright.prove.standing import Standing
from loopwright.web.site_change import refuse

_POSTS = {Proof.FLOAT: "unset, on mains", Proof.RESTED: "rested", Proof.MINUTE: "unset, on battery"}
_LOADS = {Proof.UNSET_A: "unset, on mains", Proof.ALARM_A: "in alarm, on mains"}
_ACTS = {ActKind.REST: "at rest", ActKind.SHORTED: "shorted"}


def observations_of(found: Found) -> list[dict[str, str]]:
    """Return the readings that stand, in the words readings on record are compared by; levels and times have none there."""
    return [row for each in found.standings if (row := _observation(each)) is not None]


def _observation(each: Standing) -> dict[str, str] | None:
    entry = each.entry
    place = _place(each)
    if entry is None or not entry.reading or place is None:
        return None
    where, state = place
    tool = f"{each.tool.name}, no. {each.tool.serial}" if each.tool is not None else ""
    at = entry.at[:16].replace("T", " ")
    made = {"at": at, "by": entry.by, "where": where, "state": state, "reading": entry.reading, "instrument": tool}
    return {name: text for name, text in made.items() if text}


def _place(each: Standing) -> tuple[str, str] | None:
    """Return where a reading was taken and in which state; None for what no reading on record is of."""
    proof, parts = each.item.proof, each.item.key.split(":")
    name = each.item.subject.partition("/")[2]
    if proof is Proof.OHM:
        act = ActKind(parts[2])
        return name, f"{_ACTS.get(act, act)} {parts[3]}".strip()
    if proof in _POSTS:
        return f"across the battery of {name}", _POSTS[proof]
    if proof in _LOADS:
        return name, _LOADS[proof]
    return (f"across the secondary of {name}", "") if proof is Proof.SECONDARY else None


def unrecorded(job: Job, found: Found) -> list[dict[str, str]]:
    """Return the readings that are not on record in the document yet."""
    names = ("at", "by", "where", "state", "reading")
    known = {tuple(str(getattr(each, name)) for name in names) for each in job.observations}
    return [row for row in observations_of(found) if tuple(row.get(name, "") for name in names) not in known]


def on_record(job: Job, found: Found) -> InTurn:
    """Return the step that puts them there. Raises JobError where everything is there already."""
    left = unrecorded(job, found)
    if not left:
        refuse("", "Every reading is on record already.")
    return InTurn(tuple(AddItem("observations", None, row) for row in left))
