"""How everything stands: proved or not and by what, at the laptop and at the receiving centre, and the gaps that keep a certificate back.

What arrived at a laptop proves the unit and its wiring. A signal is proved only by what the receiving centre says of it, with its own time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from enum import StrEnum

from loopwright.job.document import Job, YesNoUnknown
from loopwright.job.sheet import Kind
from loopwright.power.forecast import label_of
from loopwright.prove.board import Board
from loopwright.prove.heard import BY_HAND, Heard
from loopwright.prove.item import Group, Item, Proof
from loopwright.prove.judged import Judged, judged
from loopwright.prove.radio import proved as radio_proved
from loopwright.prove.record import AtCentre, Entry, Record, Signed, Tool


class Stand(StrEnum):
    """How one thing stands."""

    PROVED = "proved"
    WRONG = "not as it should be"
    OPEN = "open"
    SIGNED = "signed for"


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """One thing and how it stands. ``event`` is what the unit reported, ``entry`` what was typed, ``judged`` what that comes to.

    ``centre`` is what the receiving centre told, of a signal; ``baseline`` is what was read of it when it was proved last.
    """

    item: Item
    stand: Stand
    event: Heard | None = None
    entry: Entry | None = None
    judged: Judged | None = None
    centre: AtCentre | None = None
    signed: Signed | None = None
    tool: Tool | None = None
    baseline: Entry | None = None

    @property
    def gap(self) -> bool:
        """Return whether it keeps a certificate from being issued."""
        return self.item.wanted and self.stand in (Stand.WRONG, Stand.OPEN)


def standings(items: Sequence[Item], record: Record, board: Board, before: Record | None = None) -> tuple[Standing, ...]:
    """Return how everything stands, in the order of the items."""
    entries, signed, centre = record.standing, record.gaps_signed, record.told_by_centre
    tools = {each.id: each for each in record.tools}
    baseline = before.standing if before is not None else {}
    # One that is lost proves nothing of the device that takes its place.
    radio = {row.what: row for row in record.radio_rows if row.kind == "device" and not row.gone}
    radio_before = {row.identity: row for row in before.radio_rows} if before is not None else {}
    out = []
    for item in items:
        entry = entries.get(item.key)
        event = board.proved.get(item.key) or board.arrived.get(item.key)
        tool = tools.get(entry.tool) if entry is not None else None
        found = _judged(item, entry, tool)
        stand = _stand(item, event, found, centre.get(item.key))
        if item.proof is Proof.RADIO:
            row = radio.get(item.subject.partition("/")[2])
            stand = Stand.PROVED if row is not None and radio_proved(row, radio_before.get(row.identity)) else Stand.OPEN
        by_name = signed.get(item.key)
        if stand in (Stand.OPEN, Stand.WRONG) and by_name is not None:
            stand = Stand.SIGNED
        out.append(
            Standing(
                item=item, stand=stand, event=event, entry=entry, judged=found, centre=centre.get(item.key),
                signed=by_name if stand is Stand.SIGNED else None, tool=tool, baseline=baseline.get(item.key),
            )
        )  # fmt: skip
    return tuple(out)


def _judged(item: Item, entry: Entry | None, tool: Tool | None) -> Judged | None:
    if entry is None:
        return None
    try:
        return judged(item, entry, tool)
    except ValueError as error:
        # The item has changed since: what was typed is kept and shown, and proves nothing.
        return Judged(right=False, sentence=str(error))


def _stand(item: Item, event: Heard | None, found: Judged | None, centre: AtCentre | None) -> Stand:
    if item.proof is Proof.SIGNAL:
        if centre is None:
            return Stand.OPEN
        return Stand.PROVED if centre.answer == "yes" and centre.time else Stand.WRONG
    if found is not None:
        return Stand.WRONG if found.right is False else Stand.PROVED
    return Stand.PROVED if event is not None else Stand.OPEN


def at_laptop(standing: Standing) -> Heard | None:
    """Return what arrived of a signal at the laptop over the network; what was tapped off a keypad is no signal."""
    return standing.event if standing.event is not None and standing.event.by != BY_HAND else None


def not_there(found: Sequence[Standing], zone: tzinfo | None) -> tuple[str, ...]:
    """Return of every signal the receiving centre did not get where it was lost, a sentence each: before the laptop or after it."""
    out = []
    for each in found:
        if each.centre is not None and each.centre.answer == "no":
            here = at_laptop(each)
            lead = f"{each.item.where}: {each.item.act}"
            if here is not None:
                at = here.at.astimezone(zone)
                out.append(f"{lead} arrived here at {at:%H:%M:%S}: unit and wiring are right; look at path, account, key and clock.")
            else:
                out.append(f"{lead} did not arrive here either: it was never sent. Look at its cell in the programme, then at the wire.")
    return tuple(out)


@dataclass(frozen=True, kw_only=True, slots=True)
class Progress:
    """How many of a group are proved or signed for, of how many; how many of these are only signed for; how many are wrong."""

    group: Group
    done: int
    of: int
    wrong: int
    signed: int = 0

    @property
    def proved(self) -> int:
        """Return how many are proved: what is signed for is not."""
        return self.done - self.signed


def progress(found: Sequence[Standing]) -> tuple[Progress, ...]:
    """Return how far each group has got; what is kept only when it was done does not count."""
    out = []
    for group in Group:
        own = [each for each in found if each.item.group is group and each.item.wanted]
        if own:
            wrong = sum(each.stand is Stand.WRONG for each in own)
            signed = sum(each.stand is Stand.SIGNED for each in own)
            out.append(Progress(group=group, done=sum(not each.gap for each in own), of=len(own), wrong=wrong, signed=signed))
    return tuple(out)


def gaps(found: Sequence[Standing]) -> tuple[Standing, ...]:
    """Return what keeps a certificate from being issued."""
    return tuple(each for each in found if each.gap)


@dataclass(frozen=True, kw_only=True, slots=True)
class Gate:
    """One thing to be so before the day can be closed."""

    key: str
    words: str


TO_NOTE = {
    "gate:off-test": "Off test: write the centre's own time, or who said it.",
    "gate:isolations": "Isolations and inhibited zones: write which, or none.",
}
"""What of leaving takes more than a yes: what is to be written."""


def leaving(job: Job) -> tuple[Gate, ...]:
    """Return what must be so before the day is closed: off test, isolations, lids, batteries, codes from the factory."""
    out = [
        Gate(key="gate:off-test", words="Off test: the receiving centre has said so, and its time."),
        Gate(key="gate:receiver", words="The unit reports to the receiving centre again, and no more to this laptop."),
        Gate(key="gate:isolations", words="Isolations and inhibited zones left: which, or none."),
        Gate(key="gate:lids", words="Every lid is on and screwed."),
    ]
    for name in job.equipment:
        if job.sheet_of(name).supply is not None and job.equipment[name].battery is not None:
            out.append(Gate(key=f"gate:battery:{name}", words=f"Battery connected and mains on: {label_of(job, name)}."))
        if job.sheet_of(name).kind is Kind.CONTROL:
            known = job.equipment[name].default_codes_changed is YesNoUnknown.YES
            told = ", as the job says, and looked at again" if known else ""
            out.append(Gate(key=f"gate:codes:{name}", words=f"Factory codes changed: {label_of(job, name)}{told}."))
    return tuple(out)


def shut(job: Job, record: Record, board: Board) -> tuple[str, ...]:
    """Return what keeps the day from being closed, a sentence each."""
    said = record.standing
    left = [gate.words for gate in leaving(job) if said.get(gate.key) is None or said[gate.key].answer == "no"]
    left += [words for key, words in TO_NOTE.items() if (entry := said.get(key)) is not None and entry.answer == "yes" and not entry.note]
    left += [f"Zone {zone} has not restored its {kind}." for zone, kind in board.waiting]
    return tuple(left)
