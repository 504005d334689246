"""A story of a part played in the whole programme by the plain step: all zones, all areas, everything remembered, every clock running.

What a part leaves out is done here as somebody would do it: a contact that is not followed is opened and shut again, the other areas are
set and unset by who may, a condition that is not remembered comes about. What then comes out differently is no story.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from loopwright.programme.response import ANY_TIME, ON_THE_WAY, QUIET, Response
from loopwright.rehearse.part import OTHERS
from loopwright.rehearse.plan import Programme
from loopwright.rehearse.state import ENTRY, SET, Event, Output, State, begin, running, tick_s
from loopwright.rehearse.step import due, step
from loopwright.rehearse.story import Scene

Course = tuple[tuple[float, Event], ...]
"""What is done in the whole programme, and what ends by itself, each with the seconds since the start."""
Real = Callable[[State, State], bool]
"""Whether the whole programme, before and after the last thing of a story, stands as the promise has it broken."""
OBSERVED_WORDS = {
    "abort-window": "report", "aborted": "report", "sounds": "sound", "silent": "sound", "sounded-enough": "sound",
    "sounds-already": "sound",
    "confirmed": "confirm", "unconfirmed": "confirm",
}  # fmt: skip
OBSERVED_REPORTS = {"alarm": "report", "cancel": "report", "confirmed-alarm": "confirm"}
NOTHING = {"ignored", "chime", "soak-test", "tolerated"}
ENDS = {
    "clock": "end",
    "warning-clock": "warning-ends",
    "report-clock": "report-ends",
    "sound-clock": "sound-ends",
    "confirm-clock": "confirm-ends",
    "quiet-clock": "quiet-ends",
}


class Act(NamedTuple):
    """One thing to be done in the whole programme; ``scene`` is what has to come of it, or None for what nobody of the part may notice."""

    at_s: float
    event: Event
    scene: Scene | None = None


class _OtherwiseError(Exception):
    """The whole programme does something else."""


def replayed(
    whole: Programme, part: Programme, known_as: Mapping[str, str], story: Sequence[Scene], real: Real | None = None
) -> Course | None:
    """Return how the whole programme plays a story of a part, or None where it does something else.

    ``known_as`` names the zones of the part by those of the whole, under which the story is told.
    """
    stage = _Stage(whole, part, {name for name, mask in known_as.items() if part.zones[mask].followed})
    try:
        acts = _acts(stage, story)
        late_s = -min((act.at_s for act in acts), default=0.0)
        for act in acts:
            stage.comes_to(act.at_s + max(0.0, late_s))
            stage.plays(act)
    except _OtherwiseError:
        return None
    return tuple(stage.course) if real is None or real(stage.before, stage.state) else None


def _acts(stage: _Stage, story: Sequence[Scene]) -> list[Act]:
    """Return what has to be done for a story, in the order of its times: its scenes, and before them what the part takes for granted."""
    acts, away = list[Act](), set(stage.others)
    for number, scene in enumerate(story):
        if scene.event.kind == "end" and scene.event.over:
            # What stands open when the exit time ends was opened before it began: nobody then takes it for a use of the door.
            began = next((at for at in range(number, -1, -1) if _begins(story[at], scene.event.place)), number)
            place = next((at for at, act in enumerate(acts) if act.scene is story[began]), len(acts))
            acts.insert(place, Act(story[began].at_s, Event("activated", scene.event.over)))
            stage.held.add(scene.event.over)
        if scene.event.place == OTHERS:
            acts += _of_others(stage, scene, away)
        else:
            acts.append(Act(scene.at_s, scene.event, scene))
    return sorted(acts, key=lambda act: act.at_s)


def _begins(scene: Scene, area: str) -> bool:
    return any(each.word == "exit-begins" and each.place == area for each in scene.outputs)


def _of_others(stage: _Stage, scene: Scene, away: set[str]) -> list[Act]:
    """Return what people of the areas not looked at do. ``away`` are those of them that are unset."""
    kind, part = scene.event.kind, scene.event.state
    if kind == "others-set":
        acts = [act for area in sorted(away) for act in stage.sets_out(area, part, scene.at_s)]
        away.clear()
        return [*acts, Act(scene.at_s, scene.event, scene)]
    area = stage.others[0]
    if kind == "others-unset":
        away.add(area)
        return [Act(scene.at_s, Event("unset", area, stage.who(area, "unset")), scene)]
    return [Act(scene.at_s, Event("activated", stage.door(area, part)), scene)]


class _Stage:
    """The whole programme as it stands in the middle of a story."""

    def __init__(self, whole: Programme, part: Programme, followed: set[str]) -> None:
        self.whole, self.part, self.followed = whole, part, followed
        self.state: State = begin(whole)
        self.before: State = self.state
        self.at_s = 0.0
        self.course: list[tuple[float, Event]] = []
        self.held = set[str]()
        shared = [name for name, plan in part.areas.items() if OTHERS in plan.serves]
        self.others = [each for name in shared for each in whole.areas[name].serves if each not in part.areas]

    def who(self, area: str, act: str) -> str:
        """Return somebody who may do it."""
        found = next((who.name for who in self.whole.people if who.right(area, act) and not who.duress), None)
        if found is None:
            raise _OtherwiseError
        return found

    def door(self, area: str, part: int) -> str:
        """Return a door of one area alone."""
        zones = self.whole.zones
        found = next((name for name in zones if zones[name].areas == (area,) and zones[name].does[1 + part] is Response.FINAL_EXIT), None)
        if found is None:
            raise _OtherwiseError
        return found

    def sets_out(self, area: str, part: int, at_s: float) -> list[Act]:
        """Return how somebody sets an area and goes out, so that it can be set at a time."""
        told = self.whole.told
        lasts_s = self.whole.areas[area].exit_s if told.set_by == "timed" else told.settle_s
        acts = [Event("set", area, self.who(area, "set"), part)]
        if told.set_by == "key-switch":
            acts.append(Event("lock", area))
        elif told.set_by == "final-door" or (told.unvacated == "part" and part == 0):
            acts += [Event("activated", self.door(area, part)), Event("shut", self.door(area, part))]
        return [Act(at_s - lasts_s, event) for event in acts]

    def comes_to(self, at_s: float) -> None:
        """Let time go by; what ends by itself on the way, ends, and nobody of the part may notice."""
        tick = tick_s(self.whole)
        left = round((at_s - self.at_s) / tick)
        while left > 0:
            ended = due(self.whole, self.state)
            if ended:
                self._does(_end_of(ended[0]))
                continue
            runs = running(self.whole, self.state.__getitem__)
            ahead = min([left, *(round(lasts_s / tick) - self.state[clock] for clock, lasts_s in runs.items())])
            self.state = {**self.state, **{clock: self.state[clock] + ahead for clock in runs}}
            self.at_s, left = self.at_s + ahead * tick, left - ahead

    def plays(self, act: Act) -> None:
        """Do one thing, with what has to be so before it and after it."""
        event, scene = act.event, act.scene
        if scene is None:
            self._helps(event)
        elif event.kind == "others-set":
            self._others_are_set(scene)
        elif event.place in self.whole.zones and event.place not in self.followed:
            self._passes(event, scene)
        elif event.over and event.kind != "end":
            self._sets_over(event, scene)
        elif event.kind == "end":
            self._ends(event, scene)
        else:
            self._does(event, scene)

    def _helps(self, event: Event) -> None:
        if event.kind == "shut" and not self._open(event.place):
            return
        if event.kind == "activated" and self._open(event.place):
            return
        self._does(event)

    def _open(self, zone: str) -> bool:
        return bool(self.state.get(f"{zone}.open"))

    def _passes(self, event: Event, scene: Scene) -> None:
        """Open a contact that is not followed and shut it again, or activate a detector once."""
        zone, contact = self.whole.zones[event.place], self.whole.zones[event.place].contact
        if contact and self._open(event.place) == (event.kind == "activated"):
            self._does(Event("shut" if event.kind == "activated" else "activated", event.place))
        self._does(event, scene)
        waits = self.whole.told.set_by == "final-door" and Response.FINAL_EXIT in zone.does
        if event.kind == "activated" and contact and not waits and event.place not in self.held:
            self._does(Event("shut", event.place))

    def _sets_over(self, event: Event, scene: Scene) -> None:
        """Set with something in the way that the part does not remember."""
        comes, goes = Event("fault", event.over), Event("restored", event.over)
        if event.over == "open":
            comes = Event("activated", self._can_stand_open(event.place, event.state))
        elif event.over not in ("path", "mains", "battery"):
            raise _OtherwiseError
        self._does(comes)
        self._does(event._replace(over=""), scene)
        if event.over != "open":
            self._does(goes)

    def _can_stand_open(self, area: str, part: int) -> str:
        zones = self.whole.zones
        for name in self.whole.zones_of(area):
            does = zones[name].does
            if zones[name].contact and name not in self.followed and does[1 + part] not in ON_THE_WAY | QUIET and does[0] not in ANY_TIME:
                return name
        raise _OtherwiseError

    def _ends(self, event: Event, scene: Scene) -> None:
        if not event.over:
            for name in self.whole.zones:
                if name not in self.followed | self.held and self._open(name):
                    self._does(Event("shut", name))
        self._does(event._replace(over=""), scene)
        if event.over:
            self.held.discard(event.over)
            self._does(Event("shut", event.over))

    def _others_are_set(self, scene: Scene) -> None:
        """The last of the other areas is set: what comes of it in the part has to be what the story says."""
        found = list[Output]()
        for area in self.others:
            if self.state[f"{area}.mode"] not in (SET, ENTRY) and f"{area}.clock" in due(self.whole, self.state):
                found += self._step(Event("end", area))
        if any(self.state[f"{area}.mode"] not in (SET, ENTRY) for area in self.others):
            raise _OtherwiseError
        self._same(found, scene)

    def _does(self, event: Event, scene: Scene | None = None) -> None:
        found = self._step(event)
        if scene is not None:
            self._same(found, scene)
        elif any(word not in NOTHING for word, place, _ in self._noticed(found) if place):
            raise _OtherwiseError

    def _step(self, event: Event) -> Sequence[Output]:
        done = step(self.whole, self.state, event)
        if done is None:
            raise _OtherwiseError
        self.before, (self.state, outputs) = self.state, done
        self.course.append((self.at_s, event))
        return outputs

    def _same(self, found: Sequence[Output], scene: Scene) -> None:
        plain = scene.event.place in self.whole.zones and scene.event.place not in self.followed
        nameless = scene.event.kind in ("end", "others-set")
        both = []
        for outputs in (found, scene.outputs):
            kept = [each for each in self._noticed(outputs) if not (plain and each.word in NOTHING - {"tolerated"})]
            both.append(Counter(each._replace(about="") if nameless and each.word == "alarm" else each for each in kept))
        if both[0] != both[1]:
            raise _OtherwiseError

    def _noticed(self, outputs: Sequence[Output]) -> list[Output]:
        """Return what is given out that the part knows of."""
        return [each for each in outputs if self._knows(each)]

    def _knows(self, output: Output) -> bool:
        if not output.place:
            return True
        if output.place not in self.part.areas or (output.word == "trips-forgotten" and output.about not in ("", *self.followed)):
            return False
        observer = OBSERVED_REPORTS.get(output.about) if output.word == "sent" else OBSERVED_WORDS.get(output.word)
        if observer == "confirm":
            return self.part.confirms(output.place)
        return observer is None or (observer in self.part.observers and self.part.observes(output.place))


def _end_of(clock: str) -> Event:
    if clock == "power-clock":
        return Event("awake")
    area, _, which = clock.rpartition(".")
    return Event(ENDS[which], area)
