"""Events of DC-03 inside a frame: blocks between bars, packets between strokes, modifiers that stay in force for the codes after them."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from loopwright.signalling.codes import Code, event_codes

BLOCKS = {"N": "new", "O": "old"}
_OTHER_BLOCKS = "ACEPLVXI@?&0123456789#"
MODIFIERS = {
    "da": "date",
    "ti": "time",
    "id": "user",
    "ri": "area",
    "pi": "peripheral",
    "ai": "automated id",
    "ph": "telephone",
    "lv": "level",
    "va": "value",
    "pt": "path",
    "rg": "route group",
    "ss": "sub-subscriber",
}
# A digit beyond 9 only where a stroke follows it: `ri2BA3` is area 2 and a burglary alarm of zone 3, its stroke left out.
_MODIFIER = re.compile(r"([a-z]{2})([0-9:\-]*(?:[A-F][0-9]*(?=/))?)")
_CODE = re.compile(r"([A-Z]{2})([0-9A-Fa-f]*)(?:\*([^/^]*))?(?:\^([^^]*)\^)?(?=/|$)")


@dataclass(frozen=True, kw_only=True, slots=True)
class BlockEvent:
    """One event. ``address`` stays the characters sent: senders write it in base ten as often as in base sixteen."""

    block: str
    code: str
    address: str | None = None
    units: str | None = None
    text: str | None = None
    modifiers: tuple[tuple[str, str], ...] = ()

    @property
    def known(self) -> Code | None:
        """What the table says of the code, if it has it."""
        return event_codes().get(self.code)

    def modifier(self, name: str) -> str | None:
        """Return what was said of an area (``ri``), a user (``id``), ... or None."""
        return dict(self.modifiers).get(name)


def events_in(blocks: list[str]) -> tuple[BlockEvent, ...] | None:
    """Return the events of the blocks, each without its bars; None where a block cannot be read or there is no event.

    A block of text (``A``) belongs to the event before it. Other blocks of the standard carry no event and are left alone.
    """
    events: list[BlockEvent] = []
    for block in blocks:
        kind, rest = block[:1], block[1:]
        if kind in BLOCKS:
            found = _packets(BLOCKS[kind], rest)
            if found is None:
                return None
            events += found
        elif kind == "A" and events:
            events[-1] = replace(events[-1], text=rest if events[-1].text is None else f"{events[-1].text} {rest}")
        elif not kind or kind not in _OTHER_BLOCKS:
            return None
    return tuple(events) or None


def _packets(block: str, text: str) -> list[BlockEvent] | None:
    events, place = [], 0
    modifiers: dict[str, str] = {}
    while place < len(text):
        if text[place] == "/":
            place += 1
        elif found := _MODIFIER.match(text, place):
            modifiers[found[1]] = found[2]
            place = found.end()
        elif found := _CODE.match(text, place):
            events.append(
                BlockEvent(
                    block=block,
                    code=found[1],
                    address=found[2] or None,
                    units=found[3],
                    text=found[4],
                    modifiers=tuple(modifiers.items()),
                )
            )
            place = found.end()
        else:
            return None
    return events or None
