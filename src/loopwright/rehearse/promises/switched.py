"""What a switched output owes: it follows something that happens, for long enough to be seen, and gives no silent event away."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from loopwright.job.document import Job, OutputRule
from loopwright.job.sheet import Kind
from loopwright.programme.followed import Followed
from loopwright.programme.response import Response
from loopwright.rehearse.promise import Broken, Trial, Tried
from loopwright.rehearse.promises.areas import openable
from loopwright.rehearse.switched import areas_of, begins, followed
from loopwright.rehearse.table import Row


def outputs(trial: Trial) -> Iterator[Broken]:
    """Hold every rule of a switched output against what can happen."""
    for name, rule in trial.job.outputs.items():
        event = followed(rule)
        here = tuple(area for area in areas_of(rule, trial.job.areas) if area in trial.whole.areas)
        if event is None or not here:
            why = "that is not told in the rehearsal" if event is None else "none of its areas is searched"
            trial.missing[f"Output {rule.terminal} follows '{rule.follows}', and {why}."] = None
            continue
        trial.tried.add("outputs")
        if not event.ends and rule.how == "follow" and rule.duration_s is None:
            sentence = f"Output {rule.terminal} follows '{rule.follows}', which is over at once: nobody would see it. It needs a time."
            yield Broken(promise="outputs", subject=f"outputs/{name}/duration_s", sentence=sentence)
        if not any(_happens(trial, rule, event, area) for area in here):
            sentence = f"Output {rule.terminal} follows '{rule.follows}', and no course of events brings that about."
            yield Broken(promise="outputs", subject=f"outputs/{name}/follows", sentence=sentence)
        elif _silent(trial, event) and (device := _sounder(trial.job, rule.terminal)):
            yield from _given_away(trial, name, rule, event, here[0], device)


def _happens(trial: Trial, rule: OutputRule, event: Followed, area: str) -> bool:
    """Return whether some course of events begins what a rule follows, in an area."""
    if event.begins & {"chime", "soak-test"}:
        # What changes nothing is not in the search; it happens wherever a zone of the area is told to do it.
        wanted = Response.CHIME if "chime" in event.begins else Response.SOAK_TEST
        return any(wanted in zone.does for zone in trial.whole.zones.values() if area in zone.areas)
    if "locked-out" in event.begins:
        return bool(trial.whole.told.trips)
    found = _searched(trial, event, area)
    return found.once(("begins", event, area), lambda: bool(found.reached.taken(partial(_begins, event, area))))


def _begins(event: Followed, area: str, row: Row) -> bool:
    return begins(event, (area,), row.outputs)


def _searched(trial: Trial, event: Followed, area: str) -> Tried:
    """Return the part, searched for other promises too, in which an event is among what is given out."""
    if "confirmed" in event.begins:
        return trial.search((area,), observers=("confirm",), each=2)
    if "sounds" in event.begins:
        return trial.search((area,), observers=("sound",))
    if "fault" in event.begins:
        return trial.search((area,), openable(trial, area), tracks=("conditions",))
    return trial.search((area,), observers=("report",))


def _silent(trial: Trial, event: Followed) -> bool:
    """Return whether nothing may be heard of an event: duress never, hold-up where the programme has it silent."""
    quiet = all(trial.whole.sounds[f"hold-up-{state}"] == "silent" for state in ("unset", "set"))
    return "duress" in event.begins or ("hold-up" in event.begins and quiet)


def _sounder(job: Job, terminal: str) -> str:
    """Return a sounder that is fed by an output, or an empty name."""
    fed = [cable.end for cable in job.cables.values() if any(feed.output == terminal for feed in cable.feeds)]
    return next((name for name in fed if name in job.equipment and job.sheet_of(name).kind is Kind.SOUNDER), "")


def _given_away(trial: Trial, name: str, rule: OutputRule, event: Followed, area: str, device: str) -> Iterator[Broken]:
    found = _searched(trial, event, area)
    told = found.told(("given away", event, area), lambda: found.reached.taken(partial(_begins, event, area)))
    if told:
        label = trial.job.equipment[device].label or device
        sentence = f"Output {rule.terminal} follows '{rule.follows}' and feeds {label}: what is to be silent would be heard."
        yield told.breaks("outputs", f"outputs/{name}/follows", sentence)
