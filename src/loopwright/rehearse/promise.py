"""The promises an area has to keep, each with its sentence, and what is told of one that is broken."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from loopwright.job.document import Job
from loopwright.rehearse.law import NO_LAW, Law
from loopwright.rehearse.part import OTHERS, masked, part_of, reached
from loopwright.rehearse.plan import Programme, Walk
from loopwright.rehearse.replay import Course, Real, replayed
from loopwright.rehearse.search import Reached, Taken
from loopwright.rehearse.story import Scene, story_of
from loopwright.rehearse.table import Row
from loopwright.rehearse.words import told

Known = TypeVar("Known")
PROMISES = {
    "watched": "Every zone raises an alarm, or starts entry at a declared door, wherever the customer expects it to.",
    "any-time": "A zone that answers at any time in one set state does so in every state.",
    "walk": "Whoever lawfully walks in or out in time causes no alarm, no exit error and no signal.",
    "answers": "Hold-up, tamper and duress are signalled in every state, at once, and sound as the rules' cell for the state has it.",
    "setting": "An area is set with something in the way only by whoever may, and it is told.",
    "cancel": "Unset in the abort window, nothing is sent; after it, a cancel is.",
    "confirm": "An alarm is confirmed by two zones of their own, and can be; what an unconfirmed one leaves inhibited is told.",
    "sounds": "Every alarm starts the sounders, again after they fell silent, and for no longer than the rules and the law allow.",
    "strobes": "A strobe goes on until the alarm is unset or cleared.",
    "not-all-locked-out": "Never are all zones of an area locked out and nobody was told.",
    "power": "When all power was lost and comes back, it is as it was and raises no alarm of its own; that the supply goes is sent before.",
    "way-back": "From every state that can be reached, the area can be unset, set and cleared by somebody who may.",
    "schedule": "An area that sets itself warns first, and somebody is told when it cannot.",
    "outputs": "Every switched output follows something that happens, can be seen, and gives no silent event away.",
    "shared": "A shared area is unset exactly when one of the areas that share it is.",
}
UNTRIED = {
    "watched": "nobody has said of a zone that can come to be set when it is to raise an alarm",
    "any-time": "no zone answers at any time",
    "walk": "nobody has said by which doors people come in and how long the slowest walk takes, or nobody may set and unset",
    "answers": "no zone and no code calls for it, or there is no receiving centre",
    "setting": "nobody comes to set an area with something in the way",
    "cancel": "no alarm that was sent comes to be unset or cleared: there is no receiving centre, or alarms are not sent",
    "confirm": "no time of confirmation is entered",
    "sounds": "how long the sounders run is not entered, or nothing makes them sound",
    "strobes": "no output that feeds a strobe is entered",
    "not-all-locked-out": "no zone is ever locked out, or there is no receiving centre",
    "power": "neither the unit's sheet nor the programme says what happens when power comes back, and there is no receiving centre",
    "way-back": "no area is searched",
    "schedule": "no area sets itself",
    "outputs": "no switched output that could be searched is entered",
    "shared": "no area is shared, or a shared one never comes to be set",
}
"""Why a promise was never put to the test: what it speaks of cannot come about, or nobody has said what to hold the programme to."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Broken:
    """A promise that is not kept: ``subject`` is a place in the document, ``story`` its shortest course of events.

    ``course`` is the same story in the whole programme, everything in it that was done or ended.
    """

    promise: str
    subject: str
    sentence: str
    story: tuple[Scene, ...] = ()
    course: Course = ()

    @property
    def lines(self) -> tuple[str, ...]:
        """Return the story, a line each, with the seconds since its start."""
        return tuple(f"{scene.at_s:g} s: {scene.words}." for scene in self.story)


Story = tuple[Scene, ...]
Candidates = Iterable[Taken]
MOST_PLAYED = 4
"""Stories that are played in the whole programme until one is the same there."""


class Told(NamedTuple):
    """A story that the whole programme plays: the row it ends with, and its course in the whole."""

    story: Story
    row: Row | None
    course: Course

    def breaks(self, promise: str, subject: str, sentence: str) -> Broken:
        """Return the promise it breaks."""
        return Broken(promise=promise, subject=subject, sentence=sentence, story=self.story, course=self.course)


@dataclass(frozen=True, kw_only=True, slots=True)
class Tried:
    """What a part of the programme can reach. In it zones go by other names (``known_as``); stories are told under their own."""

    reached: Reached
    whole: Programme
    known_as: Mapping[str, str]
    otherwise: dict[str, None] = field(default_factory=dict)

    def once(self, key: tuple[object, ...], work: Callable[[], Known]) -> Known:
        """Return what some work on the part comes to, done once for all parts alike. ``key`` tells apart what is asked of one part."""
        if key not in self.reached.memo:
            self.reached.memo[key] = work()
        found: Known = self.reached.memo[key]
        return found

    def told(
        self,
        key: tuple[object, ...],
        candidates: Callable[[], Candidates],
        good: Callable[[Story], bool] | None = None,
        real: Real | None = None,
    ) -> Told | None:
        """Return the first of some courses that the clock allows, that is ``good``, and that the whole programme plays, or None.

        ``good`` is asked of the story with the names of the part, ``real`` of the whole programme before and after its last event.
        Where the whole plays all of the first few otherwise, the last thing of the first is remembered in ``otherwise``.
        """
        stories = self.once(key, lambda: _Stories(self.reached, candidates(), good))
        last = ""
        for story, row in islice(stories, MOST_PLAYED):
            named = self._named(story)
            course = replayed(self.whole, self.reached.table.programme, self.known_as, named, real)
            if course is not None:
                return Told(named, row, course)
            last = last or (named[-1].words if named else "the start")
        if last:
            self.otherwise[last] = None
        return None

    def meets(self, key: tuple[object, ...], wanted: Callable[[Row], bool], there: Callable[[], NDArray[np.bool_]] | None = None) -> bool:
        """Return whether what a promise speaks of can come about at all: otherwise it is kept for want of an occasion."""
        return self.once(("met", *key), lambda: bool(self.reached.taken(wanted, None if there is None else there())))

    def _named(self, story: Story) -> Story:
        """Return a story with the names of the job."""
        name = {mask: name for name, mask in self.known_as.items()}
        scenes = []
        for scene in story:
            event = scene.event._replace(
                place=name.get(scene.event.place, scene.event.place), over=name.get(scene.event.over, scene.event.over)
            )
            outputs = tuple(each._replace(about=name.get(each.about, each.about)) for each in scene.outputs)
            scenes.append(Scene(at_s=scene.at_s, event=event, outputs=outputs, words=told(self.whole, event, outputs)))
        return tuple(scenes)


class _Stories:
    """The stories of some courses, told one by one as they are asked for, and remembered."""

    def __init__(self, found: Reached, candidates: Candidates, good: Callable[[Story], bool] | None) -> None:
        self._known: list[tuple[Story, Row | None]] = []
        self._more = self._told(found, candidates, good)

    @staticmethod
    def _told(found: Reached, candidates: Candidates, good: Callable[[Story], bool] | None) -> Iterator[tuple[Story, Row | None]]:
        for state, row, there, then in candidates:
            story = story_of(found, state, row, there, then)
            if story is not None and (good is None or good(story)):
                yield story, row

    def __iter__(self) -> Iterator[tuple[Story, Row | None]]:
        yield from self._known
        for each in self._more:
            self._known.append(each)
            yield each


class Trial:
    """A job's programme on trial: its parts as they are asked for, how many states each took, and what was not covered."""

    def __init__(self, job: Job, whole: Programme, law: Law = NO_LAW) -> None:
        self.job = job
        self.whole = whole
        self.law = law
        self.sizes: dict[Programme, int] = {}
        self.missing: dict[str, None] = {}
        self.otherwise: dict[str, None] = {}
        self.tried: set[str] = set()

    def search(
        self,
        areas: tuple[str, ...],
        followed: Iterable[str] = (),
        *,
        observers: Iterable[str] = (),
        tracks: Iterable[str] = (),
        each: int = 1,
    ) -> Tried:
        """Return what a part of the programme can reach."""
        part = part_of(
            self.whole, self.with_served(areas), followed, observers=observers, observed=areas, tracks=tracks, each=each
        )  # fmt: skip
        return self._reached(part)

    def walked(self, areas: Iterable[str], walk: Walk) -> Tried:
        """Return what somebody on a lawful walk can meet: only what lies on the way is there.

        In to a shared area somebody walks who unsets it, or one of the areas that share it: these are there too.
        """
        there = (*areas, *self.whole.areas[walk.area].serves)
        part = part_of(self.whole, there, (walk.door,), observers=("report",))
        plans = {name: replace(plan, serves=tuple(set(plan.serves) - {OTHERS})) for name, plan in part.areas.items() if name != OTHERS}
        past = {name: replace(self.whole.zones[name], followed=False) for name in walk.past if name != walk.door}
        return self._reached(replace(part, areas=plans, zones={walk.door: part.zones[walk.door]} | past, walk=walk))

    def with_served(self, areas: tuple[str, ...]) -> tuple[str, ...]:
        """Return areas, each shared one with the first of those it is shared by: by itself it would never be set."""
        found = dict[str, None]()
        for name in areas:
            found[name] = None
            serves = self.whole.areas[name].serves
            if serves and not set(serves) & set(areas):
                found[serves[0]] = None
        return tuple(found)

    def _reached(self, part: Programme) -> Tried:
        plain, names = masked(part)
        found = reached(plain)
        self.sizes[plain] = found.states.size
        return Tried(reached=found, whole=self.whole, known_as=names, otherwise=self.otherwise)
