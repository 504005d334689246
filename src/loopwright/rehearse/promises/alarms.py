"""What an alarm owes: its report, its cancel, its confirmation."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from itertools import combinations

import numpy as np

from loopwright.rehearse.promise import Broken, Trial
from loopwright.rehearse.search import Reached, Taken
from loopwright.rehearse.state import QUIET_REPORT, SENT, SET, UNSET, fields
from loopwright.rehearse.story import Scene
from loopwright.rehearse.table import Row


def cancel(trial: Trial) -> Iterator[Broken]:
    """Hold unsetting after an alarm against the window it falls in."""
    told = trial.whole.told
    if not told.centre or "alarm" not in told.reports:
        return
    for area, plan in trial.whole.areas.items():
        found = trial.search((area,), observers=("report",))
        at, mask = found.reached.table.packing.place[f"{area}.report"]

        def uncancelled(row: Row, area: str = area, at: int = at, mask: int = mask) -> bool:
            sent = {each.about for each in row.outputs if each.word == "sent" and each.place == area}
            leaves = any(each.word in ("unset", "cleared") and each.place == area for each in row.outputs)
            stands = (row.value & mask) >> at if row.mask & mask else -1
            return leaves and ((stands == SENT and "cancel" not in sent) or (stands != SENT and bool(sent & {"alarm", "cancel"})))

        def cancels(row: Row, area: str = area, at: int = at, mask: int = mask) -> bool:
            leaves = any(each.word in ("unset", "cleared") and each.place == area for each in row.outputs)
            return leaves and bool(row.mask & mask) and (row.value & mask) >> at == SENT

        if found.meets(("uncancelled", area), cancels):
            trial.tried.add("cancel")
        story = found.told(("uncancelled", area), partial(found.reached.taken, uncancelled))
        if story:
            sentence = f"{plan.name}: an alarm that was sent is unset or cleared in the cancel window, and no cancel is sent."
            yield story.breaks("cancel", "signalling/reports/cancel", sentence)
        both_s = plan.entry_s + told.abort_s
        for bound in trial.law.entry_and_abort if told.abort_s else ():
            if not bound.holds(both_s):
                sentence = (
                    f"{plan.name}: entry time and abort window together are {both_s:g} s, more than {bound.most_s:g} s ({bound.words})."
                )
                yield Broken(promise="cancel", subject=f"areas/{area}/entry_s", sentence=sentence)


def confirm(trial: Trial) -> Iterator[Broken]:
    """Hold confirmation against being possible, against what is no second alarm of its own, and against leaving a zone inhibited untold."""
    if not trial.whole.told.confirm_s:
        return
    trial.tried.add("confirm")
    for area, plan in trial.whole.areas.items():
        found = trial.search((area,), observers=("confirm",), each=2)
        if not found.once(("confirms",), partial(found.reached.taken, _confirms)):
            sentence = f"{plan.name}: no alarm can be confirmed by a second zone."
            yield Broken(promise="confirm", subject=f"areas/{area}#confirm", sentence=sentence)
        for one, two in _pairs(trial, area):
            yield from _one_circuit(trial, area, one, two)
        for door in trial.job.areas[area].entry_doors:
            for past in trial.job.areas[area].walked_past:
                yield from _late(trial, area, door, past)
        yield from _left_untold(trial, area)


def _late(trial: Trial, area: str, door: str, past: str) -> Iterator[Broken]:
    """Hold somebody who comes in lawfully and is late against being confirmed by what they pass (BS 8243, from memory)."""
    if door == past or not {door, past} <= set(trial.whole.zones_of(area)):
        return
    found = trial.search((area,), (door, past), observers=("confirm",))
    own = [found.known_as[door], found.known_as[past]]

    def passes(row: Row) -> bool:
        return row.event.kind == "activated" and row.event.place == own[1] and _confirms(row)

    told = found.told(("late",), partial(found.reached.taken, passes), lambda story: _began(story, own[0]) and _alarms(story) == own)
    if told:
        name, came, met = trial.whole.areas[area].name, trial.whole.zones[door].text, trial.whole.zones[past].text
        sentence = f"{name}: whoever lawfully comes in by {came} and is late has the alarm confirmed by {met}, which they pass."
        yield told.breaks("confirm", "programme/confirm_in_entry", sentence)


def _began(story: Iterable[Scene], door: str) -> bool:
    return any((each.word, each.about) == ("entry", door) for scene in story for each in scene.outputs)


def _left_untold(trial: Trial, area: str) -> Iterator[Broken]:
    """Hold a zone that an unconfirmed alarm leaves inhibited against nobody being told."""
    for name in trial.whole.zones_of(area) if trial.whole.told.centre else ():
        if name not in trial.whole.left:
            continue
        found = trial.search((area,), (name,))
        told = found.told(("left untold", area), partial(_left_while_set, found.reached, area))
        if told:
            zone = trial.whole.zones[name].text
            sentence = f"{zone[0].upper()}{zone[1:]} is left inhibited after an alarm that nothing confirmed, and nobody is told."
            yield told.breaks("confirm", "signalling/reports/zone-inhibited", sentence)
            return


def _left_while_set(found: Reached, area: str) -> list[Taken]:
    """Return the rows that leave a zone inhibited, untold, once the area is set: an exit time seldom lasts as long as confirmation."""
    return found.taken(_untold, np.equal(found.field(f"{area}.mode"), np.uint64(SET)))


def _untold(row: Row) -> bool:
    words = {each.word if each.word != "sent" else f"sent {each.about}" for each in row.outputs}
    return "left-inhibited" in words and "sent zone-inhibited" not in words


def _pairs(trial: Trial, area: str) -> list[tuple[str, str]]:
    """Return the pairs of zones of an area that hang on one circuit."""
    zones = trial.job.zones
    names = [name for name in trial.whole.zones_of(area) if zones[name].circuit]
    return [(one, two) for one, two in combinations(names, 2) if zones[one].circuit == zones[two].circuit]


def _one_circuit(trial: Trial, area: str, one: str, two: str) -> Iterator[Broken]:
    found = trial.search((area,), (one, two), observers=("confirm",))
    places = {found.known_as[one], found.known_as[two]}

    def both(row: Row) -> bool:
        return row.event.place in places and _confirms(row)

    told = found.told(("both",), lambda: found.reached.taken(both), lambda story: places.issuperset(_alarms(story)))
    if told:
        words = f"{trial.whole.zones[one].text} and {trial.whole.zones[two].text}"
        sentence = f"{words[0].upper()}{words[1:]} hang on one circuit and confirm each other's alarm."
        yield told.breaks("confirm", f"zones/{two}/circuit", sentence)


def _confirms(row: Row) -> bool:
    return any(each.word == "confirmed" for each in row.outputs)


def _alarms(story: Iterable[Scene]) -> list[str]:
    """Return the zones that raise an alarm, in order."""
    return [each.about for scene in story for each in scene.outputs if each.word == "alarm"]


def not_all_locked_out(trial: Trial) -> Iterator[Broken]:
    """Hold lock-out against every zone of an area being locked out with nothing sent.

    Each zone is followed by itself: their alarms do not hinder one another, so what each can come to, all can, one after the other.
    """
    told = trial.whole.told
    if not told.trips or not told.centre:
        return
    for area, plan in trial.whole.areas.items():
        stories = []
        for name in trial.whole.zones_of(area):
            found = trial.search((area,), (name,), observers=("report",))
            if f"{found.known_as[name]}.trips" in fields(found.reached.table.programme):
                stories.append(found.told(("locked out", area), partial(_locked_out, found.reached, area, found.known_as[name])))
        if stories:
            trial.tried.add("not-all-locked-out")
        if stories and all(stories):
            first_told = next(story for story in stories if story)
            sentence = f"{plan.name}: every zone can come to be locked out, one after the other, with nothing sent."
            yield first_told.breaks("not-all-locked-out", f"areas/{area}#locked-out", sentence)


def _locked_out(found: Reached, area: str, zone: str) -> list[Taken]:
    """Return the state reached soonest in which a zone is locked out and nothing of it was sent."""
    told = found.table.programme.told
    wrong = (found.field(f"{zone}.trips") == told.trips) & (found.field(f"{area}.mode") != UNSET)
    wrong &= found.field(f"{area}.report") == QUIET_REPORT if "alarm" in told.reports else np.ones_like(wrong)
    wrong &= found.field(f"{area}.told") == 0 if f"{area}.told" in fields(found.table.programme) else np.ones_like(wrong)
    first = found.first(wrong)
    return [] if first is None else [Taken(first)]
