"""Rehearsal: what the search found, its stories step by step on a time line, and a sandbox in which people act by name."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from loopwright.drawing.story_line import story_line
from loopwright.rehearse.plan import NotCoveredError
from loopwright.rehearse.promise import PROMISES, Broken
from loopwright.rehearse.sandbox import MOST_ACTS, NEXT, WAIT, Stand, play, switched, written
from loopwright.rehearse.state import Event
from loopwright.web.page import Page
from loopwright.web.rehearsed import verdict_of

ACTS = "~"
"""Parts the acts in an address."""
PEOPLE, DOORS = ("set", "unset", "clear", "clear-latched", "lock"), ("activated", "shut")
GROUPS = {"People": PEOPLE, "Doors, windows and detectors": DOORS}


def view(page: Page) -> Mapping[str, Any]:
    """Return what the rehearsal room shows."""
    asked = dict(page.query.asked)
    # A story has its own address: it is waited for.
    told = verdict_of(page, at_once="story" in asked)
    story, at = _number(asked.get("story", "")), _number(asked.get("step", ""))
    verdict = told["verdict"]
    broken = verdict.found.broken if verdict and verdict.found else ()
    return {
        **told,
        "promises": [
            (key, sentence, [_story(number, each, story, at) for number, each in enumerate(broken) if each.promise == key])
            for key, sentence in PROMISES.items()
        ],
        "sandbox": _sandbox(page, tuple(act for act in asked.get("acts", "").split(ACTS) if act)),
    }


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 4 else None


def _story(number: int, each: Broken, chosen: int | None, at: int | None) -> dict[str, Any]:
    """Return a broken promise; of the story that is played, how far it has come."""
    count = len(each.story)
    step = min(at or 1, count) if chosen == number else None
    return {
        "number": number,
        "sentence": each.sentence,
        "scenes": each.story,
        "step": step,
        "line": story_line([scene.at_s for scene in each.story], step),
        "next": f"./rehearsal?story={number}&step={step + 1}#story:{number}" if step is not None and step < count else "",
        "back": f"./rehearsal?story={number}&step={step - 1}#story:{number}" if step is not None and step > 1 else "",
        "play": f"./rehearsal?story={number}&step=1#story:{number}",
    }


def _sandbox(page: Page, acts: tuple[str, ...]) -> dict[str, Any]:
    """Return where the sandbox stands after the acts of the address, and what can be done next, each as an address of its own."""
    try:
        stand = play(page.job, acts)
    except NotCoveredError as reason:
        return {"refused": f"There is nothing to try yet: {reason}."}
    except ValueError:
        return {"refused": "What was done before cannot be done in the programme as it is now.", "again": True}
    if len(acts) >= MOST_ACTS:
        return {"refused": f"{MOST_ACTS} acts are as far as one try goes.", "again": True}
    return {
        "refused": "",
        "stand": stand,
        "switched": switched(page.job, stand),
        "line": story_line([each.at_s for each in stand.log]),
        "groups": _groups(stand, acts),
        "time": [(words, _address((*acts, act))) for words, act in _waits(stand)],
        "back": _address(acts[:-1]) if acts else "",
    }


def _waits(stand: Stand) -> list[tuple[str, str]]:
    found = [(words, f"{WAIT}|{time}") for words, time in (("10 seconds go by", 10), ("1 minute goes by", 60), ("10 minutes go by", 600))]
    return [("Until the next time is over", NEXT), *found] if stand.runs else found


def _groups(stand: Stand, acts: tuple[str, ...]) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return what can be done, by who or what does it."""
    found: dict[str, list[tuple[str, str]]] = {**{name: [] for name in GROUPS}, "Mains, battery, path": []}
    for event, words in stand.possible():
        found[_group(event)].append((words[:1].upper() + words[1:], _address((*acts, written(event)))))
    return [(name, rows) for name, rows in found.items() if rows]


def _group(event: Event) -> str:
    return next((name for name, kinds in GROUPS.items() if event.kind in kinds), "Mains, battery, path")


def _address(acts: tuple[str, ...]) -> str:
    return f"./rehearsal?acts={quote(ACTS.join(acts), safe='|~')}#sandbox" if acts else "./rehearsal#sandbox"
