"""The promises an area has to keep, each with its sentence, and what is told of one that is broken."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from loopwright.job.document import Job
from loopwright.rehearse.part import OTHERS, part_of, reached
from loopwright.rehearse.plan import Programme, Walk
from loopwright.rehearse.search import Reached
from loopwright.rehearse.story import Scene, story_of
from loopwright.rehearse.table import Row

PROMISES = {
    "watched": "Every zone raises an alarm, or starts entry at a declared door, wherever the customer expects it to.",
    "any-time": "A zone that answers at any time in one set state does so in every state.",
    "walk": "Whoever lawfully walks in or out in time causes no alarm, no exit error and no signal.",
    "answers": "Hold-up, tamper and duress are signalled in every state, at once, and sound outside only where they may.",
    "setting": "An area is set with something in the way only by whoever may, and it is told.",
    "cancel": "Unset in the abort window, nothing is sent; after it, a cancel is.",
    "confirm": "An alarm is confirmed by two zones of their own, and can be.",
    "sounds": "Every alarm starts the sounders.",
    "not-all-locked-out": "Never are all zones of an area locked out and nobody was told.",
    "way-back": "From every state that can be reached, the area can be unset, set and cleared by somebody who may.",
    "shared": "A shared area is unset exactly when one of the areas that share it is.",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Broken:
    """A promise that is not kept: ``subject`` is a place in the document, ``story`` its shortest course of events."""

    promise: str
    subject: str
    sentence: str
    story: tuple[Scene, ...] = ()

    @property
    def lines(self) -> tuple[str, ...]:
        """Return the story, a line each, with the seconds since its start."""
        return tuple(f"{scene.at_s:g} s: {scene.words}." for scene in self.story)


class Trial:
    """A job's programme on trial: its parts as they are asked for, how many states each took, and what was not covered."""

    def __init__(self, job: Job, whole: Programme) -> None:
        self.job = job
        self.whole = whole
        self.sizes: dict[Programme, int] = {}
        self.missing: dict[str, None] = {}

    def search(
        self,
        areas: tuple[str, ...],
        followed: Iterable[str] = (),
        *,
        observers: Iterable[str] = (),
        tracks: Iterable[str] = (),
        each: int = 1,
    ) -> Reached:
        """Return what a part of the programme can reach."""
        part = part_of(
            self.whole, self.with_served(areas), followed, observers=observers, observed=areas, tracks=tracks, each=each
        )  # fmt: skip
        return self._reached(part)

    def walked(self, areas: Iterable[str], walk: Walk) -> Reached:
        """Return what somebody on a lawful walk can meet: only what lies on the way is there."""
        part = part_of(self.whole, areas, (walk.door,), observers=("report",))
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

    def _reached(self, part: Programme) -> Reached:
        found = reached(part)
        self.sizes[part] = found.states.size
        return found

    @staticmethod
    def first_story(found: Reached, candidates: Iterable[tuple[int, Row | None]]) -> tuple[tuple[Scene, ...], Row | None] | None:
        """Return the first of some courses that the clock allows, or None where it allows none of them."""
        for state, row in candidates:
            story = story_of(found, state, row)
            if story is not None:
                return story, row
        return None
