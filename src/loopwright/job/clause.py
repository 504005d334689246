"""What is said of one thing that differs between two jobs."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any, NamedTuple

from loopwright.job.difference import Act, Difference, Step, row_of
from loopwright.job.document import Cable, Equipment, Hop
from loopwright.job.labels import label_at, label_in
from loopwright.job.shape import FieldShape, ListShape, MapShape, RecordShape, Shape, TextShape, job_shape, record_shape
from loopwright.job.speech import Speech, listed, several

MOST_SAID = 3
MOST_FIELDS = 6


class Clause(NamedTuple):
    """What is said of a field: ``plain`` behind a colon, ``verb`` right after the row's name where the trade has a verb for it.

    ``label`` and ``moved`` are the parts of it for a sentence over many rows; the label is empty where there is no such sentence.
    """

    plain: str
    verb: str = ""
    label: str = ""
    moved: str = ""


class Teller:
    """Says the steps of one difference."""

    def __init__(self, found: Difference) -> None:
        """Take the difference; the earlier job speaks of what was, the later of what is."""
        self.found = found
        self.was, self.now = Speech(found.was), Speech(found.now)

    def name(self, step: Step) -> str:
        """Return what a whole row is called."""
        speech, record = (self.now, step.now) if step.act is not Act.REMOVED else (self.was, step.was)
        if step.path.startswith("observations/"):
            return f"{record.at}, {record.by}, {record.where}: {record.reading}"
        if step.path.startswith("zones/"):
            return f"{speech.row(step.path)} ({record.text})"
        if step.path.startswith("storeys/"):
            return str(record.name)
        return speech.row(step.path)

    def whole(self, step: Step, hops: Sequence[Step] = ()) -> str:
        """Return the sentence for a row that is in one of the jobs only; ``hops`` are the steps of circuits that reach it."""
        if step.path.startswith("observations/"):
            return f"Observation {'added' if step.act is Act.ADDED else 'taken out'}: {self.name(step)}."
        if step.act is Act.REMOVED:
            return f"{_capital(self._subject(step))} taken out."
        details = ", ".join(self._details(step.now))
        circuits = listed(dict.fromkeys(f"circuit {hop.path.split('/')[1]}" for hop in hops))
        return f"{_capital(self._subject(step))} added{f' {details}' if details else ''}{f', on {circuits}' if circuits else ''}."

    def _subject(self, step: Step) -> str:
        return f"room {self.name(step)}" if step.path.count("/") == 3 and step.path.startswith("storeys/") else self.name(step)

    def _details(self, record: Any) -> list[str]:  # noqa: ANN401 - a record of any part
        """Return where a new row is, in a few words."""
        if isinstance(record, Equipment):
            place = [f"in {self.now.room(record.room)}"] if record.room else []
            return [*place, f"data sheet {record.sheet}"]
        if isinstance(record, Cable):
            length = self.now.value(record_shape(Cable).fields["length_m"].shape, record.length_m)
            ends = f"from {self.now.equipment(record.start)} to {self.now.equipment(record.end)}"
            return [ends, f"{length} of {record.sheet}"]
        return []

    def moved_room(self, old: Step, new: Step) -> str:
        """Return the sentence for a room that is in another storey."""
        before, after = (step.path.split("/")[1] for step in (old, new))
        names = (self.was.job.storeys[before].name, self.now.job.storeys[after].name)
        return f"Room {new.now.name} moved from {names[0]} to {names[1]}."

    def renamed(self, part: str, pairs: Sequence[tuple[str, str]]) -> str:
        """Return the sentence for rows of a part with other ids."""
        if len(pairs) > 1:
            return f"{several(part, len(pairs))} renamed: {listed(f'{old} to {new}' for old, new in pairs)}."
        (old, new), one = pairs[0], several(part, 1).removeprefix("1 ")
        label = self.now.job.equipment[new].label if part == "equipment" and new in self.now.job.equipment else ""
        return f"{_capital(one)} {old}{f' ({label})' if label else ''} renamed {new}."

    def row(self, path: str, clauses: Sequence[Clause]) -> str:
        """Return the sentence for one row that was changed."""
        subject = self.now.row(path)
        if not subject:
            return "; ".join(_capital(each.plain) for each in clauses) + "."
        verbs = [each.verb for each in clauses if each.verb]
        rest = _short([each.plain for each in clauses if not each.verb])
        if verbs:
            return f"{_capital(subject)} {' and '.join(verbs)}{'; ' if rest else ''}{'; '.join(rest)}."
        return f"{_capital(subject)}: {'; '.join(rest)}."

    def alike(self, part: str, paths: Sequence[str], clauses: Sequence[Clause]) -> str:
        """Return the sentence for rows that were changed in the same way."""
        names = listed(self._bare(part, path) for path in paths)
        if len(clauses) == 1 and clauses[0].label:
            return f"{_capital(clauses[0].label)} of {several(part, len(paths))}: {clauses[0].moved} ({names})."
        return f"{several(part, len(paths))} alike: {'; '.join(_short([each.plain for each in clauses]))} ({names})."

    def same_field(self, part: str, rows: Sequence[tuple[str, Clause]]) -> str:
        """Return the sentence for rows that were changed in the same one field."""
        each = listed((f"{self._bare(part, path)} {clause.moved}" for path, clause in rows), most=MOST_FIELDS)
        return f"{_capital(rows[0][1].label)} of {several(part, len(rows))}: {each}."

    def _bare(self, part: str, path: str) -> str:
        return self.now.row(path).removeprefix(f"{several(part, 1).removeprefix('1 ')} ")

    def clause(self, step: Step) -> Clause:
        """Return what is said of one step inside a row, or of a field that stands by itself."""
        declared, shape = _declared(step.path)
        label = self._label(step.path)
        if step.act is not Act.CHANGED:
            return self._put(step, shape, label)
        if step.was == step.now:
            said = self._words(shape, step)[1]
            assumed = "" if _is_empty(step.now) else f", {said} as was assumed" if step.is_said else f"; {said} is assumed now"
            return Clause(f"{label}: {'written down now' if step.is_said else 'no longer written down'}{assumed}")
        if isinstance(shape, ListShape):
            return self._ticked(shape, step, label)
        was, now = self._words(shape, step)
        if isinstance(shape, TextShape) and step.was and step.now and "…" in was + now:
            return Clause(f"{label} rewritten: {now}")
        moved = f"{now} instead of {was}"
        if _is_empty(step.now):
            moved = f"nothing any more, {was} before"
        elif _is_empty(step.was):
            moved = now
        elif not step.was_said and _may_be_silent(declared):
            moved = f"{now} instead of the {was} assumed"
        elif not step.is_said and _may_be_silent(declared):
            moved = f"{now} as assumed, {was} before"
        return Clause(f"{label}: {moved}", self._verb(step, was, now), label, moved)

    def _label(self, path: str) -> str:
        """Return the words for a place, with those of the entry or block it stands in: supply output, aux-1, most current it may give."""
        above, _, _ = path.rpartition("/")
        own = label_at(path)
        if above == row_of(path) or path == row_of(path) or not isinstance(_declared(above)[1], RecordShape | MapShape):
            return own
        outer = label_at(above)
        return own if own == outer or own.startswith(f"{outer},") else f"{outer}, {own}"

    def _words(self, shape: Shape | None, step: Step) -> tuple[str, str]:
        if shape is None:
            return str(step.was), str(step.now)
        was, now = self.was.value(shape, step.was), self.now.value(shape, step.now)
        if was == now:
            was, now = self.was.value(shape, step.was, fine=True), self.now.value(shape, step.now, fine=True)
        return was, now

    def _verb(self, step: Step, was: str, now: str) -> str:
        """Return what the trade says of a field that was changed, where it has a verb for it."""
        head, last = step.path.split("/")[0], step.path.rpartition("/")[2]
        if _is_empty(step.was) or _is_empty(step.now) or not step.was_said or not step.is_said:
            return ""
        match head, last:
            case "cables", "length_m":
                return f"is {now} long instead of {was}"
            case "cables", "start" | "end":
                return f"{last}s at {now} instead of {was}"
            case "equipment", "room":
                return f"moved from {was} to {now}"
            case "cables", "output":
                run = self.now.job.cables[step.path.split("/")[1]]
                return f"feeds {self.now.equipment(run.end)} from {now} instead of {was}"
            case "circuits", "input":
                return f"moved from {was} to {now}"
        return ""

    def _put(self, step: Step, shape: Shape | None, label: str) -> Clause:
        """Return what is said of an entry of a list or a block inside a row that was put in or taken out."""
        added = step.act is Act.ADDED
        speech, value = (self.now, step.now) if added else (self.was, step.was)
        if isinstance(value, Hop):
            way = f"through run {value.cable}" + (f" to {speech.equipment(value.device)}" if value.device else "")
            return Clause(f"{'goes on' if added else 'no longer goes'} {way}", f"{'goes' if added else 'no longer goes'} {way}")
        if shape is not None and not isinstance(shape, RecordShape | MapShape | ListShape):
            said = speech.value(shape, value)
            moved = said if added else f"nothing any more, {said} before"
            return Clause(f"{label}: {moved}", "", label, moved)
        brief = _brief(speech, shape, value)
        return Clause(f"{label} {'put in' if added else 'taken out'}{f' ({brief})' if brief else ''}")

    def _ticked(self, shape: ListShape, step: Step, label: str) -> Clause:
        """Return what is said of a list of names: what is new in it, and what is no longer."""
        old = [self.was.value(shape.item, each) for each in step.was or ()]
        new = [self.now.value(shape.item, each) for each in step.now or ()]
        more, less = [each for each in new if each not in old], [each for each in old if each not in new]
        if not more and not less:
            return Clause(f"{label}: in another order, {listed(new)}")
        said = " and ".join(part for part in (more and f"with {listed(more)}", less and f"without {listed(less)}") if part)
        return Clause(f"{label}: now {said}", "", label, f"now {said}")


def _short(words: Sequence[str]) -> list[str]:
    return list(words) if len(words) <= MOST_FIELDS else [*words[:MOST_FIELDS], f"and {len(words) - MOST_FIELDS} more"]


def _brief(speech: Speech, shape: Shape | None, value: Any) -> str:  # noqa: ANN401
    """Return what an entry says, in a few words."""
    if not isinstance(shape, RecordShape):
        return ""
    parts = []
    for name, declared in shape.fields.items():
        each = getattr(value, name)
        if isinstance(declared.shape, RecordShape | MapShape) or (not declared.required and each == declared.default):
            continue
        parts.append(f"{label_in(shape.record, name)} {speech.value(declared.shape, each)}")
    return ", ".join(parts[:MOST_SAID])


def _declared(path: str) -> tuple[FieldShape | None, Shape | None]:
    """Return the field at a path, None for an entry of a mapping or list, and the shape of what stands there."""
    shape: Shape | None = job_shape()
    declared: FieldShape | None = None
    for name in path.split("/"):
        declared = None
        match shape:
            case RecordShape() if name in shape.fields:
                declared = shape.fields[name]
                shape = declared.shape
            case MapShape():
                shape = shape.value
            case ListShape():
                shape = shape.item
            case _:
                return None, None
    return declared, shape


def _may_be_silent(declared: FieldShape | None) -> bool:
    return declared is not None and not declared.required


def _is_empty(value: Any) -> bool:  # noqa: ANN401
    return value is None or (not dataclasses.is_dataclass(value) and value in ("", (), {}))


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
