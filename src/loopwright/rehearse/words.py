"""Events, outputs and states in words: people act by name, zones are told by their number and text."""

from __future__ import annotations

from collections.abc import Mapping

from loopwright.job.speech import plain_words
from loopwright.programme.response import Response
from loopwright.rehearse.plan import Programme
from loopwright.rehearse.state import MODES, Event, Output

CENTRE_WORDS = "the receiving centre"
OUTPUTS = {
    "exit-begins": "the exit time of {place} begins",
    "prevented": "{place} cannot be set: {about}",
    "override": "{place} is set although {about}",
    "nobody-left": "nobody went out, so {place} is set in part",
    "set": "{place} is set",
    "unset": "{place} is unset",
    "warning": "{place} warns that it will set itself",
    "put-off": "{place} does not set itself this time",
    "settling": "{place} settles before it is set",
    "setting-fails": "setting {place} fails",
    "setting-stops": "{about} stops the setting of {place}",
    "exit-error": "exit error: the entry time of {place} begins",
    "entry": "{about} begins the entry time of {place}",
    "tolerated": "{about} is tolerated",
    "ignored": "nothing happens",
    "ignored-without-power": "nothing happens: inputs are not looked at",
    "chime": "chime",
    "soak-test": "{about} is on soak test, and noted only",
    "inhibited": "nothing happens: {about} is inhibited",
    "locked-out": "nothing happens: {about} is locked out",
    "alarm": "alarm in {place}",
    "tamper": "tamper",
    "hold-up": "hold-up",
    "duress": "duress, in silence",
    "cleared": "cleared",
    "sound": "{about} sounder asked for",
    "sounds": "{about} sounder sounds",
    "sounds-already": "the sounders sound already",
    "silent": "sounder silent",
    "sounded-enough": "the sounders have sounded as often as they may",
    "sent": "sent to the receiving centre: {about}",
    "abort-window": "abort window begins, nothing is sent yet",
    "aborted": "aborted: nothing is sent",
    "confirmed": "confirmed alarm",
    "unconfirmed": "no second alarm in time: the first is forgotten",
    "left-inhibited": "{about} still stands open, and is inhibited until {place} is unset",
    "trips-forgotten": "the alarms counted are forgotten",
    "fault": "{about} fails",
    "restored": "{about} comes back",
    "power-lost": "all power is lost",
    "power-back": "power is back, inputs are not looked at yet",
    "awake": "inputs are looked at again",
}
CONDITIONS = {
    "open": "a zone stands open",
    "memory": "an alarm is not cleared",
    "tamper": "a tamper is not cleared",
    "hold-up": "a hold-up is not cleared",
    "path": "a path has failed",
    "mains": "mains have failed",
    "battery": "the battery is low",
}
"""What may be in the way of setting, as a clause."""
FEEDS = {"path": "the path", "mains": "mains power", "battery": "the battery"}
"""What may fail and come back."""


def event_words(programme: Programme, event: Event) -> str:
    """Return what happens as a clause: "the owner sets House, stay"."""
    place, who = place_words(programme, event.place), CENTRE_WORDS if event.who == "centre" else event.who
    state = programme.states[event.state]
    match event.kind:
        case "set":
            over = f" although {CONDITIONS[event.over]}" if event.over else ""
            return f"{who} sets {place}, {state}{over}"
        case "unset":
            return f"{who} unsets {place}"
        case "its-time" | "warning-ends":
            over = f" and {CONDITIONS[event.over]}" if event.over else ""
            return f"{f'the time for {place} to set itself comes' if event.kind == 'its-time' else f'the warning of {place} is over'}{over}"
        case "put-off":
            return f"{who} puts off the setting of {place}"
        case "clear":
            return f"{who} clears the alarm of {place}"
        case "clear-latched":
            return f"{who} clears the {event.place}"
        case "activated":
            return f"{place} {_moves(programme, event.place)[0]}"
        case "shut":
            return f"{place} {_moves(programme, event.place)[1]}"
        case "end":
            return f"the time of {place} is over" + (f" and {place_words(programme, event.over)} stands open" if event.over else "")
    others = {
        "lock": f"the lock of {place} is thrown",
        "fault": f"{FEEDS.get(event.place, place)} fails",
        "restored": f"{FEEDS.get(event.place, place)} comes back",
        "power-lost": "mains and battery are gone",
        "power-back": "mains come back",
        "awake": "the time after power came back is over",
        "midnight": "midnight passes",
        "others-set": "the last of the other areas is set",
        "others-unset": "one of the other areas is unset",
        "others-stir": "something changes in the other areas, all of them set",
        "report-ends": f"the reporting time of {place} is over",
        "quiet-ends": f"{place} was quiet for its time",
        "sound-ends": f"the sounders' time of {place} is over",
        "confirm-ends": f"the confirmation time of {place} is over",
        "tick": "time goes by",
    }
    return others[event.kind]


def output_words(programme: Programme, output: Output) -> str:
    """Return what is given out as a clause."""
    known = {"prevented": CONDITIONS, "override": CONDITIONS, "fault": FEEDS, "restored": FEEDS}.get(output.word, {})
    about = known.get(output.about)
    if output.word == "sent":
        about = plain_words(output.about)
    return OUTPUTS[output.word].format(place=place_words(programme, output.place), about=about or place_words(programme, output.about))


def follow_words(programme: Programme, event: Event, outputs: tuple[Output, ...]) -> tuple[str, ...]:
    """Return what an event gives out, a clause each: none twice, and none that the event says itself."""
    said = event_words(programme, event)
    return tuple(words for words in dict.fromkeys(output_words(programme, each) for each in outputs) if words != said)


def told(programme: Programme, event: Event, outputs: tuple[Output, ...]) -> str:
    """Return an event and what it gives out as one clause, with nothing said twice."""
    said = event_words(programme, event)
    first, follows = f"{said[:1].upper()}{said[1:]}", follow_words(programme, event, outputs)
    return f"{first}: {'; '.join(follows)}" if follows else first


def state_words(programme: Programme, state: Mapping[str, int]) -> list[str]:
    """Return how the areas stand, a line each."""
    lines = []
    for name, area in programme.areas.items():
        mode = state[f"{name}.mode"]
        part = f", {programme.states[state[f'{name}.part']]}" if mode else ""
        memory = ", an alarm not cleared" if state.get(f"{name}.memory") else ""
        lines.append(f"{area.name}: {MODES[mode]}{part}{memory}")
    return lines


def place_words(programme: Programme, place: str) -> str:
    """Return an area by its name, a zone by its number and text, anything else as it is said."""
    if place in programme.areas:
        return programme.areas[place].name
    return programme.zones[place].text or place if place in programme.zones else place


def _moves(programme: Programme, zone: str) -> tuple[str, str]:
    """Return how it is said that a zone is activated, and that it is no longer: a door opens, a hold-up device is operated."""
    plan = programme.zones.get(zone)
    if plan is not None and Response.HOLD_UP in plan.does:
        return "is operated", "is put back"
    if plan is None or not plan.contact or Response.TAMPER in plan.does:
        return "is activated", "restores"
    return "opens", "shuts"
