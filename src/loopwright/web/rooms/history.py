"""The history: what was done by whom and when, names given to revisions, and the difference between any two, told."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from loopwright.appraisal.difference import Story, Told, story
from loopwright.job.difference import Act
from loopwright.job.sentence import Sentence
from loopwright.store.chronicle import USUAL_MARKS, Burst, Entry, Kind, bursts, day_words, entries_of, span_words
from loopwright.store.file import StoreError
from loopwright.store.store import PAGE, Mark, Revision
from loopwright.values.error import JobError
from loopwright.values.figure import show
from loopwright.values.finding import Finding, Severity
from loopwright.web.dictionary import value_at
from loopwright.web.page import SEVERITY_WORDS, Page
from loopwright.web.place import link_to_cell

if TYPE_CHECKING:
    from loopwright.web.past import Past

MOST_FIGURES, MOST_FINDINGS, MOST_SENTENCES = 12, 12, 60
NOTHING = "Nothing differs."
COMMENTS = "Only comments, layout or the way values are written differ; the job says the same."


def view(page: Page) -> Mapping[str, Any]:
    """Return what the history shows."""
    asked, past = dict(page.query.asked), page.past
    try:
        revisions = () if past is None else past.revisions(before=_before(asked), most=PAGE)
        marks = () if past is None else past.marks()
        told = _told(page, past, marks) if past is not None and revisions else None
    except StoreError as error:
        return {"trouble": str(error), "kept": False}
    entries = entries_of(revisions, marks, page.job)
    return {
        "trouble": "",
        "kept": past is not None and bool(page.state.revision) and (bool(revisions) or bool(asked.get("before"))),
        "now": page.state.revision,
        "days": _days(entries),
        "marks": marks,
        "usual": [name for name in USUAL_MARKS if name not in {mark.name for mark in marks}],
        "told": told,
        "picked": _number(past, asked.get("pick", "")),
        "before": asked.get("before", ""),
        "older": revisions[-1].number if revisions and revisions[-1].number > 1 else 0,
        "address": address,
        "can_go_back": lambda entry: entry.number != page.state.revision and entry.kind is not Kind.REASON,
    }


def address(**asked: object) -> str:
    """Return the address of the history with something asked of it; what is empty is left out.

    >>> address(**{"from": 3, "to": 5, "before": ""})
    './history?from=3&to=5'
    """
    said = {name: value for name, value in asked.items() if value not in ("", 0, None)}
    return "./history" + (f"?{urlencode(said)}" if said else "")


def _before(asked: Mapping[str, str]) -> int | None:
    said = asked.get("before", "")
    return int(said) if said.isdecimal() and said.isascii() and len(said) < 10 else None


def _number(past: Past | None, said: str) -> int:
    return (past.number_of(said) or 0) if past is not None and said else 0


def _days(entries: tuple[Entry, ...]) -> list[tuple[str, list[tuple[str, Burst]]]]:
    """Return bursts of work under the day they were made on."""
    days = groupby(bursts(entries), key=lambda burst: day_words(burst.last.revision.at))
    return [(day, [(span_words(burst), burst) for burst in found]) for day, found in days]


def _told(page: Page, past: Past, marks: tuple[Mark, ...]) -> Mapping[str, Any] | None:
    """Return the difference that is asked for; None when none is."""
    asked = dict(page.query.asked)
    if "from" not in asked and "to" not in asked:
        return None
    end = past.number_of(asked["to"]) if "to" in asked else page.state.revision
    start = past.number_of(asked["from"]) if "from" in asked else (end or 0) - 1
    missing = next((asked[name] for name, number in (("from", start), ("to", end)) if number is None and name in asked), None)
    if missing is not None or start is None or end is None:
        return {"refused": f"There is no revision and no name ‘{missing}’."}
    try:
        then, now = past.appraisal(start), past.appraisal(end)
        same = past.text(start) == past.text(end)
        heads = [_head(past.revision(number), marks) for number in (start, end)]
    except StoreError as error:
        return {"refused": str(error)}
    except JobError as error:
        return {"refused": f"One of them cannot be read by this version: {error.problems[0].message}"}
    found = story(then, now)
    whole = asked.get("figures") == "all"
    return {
        "refused": "",
        "start": start,
        "end": end,
        "heads": heads,
        "is_now": end == page.state.revision,
        "nothing": "" if found.sentences else NOTHING if same else COMMENTS,
        "sentences": [(_link(page, each), each.words) for each in found.sentences[:MOST_SENTENCES]],
        "left_out": max(len(found.sentences) - MOST_SENTENCES, 0),
        "whole": whole,
        "figures": [_row(page, each) for each in (found.figures if whole else found.moved[:MOST_FIGURES])],
        "further": 0 if whole else max(len(found.moved) - MOST_FIGURES, 0),
        "gone": _findings(found.gone),
        "come": _findings(found.come),
        "then": _findings(then.findings, most=len(then.findings)) if whole else [],
        "counts": _counts(found),
    }


def _head(revision: Revision, marks: tuple[Mark, ...]) -> str:
    """Return which revision it is, in words."""
    names = ", ".join(f"‘{mark.name}’" for mark in marks if mark.revision == revision.number)
    here = revision.at.astimezone()
    return f"revision {revision.number}{f', {names},' if names else ''} of {here:%Y-%m-%d %H:%M} by {revision.by or 'somebody'}"


def _link(page: Page, sentence: Sentence) -> str:
    """Return where what a sentence speaks of is changed now; empty when it is gone."""
    row = sentence.rows[0]
    if sentence.act is Act.REMOVED or row.startswith("observations/") or value_at(page.job, row) is None:
        return ""
    return link_to_cell(row)


def _row(page: Page, told: Told) -> Mapping[str, str]:
    gone = value_at(page.job, told.subject) is None
    return {
        "label": told.label,
        "link": "" if gone else link_to_cell(told.subject),
        "was": "" if told.was is None else show(told.was, told.unit),
        "now": "" if told.now is None else show(told.now, told.unit),
        "limit": f"{told.limit.words} {show(told.limit.value, told.unit)}" if told.limit else "",
        "verdict": told.verdict,
    }


def _findings(found: tuple[Finding, ...], *, most: int = MOST_FINDINGS) -> list[tuple[str, str]]:
    """Return findings as their weight and sentence, those over the most counted."""
    order = {severity: number for number, severity in enumerate(Severity)}
    ranked = sorted(found, key=lambda each: order[each.severity])
    rows = [(SEVERITY_WORDS[each.severity], each.sentence) for each in ranked[:most]]
    return [*rows, ("", f"and {len(found) - most} more")] if len(found) > most else rows


def _counts(found: Story) -> list[tuple[str, int, int]]:
    return [(SEVERITY_WORDS[severity], was, now) for severity, was, now in found.counts if was or now]
