"""One event being worked out: what it has read, what it changes, what it gives out."""

from __future__ import annotations

from collections.abc import Callable

from loopwright.programme.response import Response
from loopwright.rehearse.plan import Programme
from loopwright.rehearse.state import UNSET, Effect, Output


class Moment:
    """A state in the middle of an event. What is changed is read back changed; clocks are begun, never read."""

    def __init__(self, programme: Programme, read: Callable[[str], int]) -> None:
        self.programme = programme
        self._read = read
        self.changes: dict[str, int] = {}
        self.outputs: list[Output] = []
        self.due = ""
        self.begun: dict[str, None] = {}

    def __getitem__(self, field: str) -> int:
        """Return a field as it stands now."""
        return self.changes[field] if field in self.changes else self._read(field)

    def __setitem__(self, field: str, value: int) -> None:
        """Change a field."""
        self.changes[field] = value

    def say(self, word: str, place: str = "", about: str = "") -> None:
        """Give something out."""
        self.outputs.append(Output(word, place, about))

    def send(self, word: str, place: str = "") -> None:
        """Send a report, if it is one of those that are sent."""
        if word in self.programme.told.reports:
            self.say("sent", place, word)

    def sound(self, area: str, cell: str) -> None:
        """Ask for the sounders, inside or outside or not at all, as the programme's cell says."""
        which = self.programme.sounds[cell]
        if which != "silent":
            self.say("sound", area, which)

    def begin(self, clock: str) -> None:
        """Put a clock to nothing: it is begun, begun again, or stopped, as the state after it has it."""
        self.begun[clock] = None

    def does(self, zone: str, area: str) -> Response:
        """Return what a zone does in an area as it stands."""
        column = self.programme.zones[zone].does
        return column[0] if self[f"{area}.mode"] == UNSET else column[1 + self[f"{area}.part"]]

    def effect(self) -> Effect:
        """Return what has come of it."""
        return Effect(self.changes, tuple(self.outputs), self.due, tuple(self.begun))
