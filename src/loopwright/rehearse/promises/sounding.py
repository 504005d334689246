"""What sounders and strobes owe: every alarm starts them, for no longer than the law lets them, again and again; a strobe goes on."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from loopwright.job.sheet import Kind
from loopwright.programme.heard import EXIT_ERROR, FULL_SET, PART_SET, SOUNDS, cells_set
from loopwright.programme.response import Response
from loopwright.rehearse.promise import Broken, Story, Trial, Tried
from loopwright.rehearse.search import Taken
from loopwright.rehearse.state import OUTSIDE, SILENT, SOUNDING, Output
from loopwright.rehearse.table import Row

HEARD = {"sounds", "sounds-already", "sounded-enough"}
"""What the sounders do when they are asked for."""


def sounds(trial: Trial) -> Iterator[Broken]:
    """Hold every alarm against starting the sounders, and the sounders against the law."""
    yield from _unnoticed(trial)
    if trial.job.programme.sounder_s is None:
        trial.missing["How long the sounders run is not entered, so no alarm is held against sounding."] = None
        return
    for area, plan in trial.whole.areas.items():
        found = trial.search((area,), observers=("sound",))
        if found.meets(("sounds", area), partial(_asked_for, area)):
            trial.tried.add("sounds")
        told = found.told(("mute", area), partial(found.reached.taken, partial(_mute, area)))
        if told:
            sentence = f"{plan.name}: an alarm does not start the sounders."
            yield told.breaks("sounds", "programme/sounder_s", sentence)
        else:
            yield from _too_long(trial, found, area)
    yield from _once(trial)


def _asked_for(area: str, row: Row) -> bool:
    return any((each.word, each.place) == ("sound", area) for each in row.outputs)


def _mute(area: str, row: Row) -> bool:
    return _asked_for(area, row) and not any(each.word in HEARD and each.place == area for each in row.outputs)


def _unnoticed(trial: Trial) -> Iterator[Broken]:
    """Hold every cell that has an alarm silent against that alarm being sent: nobody would learn of it (common practice, no source)."""
    if "alarm" in trial.whole.told.reports:
        return
    found = set[str]()
    for zone in trial.whole.zones.values():
        found |= cells_set(zone.does[1:]) | ({"24-hour-unset"} if zone.does[0] is Response.ROUND_THE_CLOCK else set())
    for cell in SOUNDS:
        if cell in found and trial.whole.sounds[cell] == "silent" and not cell.startswith(("tamper", "hold-up")):
            sentence = f"{SOUNDS[cell].words.capitalize()}: it is neither heard nor sent, so nobody learns of it."
            yield Broken(promise="sounds", subject=f"programme/sounds/{cell}", sentence=sentence)


def _once(trial: Trial) -> Iterator[Broken]:
    """Hold the time after one alarm against the rules."""
    lasts_s = trial.whole.told.sounder_s
    for number, bound in enumerate(trial.law.once):
        if lasts_s and not bound.holds(lasts_s):
            sentence = f"The sounders run {lasts_s:g} s after an alarm, where it is to be {bound.asked}."
            yield Broken(promise="sounds", subject=f"programme/sounder_s#law-{number}", sentence=sentence)


def _too_long(trial: Trial, found: Tried, area: str) -> Iterator[Broken]:
    """Hold what the sounders come to in one go, and in a set period, against the law; an alarm that sounds anew is the story."""
    lasts_s, name = trial.whole.told.sounder_s, trial.whole.areas[area].name
    for bounds, goal, silent, when in (
        (trial.law.in_one_go, "in-one-go", False, "in one go"),
        (trial.law.in_all, "in-all", True, "in one set period"),
    ):
        most = most_soundings(trial, area, without_break=not silent)
        total_s = None if most is None else most * lasts_s
        for bound in bounds:
            if bound.most_s is None or (total_s is not None and total_s <= bound.most_s):
                continue
            rows = partial(_again, found, area, silent)
            told = found.told((goal, area, "twice"), rows, _twice) or found.told((goal, area), rows)
            if told is None:
                continue
            amount = "any number of times" if total_s is None else f"{total_s:g} s"
            sentence = f"{name}: the sounders can sound {amount} {when}, where it is to be {bound.asked}."
            yield told.breaks("sounds", f"areas/{area}#{goal}", sentence)


def _twice(story: Story) -> bool:
    """Return whether it sounds outside more than once in a story: an alarm that was silent, or inside only, is remembered as well."""
    return sum(each[::2] == ("sounds", "external") for scene in story for each in scene.outputs) > 1


def most_soundings(trial: Trial, area: str, *, without_break: bool = False) -> int | None:
    """Return how often the sounders of an area can be started in a set period, or ``without_break``; None where nothing bounds it.

    The unit itself may; and lock-out bounds the alarms of each zone, unless they are forgotten in between; what is latched (tamper,
    hold-up) it does not bound. What sounds inside only is left aside: the law speaks of what the neighbours hear.
    """
    told, count = trial.whole.told, _locked_out_after(trial, area, without_break=without_break)
    return min([each for each in (count, told.soundings or None) if each is not None], default=None)


def _locked_out_after(trial: Trial, area: str, *, without_break: bool) -> int | None:
    told, outside = trial.whole.told, {cell for cell, which in trial.whole.sounds.items() if which == "external"}
    heard = [cells_set(trial.whole.zones[name].does[1:]) & outside for name in trial.whole.zones_of(area)]
    bounded = told.trips and told.trips_reset != "midnight"
    if any(cells & {"tamper-set", "hold-up-set"} for cells in heard) or (any(heard) and not bounded):
        return None
    # An exit error sounds, and the alarm once more when the entry it begins is not ended.
    count = told.trips * sum(map(bool, heard)) + (EXIT_ERROR in outside) + bool({FULL_SET, PART_SET} & outside)
    # No zone is forgotten as long as all of it is over before one can have been quiet for its time.
    lasts = bool(told.trips_quiet_s) and not (without_break and count * told.sounder_s < told.trips_quiet_s)
    return None if lasts else count


def _again(found: Tried, area: str, silent: bool) -> list[Taken]:
    """Return the rows that start the sounders outside anew, while they sound or after they fell silent with an alarm not cleared."""
    reached = found.reached
    stands = SILENT if silent else OUTSIDE if reached.table.programme.apart else SOUNDING
    there = (reached.field(f"{area}.memory") == 1) & (reached.field(f"{area}.sound") == stands)
    return reached.taken(lambda row: Output("sounds", area, "external") in row.outputs, there)


def strobes(trial: Trial) -> Iterator[Broken]:
    """Hold every output a strobe hangs on against going on until the alarm is unset or cleared (common practice, no source)."""
    fed = {feed.output: cable.end for cable in trial.job.cables.values() for feed in cable.feeds}
    for name, rule in trial.job.outputs.items():
        device = fed.get(rule.terminal, "")
        if device not in trial.job.equipment or trial.job.sheet_of(device).kind is not Kind.STROBE:
            continue
        trial.tried.add("strobes")
        if rule.how in ("pulse", "timed") or rule.duration_s is not None:
            label = trial.job.equipment[device].label or device
            sentence = f"{label} goes out by itself: its output has a time, and is to stay on until the alarm is unset or cleared."
            yield Broken(promise="strobes", subject=f"outputs/{name}/how", sentence=sentence)
