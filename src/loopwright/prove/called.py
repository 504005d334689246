"""The sentences of a board: wrong zones and exchanged ones, wrong kinds, what did not arrive, restores to be chased, codes and areas."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta

from loopwright.job.document import Job
from loopwright.job.sheet import Kind as Equipment
from loopwright.power.forecast import label_of
from loopwright.prove.call import About, Call
from loopwright.prove.heard import BY_HAND, Heard
from loopwright.prove.kind import OF_A_ZONE
from loopwright.prove.match import Window
from loopwright.prove.report import Expected
from loopwright.signalling.moment import AHEAD_S, BEHIND_S, in_time
from loopwright.signalling.received import Polled

NOTHING_S, RESTORE_S = 45.0, 60.0
"""So long after an act nothing having arrived, or an alarm not having restored, is called out (judgement)."""
SOON_S = 5.0
LATE_POLL = 1.5
"""A poll is late after so many times its interval (judgement)."""
_DONE = {Equipment.CONTACT: "opened", Equipment.HOLD_UP: "operated"}


def done_words(job: Job, device: str, act: str) -> str:
    """Return an act as it is told to whoever did it."""
    named = f"the {label_of(job, device)}"
    if act == "lid":
        return f"opened the lid of {named}"
    if act == "mask":
        return f"covered {named}"
    return f"{_DONE.get(job.sheet_of(device).kind, 'walked across')} {named}"


def zone_words(job: Job, number: int) -> str:
    """Return a zone by number and text."""
    text = next((zone.text for zone in job.zones.values() if zone.number == number), "")
    return f"{number} ({text})" if text else str(number)


def _lead(job: Job, window: Window, names: frozenset[str]) -> str:
    """Return what was done as the beginning of a sentence; who did it, where more than one is testing."""
    walked = window.walked
    if walked.sure:
        return f"{walked.by if len(names) > 1 else 'You'} {done_words(job, walked.device, walked.act)}"
    return f"The walk comes to the {label_of(job, walked.device)}"


def _numbers(numbers: Sequence[int]) -> str:
    found = [str(each) for each in sorted(numbers)]
    return found[0] if len(found) == 1 else f"{', '.join(found[:-1])} and {found[-1]}"


def of_windows(job: Job, acts: Sequence[Window], now: datetime) -> Iterator[Call]:
    """Yield what acts call out, in the order they were done; what a later act at the same device proved is over."""
    strays = {at: stray for at, each in enumerate(acts) if not each.own and (stray := _stray(job, each)) is not None}
    open_strays = {at: stray for at, stray in strays.items() if not _mended(acts, at)}
    moved = {acts[at].walked.device: (acts[at], stray) for at, stray in open_strays.items()}
    rounds = _rounds(moved)
    for members in rounds:
        yield _exchanged(job, [moved[each] for each in members])
    told = {device for members in rounds for device in members}
    names = frozenset(each.walked.by for each in acts if each.walked.sure)
    for at, window in enumerate(acts):
        over = _mended(acts, at)
        if at in strays:
            if window.walked.device not in told or over:
                yield _wrong_zone(job, window, strays[at], names, over)
        elif window.own and window.met is None:
            yield _wrong_kind(job, window, names, over)
        elif not window.own and window.walked.sure and _silent(window, now):
            yield _nothing(job, window, names, over)


def _stray(job: Job, window: Window) -> Heard | None:
    """Return the event of another zone an act led to: of one the design has, before any other."""
    known = {zone.number for zone in job.zones.values()}
    return next((each for each in window.others if each.zone in known), None)


def _mended(acts: Sequence[Window], at: int) -> bool:
    """Return whether a later act of the same kind at the same device was reported as it should be."""
    this = acts[at].walked
    return any(each.met is not None and (each.walked.device, each.walked.act) == (this.device, this.act) for each in acts[at + 1 :])


def _silent(window: Window, now: datetime) -> bool:
    ends = window.ends or now
    return ends - window.begins >= timedelta(seconds=SOON_S if window.ends else NOTHING_S)


def _rounds(moved: Mapping[str, tuple[Window, Heard]]) -> list[list[str]]:
    """Return the devices whose zones have gone round among them: each reports by the zone of the next."""
    by_zone = {zone: device for device, (window, _) in moved.items() for zone in window.zones}
    found: list[list[str]] = []
    seen: set[str] = set()
    for device in moved:
        chain = [device]
        while (after := by_zone.get(moved[chain[-1]][1].zone or -1)) is not None and after not in chain:
            chain.append(after)
        whole = by_zone.get(moved[chain[-1]][1].zone or -1) == device and len(chain) > 1
        if whole and not seen & set(chain):
            seen |= set(chain)
            found.append(chain)
    return found


def _exchanged(job: Job, members: list[tuple[Window, Heard]]) -> Call:
    zones = tuple(sorted(stray.zone or 0 for _, stray in members))
    each = "; ".join(f"the {label_of(job, window.walked.device)} reports as {stray.zone}" for window, stray in members)
    how = "are exchanged" if len(members) == 2 else "have gone round"
    circuits = [zone.circuit or "" for zone in job.zones.values() if zone.number in zones]
    inputs = [job.circuits[name].input for name in circuits if name in job.circuits]
    where = f" Look at inputs {_words(inputs)}: their pairs have changed places" if all(inputs) else " Their pairs have changed places"
    return Call(
        about=About.SWAPPED, at=max(stray.at for _, stray in members), zones=zones,
        devices=tuple(window.walked.device for window, _ in members), sure=all(window.walked.sure for window, _ in members),
        sentence=f"Zones {_numbers(zones)} {how}: {each}.{where}, or the zones in the programme have.",
    )  # fmt: skip


def _words(inputs: Sequence[str | None]) -> str:
    found = sorted({str(each) for each in inputs})
    return " and ".join(found)


def _wrong_zone(job: Job, window: Window, stray: Heard, names: frozenset[str], over: bool) -> Call:  # noqa: FBT001
    zone = stray.zone or 0
    other = next((name for name, each in job.zones.items() if each.number == zone), "")
    behind = next((hop.device for hop in job.circuits[job.zones[other].circuit or ""].path if hop.device), "") if _has(job, other) else ""
    design = f"the design says {_numbers(sorted(window.zones))}" if window.zones else "the design gives it no zone"
    tail = "" if window.walked.sure else " If you were elsewhere, say where."
    hint = (
        f" Try the {label_of(job, behind)} next: if it reports as {_numbers(sorted(window.zones))}, the two are exchanged."
        if (behind and window.zones and window.walked.sure)
        else ""
    )
    return Call(
        about=About.WRONG_ZONE, at=stray.at, zones=(zone, *sorted(window.zones)), devices=(window.walked.device,), act=window.walked.act,
        sure=window.walked.sure, over=over, sentence=f"{_lead(job, window, names)}; zone {zone} reported; {design}.{tail}{hint}",
    )  # fmt: skip


def _has(job: Job, zone: str) -> bool:
    return bool(zone) and job.zones[zone].circuit in job.circuits


def _wrong_kind(job: Job, window: Window, names: frozenset[str], over: bool) -> Call:  # noqa: FBT001
    first = window.own[0]
    wanted = " or ".join(f"{_a(kind)} {kind}" for kind in sorted(window.kinds))
    return Call(
        about=About.WRONG_KIND, at=first.at, zones=(first.zone or 0,), devices=(window.walked.device,), act=window.walked.act,
        sure=window.walked.sure, over=over,
        sentence=f"{_lead(job, window, names)}; zone {first.zone} reported {_a(first.kind)} {first.kind}; the design says {wanted}.",
    )  # fmt: skip


def _a(word: str) -> str:
    return "an" if word[:1] in "aeiou" else "a"


def _nothing(job: Job, window: Window, names: frozenset[str], over: bool) -> Call:  # noqa: FBT001
    zones = f"zone {_numbers(sorted(window.zones))}" if window.zones else "no zone"
    wanted = " or ".join(f"{_a(kind)} {kind}" for kind in sorted(window.kinds))
    return Call(
        about=About.NOTHING, at=window.begins, zones=tuple(sorted(window.zones)), devices=(window.walked.device,), act=window.walked.act,
        sure=window.walked.sure, over=over,
        sentence=f"{_lead(job, window, names)}; nothing reported; the design says {wanted} of {zones}.",
    )  # fmt: skip


def of_events(job: Job, expected: Sequence[Expected], events: Sequence[Heard], now: datetime) -> Iterator[Call]:
    """Yield what events call out by themselves: no such zone, another code or area, and restores that are missing."""
    known = {zone.number: name for name, zone in job.zones.items()}
    told_of: set[tuple[About, int]] = set()
    for event in events:
        if event.kind not in OF_A_ZONE or event.zone is None:
            continue
        if event.zone not in known:
            told = f"Zone {event.zone} reported {_a(event.kind)} {event.kind}; the design has no zone {event.zone}."
            found = [Call(about=About.NO_ZONE, at=event.at, sentence=told, zones=(event.zone,))]
        else:
            found = list(_told_otherwise(job, expected, event))
        for call in found:
            # Once of each zone: the table of the programme is what is to be looked at.
            if (call.about, event.zone) not in told_of:
                told_of.add((call.about, event.zone))
                yield call
    yield from _unrestored(job, events, known, now)


def _told_otherwise(job: Job, expected: Sequence[Expected], event: Heard) -> Iterator[Call]:
    wanted = next((e for e in expected if e.number == event.zone and e.kind is event.kind and e.restored == event.restored), None)
    where = f"Zone {zone_words(job, event.zone or 0)}"
    if wanted is not None and event.code and event.code not in (*wanted.contact_id, *wanted.dc03):
        usual = wanted.contact_id if event.code.isdigit() else wanted.dc03
        told = f"{where} reported code {event.code}; the table says {usual[0] if usual else 'nothing'}."
        yield Call(about=About.WRONG_CODE, at=event.at, sentence=told, zones=(event.zone or 0,))
    if wanted is not None and event.area is not None and wanted.areas and event.area not in wanted.areas:
        told = f"{where} reported for area {event.area}; the design has it in {wanted.area_words} ({_numbers(wanted.areas)})."
        yield Call(about=About.WRONG_AREA, at=event.at, sentence=told, zones=(event.zone or 0,))


def unrestored(events: Sequence[Heard]) -> dict[tuple[int, str], Heard]:
    """Return by zone and kind the last event that is not over."""
    found: dict[tuple[int, str], Heard] = {}
    for event in events:
        if event.kind in OF_A_ZONE and event.zone is not None:
            found.pop((event.zone, event.kind), None)
            if not event.restored:
                found[event.zone, event.kind] = event
    return found


def _unrestored(job: Job, events: Sequence[Heard], known: Mapping[int, str], now: datetime) -> Iterator[Call]:
    for (zone, kind), event in unrestored(events).items():
        waited = (now - event.at).total_seconds()
        if zone in known and waited >= RESTORE_S:
            minutes = f"{waited / 60:.0f} min" if waited >= 120 else f"{waited:.0f} s"
            told = f"Zone {zone_words(job, zone)} has not restored its {kind} for {minutes}: shut it, or look why it stays."
            yield Call(about=About.NO_RESTORE, at=event.at, sentence=told, zones=(zone,))


def of_accounts(events: Sequence[Heard], accounts: frozenset[str]) -> Iterator[Call]:
    """Yield an account that reports and stands on no set-up sheet, once; nothing where no sheet names one."""
    strange = {each.account: each for each in events if accounts and each.account and each.account not in accounts}
    for account, event in strange.items():
        listed = " or ".join(sorted(accounts))
        told = f"Reports come as account {account}; the set-up sheet says {listed}: the centre files them under another site."
        yield Call(about=About.ACCOUNT, at=event.at, sentence=told)


def of_the_way(events: Sequence[Heard], repeats: Sequence[Heard], now: datetime) -> Iterator[Call]:
    """Yield what is to be said of the clock, of what came again and of changed paths."""
    off = max((each for each in events if each.skew_s is not None), key=lambda each: abs(each.skew_s or 0.0), default=None)
    if off is not None and off.skew_s is not None and not in_time(off.skew_s):
        way = "ahead" if off.skew_s > 0 else "behind"
        limits = f"{AHEAD_S:.0f} s ahead or {BEHIND_S:.0f} s behind"
        told = f"The unit's clock was {abs(off.skew_s):.0f} s {way}: set it. With encryption, more than {limits} is refused."
        yield Call(about=About.CLOCK, at=off.at, sentence=told)
    again = [each for each in events if each.repeats]
    many = max(sum(each.repeats for each in again), len(repeats))
    if many:
        lead = "1 message came again and counts once" if many == 1 else f"{many} messages came again and count once"
        told = f"{lead}: the acknowledgement was lost on the way, or came too late for the sender."
        yield Call(about=About.REPEATED, at=(repeats or again)[-1].at, sentence=told)
    ways = [each for each in events if each.by != BY_HAND]
    # Of two paths that take turns, when it was last.
    for before, after in {(one.by, two.by): (one, two) for one, two in zip(ways, ways[1:], strict=False)}.values():
        if before.by != after.by:
            told = f"From {after.at.astimezone(now.tzinfo):%H:%M:%S} events come by {after.by}, before that by {before.by}."
            yield Call(about=About.PATH, at=after.at, sentence=told)


def of_polls(events: Sequence[Heard], polled: Sequence[Polled], poll_s: float | None) -> Iterator[Call]:
    """Yield the paths whose polls came later than the set-up sheet promises; nothing where it promises nothing."""
    last = max((each.at for each in events if each.by != BY_HAND), default=None)
    for path in polled if poll_s else ():
        # What came after the last poll tells that the receiver was still there to hear one.
        quiet_s = max(path.longest_s, (last - path.last_at).total_seconds() if last is not None else 0.0)
        if poll_s and quiet_s > LATE_POLL * poll_s:
            told = f"No poll came by {path.way} {path.peer} for {quiet_s:.0f} s; one is promised every {poll_s:g} s."
            yield Call(about=About.LATE_POLL, at=path.last_at, sentence=told)
