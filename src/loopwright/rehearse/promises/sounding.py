"""What sounders and strobes owe: every alarm starts them, for no longer than the law lets them, again and again; a strobe goes on."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from loopwright.job.sheet import Kind
from loopwright.programme.response import QUIET, Response
from loopwright.rehearse.promise import Broken, Trial, Tried
from loopwright.rehearse.search import Taken
from loopwright.rehearse.table import Row

EXIT_ERRORS = 2
"""An exit error sounds, and once more when the entry it begins is not ended."""


def sounds(trial: Trial) -> Iterator[Broken]:
    """Hold every alarm against starting the sounders, and the sounders against the law."""
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
    return _asked_for(area, row) and not any(each.word in ("sounds", "sounded-enough") and each.place == area for each in row.outputs)


def _once(trial: Trial) -> Iterator[Broken]:
    """Hold the time after one alarm against the rules."""
    lasts_s = trial.whole.told.sounder_s
    for number, bound in enumerate(trial.law.once):
        if lasts_s and not bound.holds(lasts_s):
            sentence = f"The sounders run {lasts_s:g} s after an alarm; {bound.words} has it otherwise."
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
            told = found.told((goal, area), partial(_again, found, area, silent))
            if told is None:
                continue
            amount = "any number of times" if total_s is None else f"{total_s:g} s"
            sentence = f"{name}: the sounders can sound {amount} {when}; {bound.words} allows {bound.most_s:g} s."
            yield told.breaks("sounds", f"areas/{area}#{goal}", sentence)


def most_soundings(trial: Trial, area: str, *, without_break: bool = False) -> int | None:
    """Return how often the sounders of an area can be started in a set period, or ``without_break``; None where nothing bounds it.

    The unit itself may; and lock-out bounds the alarms of each zone, unless they are forgotten in between; what is latched (tamper,
    hold-up) it does not bound.
    """
    told, count = trial.whole.told, _locked_out_after(trial, area, without_break=without_break)
    return min([each for each in (count, told.soundings or None) if each is not None], default=None)


def _locked_out_after(trial: Trial, area: str, *, without_break: bool) -> int | None:
    told, count = trial.whole.told, 0
    if not told.trips or told.trips_reset == "midnight":
        return None
    for name in trial.whole.zones_of(area):
        does = trial.whole.zones[name].does[1:]
        for word, what in ((Response.TAMPER, "tamper"), (Response.HOLD_UP, "hold-up")):
            if word in does and trial.whole.sounds[f"{what}-set"] == "external":
                return None
        if any(each not in QUIET | {Response.TAMPER, Response.HOLD_UP} for each in does):
            count += told.trips
    count += EXIT_ERRORS
    # No zone is forgotten as long as all of it is over before one can have been quiet for its time.
    lasts = bool(told.trips_quiet_s) and not (without_break and count * told.sounder_s < told.trips_quiet_s)
    return None if lasts else count


def _again(found: Tried, area: str, silent: bool) -> list[Taken]:
    """Return the rows that start the sounders of an area anew, while they sound or after they fell silent with an alarm not cleared."""
    reached = found.reached
    there = (reached.field(f"{area}.memory") == 1) & (reached.field(f"{area}.sound") == int(not silent))
    return reached.taken(lambda row: any((each.word, each.place) == ("sounds", area) for each in row.outputs), there)


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
