"""A sandbox: somebody acts, time goes by, and what is seen, heard and sent is told with when and why. It is the step the search uses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from loopwright.job.document import Job
from loopwright.job.speech import Speech
from loopwright.rehearse.plan import NotCoveredError, Programme
from loopwright.rehearse.reading import programme_of, spoken
from loopwright.rehearse.state import ENTRY, EXIT, MODES, UNSET, Event, Output, begin, running, tick_s
from loopwright.rehearse.step import due, events, step
from loopwright.rehearse.switched import followed, on_now
from loopwright.rehearse.words import event_words, follow_words, state_words

WAIT, NEXT = "wait", "next"
"""Acts of time: so many seconds go by, or all the time until a running time ends."""
LONGEST_WAIT_S = 86_400.0
FINEST_S = 1.0
"""A try goes by the second, also where the programme's times are whole minutes."""
MOST_ACTS = 200


@dataclass(frozen=True, kw_only=True, slots=True)
class Happened:
    """One thing that happened: when [s], what, what followed, and why; ``refused`` when it could not happen."""

    at_s: float
    words: str
    follows: tuple[str, ...] = ()
    why: str = ""
    refused: bool = False
    outputs: tuple[Output, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Stand:
    """Where a sandbox stands: the time [s], the areas in words, the times that run, and everything that happened."""

    programme: Programme
    state: Mapping[str, int]
    at_s: float
    log: tuple[Happened, ...]

    @property
    def areas(self) -> list[str]:
        """Return how the areas stand, a line each."""
        return state_words(self.programme, self.state)

    @property
    def runs(self) -> list[tuple[str, float]]:
        """Return the clocks that run, each with the time [s] left."""
        tick = tick_s(self.programme)
        return [(clock, lasts_s - self.state[clock] * tick) for clock, lasts_s in running(self.programme, self.state.__getitem__).items()]

    def possible(self) -> list[tuple[Event, str]]:
        """Return what somebody can do or what can happen now, in words; the ends of times come by themselves."""
        can = [event for event in events(self.programme) if not _by_itself(event) and step(self.programme, self.state, event) is not None]
        return [(event, event_words(self.programme, event)) for event in can]


def switched(job: Job, stand: Stand) -> list[str]:
    """Return how the switched outputs stand, a line each; those that follow what is not told here are left out."""
    speech, course, lines = Speech(job), [(each.at_s, each.outputs) for each in stand.log], []
    for rule in job.outputs.values():
        if followed(rule) is None:
            continue
        now, rest, left = on_now(rule, job.areas, course, stand.at_s), "on", "off"
        if rule.rest == "off":
            rest, left = left, rest
        until = f" until {now.until_s:g} s" if now and now.until_s is not None else ""
        name = speech.terminal("outputs", rule.terminal).removeprefix("output ")
        lines.append(f"{name} {left} since {now.since_s:g} s{until}" if now else f"{name} {rest}")
    return lines


def _by_itself(event: Event) -> bool:
    return event.kind == "end" or event.kind.endswith("-ends") or event.kind == "awake"


def play(job: Job, acts: Iterable[str]) -> Stand:
    """Return where a job's programme stands after acts, each written as :func:`written` does.

    Areas and zones of which too little is said are left out. Raises NotCoveredError where that leaves none, and
    ValueError for an act that is none.
    """
    said, _ = spoken(job)
    programme = replace(programme_of(said, _told_of(said)), finest_s=FINEST_S)
    stand = Stand(programme=programme, state=begin(programme), at_s=0.0, log=())
    for act in list(acts)[:MOST_ACTS]:
        stand = _after(stand, act)
    return stand


def _told_of(job: Job) -> tuple[str, ...]:
    """Return the areas of which enough is said, a shared one only with all that share it. Raises NotCoveredError where there is none."""
    found, reason = [], NotCoveredError("there is no area")
    for name in job.areas:
        try:
            programme_of(job, (name,))
        except NotCoveredError as lacks:
            reason = lacks
        else:
            found.append(name)
    whole = tuple(name for name in found if set(job.areas[name].common_to) <= set(found))
    if not whole:
        raise reason
    return whole


def written(event: Event) -> str:
    """Return an event as an act.

    >>> written(Event("set", "house", "the owner", 1))
    'set|house|the owner|1|'
    """
    return "|".join(str(part).translate(_MASKED) for part in event)


_MASKED = str.maketrans({"%": "%25", "|": "%7C", "~": "%7E"})
"""What parts the words of an act, or one act from the next, is written another way inside a name."""


def _plain(part: str) -> str:
    return part.replace("%7E", "~").replace("%7C", "|").replace("%25", "%")


def _after(stand: Stand, act: str) -> Stand:
    kind, *parts = act.split("|")
    if kind == NEXT:
        left = [time for _, time in stand.runs]
        return _waited(stand, min(left)) if left else stand
    if kind == WAIT:
        return _waited(stand, min(float(parts[0]), LONGEST_WAIT_S))
    place, who, state, over = map(_plain, parts)
    event = Event(kind, place, who, int(state), over)
    if event not in events(stand.programme) or _by_itself(event):
        raise ValueError(f"{act!r} is nothing that can be done here")
    return _stepped(stand, event)


def _stepped(stand: Stand, event: Event) -> Stand:
    words = event_words(stand.programme, event)
    done = step(stand.programme, stand.state, event)
    if done is None:
        refused = Happened(at_s=stand.at_s, words=words, follows=("it cannot happen now",), refused=True)
        return _with(stand, stand.state, refused)
    state, outputs = done
    told = follow_words(stand.programme, event, outputs) or (f"nothing {'else ' if outputs else ''}happens",)
    return _with(
        stand,
        state,
        Happened(at_s=stand.at_s, words=words, follows=told, why=why(stand.programme, stand.state, event, outputs), outputs=outputs),
    )


def _with(stand: Stand, state: Mapping[str, int], happened: Happened) -> Stand:
    return Stand(programme=stand.programme, state=state, at_s=stand.at_s, log=(*stand.log, happened))


def _waited(stand: Stand, time_s: float) -> Stand:
    """Let time go by; what ends on the way, ends. Times that no tick divides are waited for to the nearest one."""
    programme = stand.programme
    tick = tick_s(programme)
    left = round(time_s / tick)
    while True:
        stand = _ended(stand)
        runs = running(programme, stand.state.__getitem__)
        ahead = min([left, *(round(lasts_s / tick) - stand.state[clock] for clock, lasts_s in runs.items())])
        if ahead <= 0:
            return stand
        # As many ticks at once as bring no time to its end before the last of them.
        state = {**stand.state, **{clock: stand.state[clock] + ahead for clock in runs}}
        stand = Stand(programme=programme, state=state, at_s=stand.at_s + ahead * tick, log=stand.log)
        left -= ahead


def _ended(stand: Stand) -> Stand:
    """Let every time that is at its end, end; no more often than there are times, so that it comes to an end itself."""
    ends = [event for event in events(stand.programme) if _by_itself(event)]
    for _ in range(2 * len(ends)):
        if not due(stand.programme, stand.state):
            return stand
        event = next((each for each in ends if step(stand.programme, stand.state, each) is not None), None)
        if event is None:
            return stand
        stand = _stepped(stand, event)
    return stand


def why(programme: Programme, state: Mapping[str, int], event: Event, outputs: tuple[Output, ...]) -> str:
    """Return why a zone did what it did: what it is told to do as its areas stood. Empty for anything else."""
    if event.kind != "activated" or event.place not in programme.zones:
        return ""
    zone, said = programme.zones[event.place], []
    for area in zone.areas:
        mode = state[f"{area}.mode"]
        does = zone.does[0] if mode == UNSET else zone.does[1 + state[f"{area}.part"]]
        stands = f"in {MODES[mode]}" if mode in (EXIT, ENTRY) else MODES[mode]
        said.append(f"{does.replace('-', ' ')} while {programme.areas[area].name} is {stands}")
    return f"{zone.text} is {', and '.join(said)}" if said else f"{zone.text} lies in no area"
