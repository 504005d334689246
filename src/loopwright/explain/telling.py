"""From a weighing to words: answers with their causes, what else they would show, the working, the next check and the verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from loopwright.explain.along.chain import Halving, halving_of
from loopwright.explain.caution import caution_of
from loopwright.explain.check import YES_NO, Check, CheckKind
from loopwright.explain.explanation import Answer, Cause, Doubt, Expected, Explanation, NextCheck, Outlook, Step
from loopwright.explain.hypothesis import Predicted
from loopwright.explain.observation import Observations
from loopwright.explain.terminal import ACT_WORDS
from loopwright.explain.weigh.likelihood import COMES_AND_GOES, Rows
from loopwright.explain.weigh.next_check import Advice
from loopwright.explain.whole.word import HISTORY, words
from loopwright.job.document import Job
from loopwright.netlist.loop import ActKind
from loopwright.values.figure import show

if TYPE_CHECKING:
    from loopwright.explain.explain import Weighed

LEAST_SHOWN = 0.001
MOST_ANSWERS = 12
MOST_EXPECTED = 14
DOUBTFUL = 0.2
NOTHING_WORDS = "nothing wrong with what was read"
NONE_WORDS = "none of these"
WHILE_NOT = ", as sound while it does not show"
HUMAN = (CheckKind.OHM, CheckKind.STATE, CheckKind.VOLTS)


def tell(job: Job, weighed: Weighed, observed: Observations, left_out: tuple[str, ...]) -> Explanation:
    """Return the explanation in words."""
    answers = _answers(weighed)
    after = weighed.after
    return Explanation(
        nothing=after.nothing,
        answers=answers,
        others=max(1 - after.nothing - after.none_of_these - after.two_faults - sum(each.probability for each in answers), 0.0),
        none_of_these=after.none_of_these,
        two_faults=after.two_faults,
        pairs=tuple(
            (pair.probability, _cause(weighed, pair.first, full=False), _cause(weighed, pair.second, full=False))
            for pair in after.pairs
            if pair.probability > LEAST_SHOWN
        ),
        doubts=_doubts(weighed),
        contradictions=tuple((_check_words(weighed.rows, c.first.check), c.first.text, c.second.text) for c in observed.contradictions),
        next_checks=tuple(_next(job, weighed, advice) for advice in weighed.advised.checks),
        stop=weighed.advised.stop,
        verdict=_verdict(weighed, answers),
        looked_at=tuple(part.name for part in weighed.rows.parts if part.name != HISTORY),
        used=len(weighed.used),
        left_out=(*(str(problem) for problem in observed.problems), *left_out),
        halving=_halving(job, weighed),
    )


def _halving(job: Job, weighed: Weighed) -> tuple[Halving, ...]:
    """Return the plan of each circuit that is open or high somewhere along it, the likeliest first."""
    found = []
    for number, part in enumerate(weighed.rows.parts):
        if part.name.startswith("circuits/"):
            own = weighed.rows.part == number
            weight = np.zeros(len(part.predicted.owner))
            np.add.at(weight, weighed.rows.variant[own], weighed.after.rows[own])
            found.append(halving_of(job, part, weight))
    return tuple(sorted((each for each in found if each is not None), key=lambda each: -each.chance))


def _answers(weighed: Weighed) -> tuple[Answer, ...]:
    """Return the answers, likeliest first: the hypotheses that were followed by their classes, the rest each by itself."""
    found: dict[int, list[int]] = {}
    after = weighed.after
    followed = set()
    for row, kept in enumerate(weighed.keep.tolist()):
        owner = int(weighed.rows.owner[kept])
        if owner >= 0 and owner not in followed:
            followed.add(owner)
            found.setdefault(int(weighed.group[row]), []).append(owner)
    classes = list(found.values())
    classes += [[owner] for owner in np.flatnonzero(after.hypotheses > LEAST_SHOWN).tolist() if owner not in followed]
    scored = sorted(((float(after.hypotheses[members].sum()), members) for members in classes), key=lambda each: -each[0])
    out = []
    for number, (probability, members) in enumerate(scored[:MOST_ANSWERS]):
        if probability < LEAST_SHOWN:
            break
        ordered = sorted(members, key=lambda owner: -float(after.hypotheses[owner]))
        out.append(Answer(probability=probability, causes=tuple(_cause(weighed, owner, full=number < 5) for owner in ordered)))
    return tuple(out)


def _cause(weighed: Weighed, owner: int, *, full: bool) -> Cause:
    hypothesis = weighed.rows.hypotheses[owner]
    fault = hypothesis.fault
    row = _best_row(weighed, owner)
    return Cause(
        key=hypothesis.key,
        fault=fault.id,
        words=fault.words,
        where=hypothesis.words,
        part=hypothesis.part,
        place=hypothesis.place,
        probability=float(weighed.after.hypotheses[owner]),
        fix=fault.fix,
        parts=fault.parts,
        caution=fault.caution,
        reason=fault.reason,
        source=fault.sources,
        expected=_expected(weighed, row) if full else (),
        working=_working(weighed, row) if full else (),
    )


def _best_row(weighed: Weighed, owner: int) -> int:
    rows = np.flatnonzero(weighed.rows.owner == owner)
    return int(rows[np.argmax(weighed.after.rows[rows])])


def _expected(weighed: Weighed, row: int) -> tuple[Expected, ...]:
    """Return what the checks of the same part would show, at its likeliest amount."""
    part, done = int(weighed.rows.part[row]), {seen.check for seen in weighed.used}
    known = weighed.rows.parts[part].predicted
    variant, sound = weighed.rows.variant_at(row, part), weighed.rows.variant_at(0, part)
    columns = [n for n, check in enumerate(known.checks) if check.kind is not CheckKind.LOOK and check not in done]
    # Kinds that people read most come first; what differs from a sound system is worth more than what does not.
    differs = {column: _differ(known, column, variant, sound) for column in columns}
    order = sorted(columns, key=lambda n: (not differs[n], known.checks[n].kind not in HUMAN, n))[:MOST_EXPECTED]
    out = []
    for column in sorted(order):
        shows, value = _shown(known, column, variant)
        out.append(Expected(check=known.checks[column].words, shows=shows, value=value, unit=known.checks[column].unit))
    return tuple(out)


def _differ(known: Predicted, column: int, one: int, other: int) -> bool:
    """Return whether a check shows something else under two variants, as far as it is told."""
    if known.checks[column].unit and known.mean[one, column] == known.mean[other, column]:
        return False
    return _shown(known, column, one)[0] != _shown(known, column, other)[0]


def _reads(rows: Rows, check: Check, row: int) -> tuple[str, float | None]:
    """Return what a check shows in a row: words, and the number of a meter."""
    found = rows.column(check)
    if found is None:
        return "", None
    return _shown(rows.parts[found[0]].predicted, found[1], rows.variant_at(row, found[0]))


def _shown(known: Predicted, column: int, variant: int) -> tuple[str, float | None]:
    """Return what a check shows under a variant: words, and the number of a meter."""
    check = known.checks[column]
    if check.unit:
        value = float(known.mean[variant, column])
        return show(value, check.unit), value
    chances = known.chances[column][variant]
    best = int(np.argmax(chances))
    return (check.outcomes[best] if chances[best] > 0.75 else f"{check.outcomes[best]} ({chances[best]:.0%})"), None


def _working(weighed: Weighed, row: int) -> tuple[Step, ...]:
    out = []
    for number, seen in enumerate(weighed.used):
        out.append(
            Step(
                check=_check_words(weighed.rows, seen.check),
                read=_answered(_known(weighed.rows, seen.check), seen.text),
                here=_reads(weighed.rows, seen.check, row)[0]
                + (WHILE_NOT if weighed.rows.present[row] < 1 and seen.check.kind in COMES_AND_GOES else ""),
                sound=_reads(weighed.rows, seen.check, 0)[0],
                chance_here=float(weighed.likely.chance[row, number]),
                chance_sound=float(weighed.likely.chance[0, number]),
            )
        )
    return tuple(out)


def _known(rows: Rows, check: Check) -> Check:
    """Return a check as its part has it, with its wording; itself where no part has it."""
    found = rows.column(check)
    return rows.parts[found[0]].predicted.checks[found[1]] if found else check


def _check_words(rows: Rows, check: Check) -> str:
    return check.words or _known(rows, check).words or str(check.kind)


def _answered(check: Check, word: str) -> str:
    """Return a word a check ends in; of a look that is answered with yes, with what is then seen."""
    return f"{word}, {check.finds}" if check.finds and word == YES_NO[0] else word


def _doubts(weighed: Weighed) -> tuple[Doubt, ...]:
    out = []
    for seen, kinds in zip(weighed.used, weighed.after.mistaken, strict=True):
        if sum(kinds.values()) > DOUBTFUL:
            kind = max(kinds, key=lambda each: kinds[each])
            words = _check_words(weighed.rows, seen.check)
            out.append(Doubt(check=words, read=seen.text, kind=str(kind), probability=float(kinds[kind])))
    return tuple(out)


def _next(job: Job, weighed: Weighed, advice: Advice) -> NextCheck:
    check = advice.check
    outlook = tuple(
        Outlook(shows=_cell_words(weighed, check, cell), chance=chance, leads=_class_words(weighed, group), leads_chance=leads)
        for cell, chance, group, leads in advice.cells
    )
    return NextCheck(
        words=check.words,
        minutes=check.minutes,
        needs=check.needs,
        by=check.by,
        bits=advice.bits,
        end_minutes=advice.end_minutes,
        outlook=outlook,
        entry=entry_of(check),
        unit=check.unit,
        outcomes=check.outcomes,
        caution=caution_of(check),
    )


def entry_of(check: Check) -> dict[str, str]:
    """Return how the result of a check is written in an observation file, less the result itself."""
    if check.kind is CheckKind.TOLD:
        where, asked = check.place or check.where, words()[check.scenario]
        if asked.shows:
            return {"where": where, "at": asked.id, "shows": "yes or no"}
        return {"where": where, "told": asked.id, "answer": " or ".join(asked.outcomes)}
    if check.kind is CheckKind.LOOK:
        where = check.where.partition("/")[2] or check.where
        return {"where": where, "look": check.fault} | ({"at": check.place} if check.place else {}) | {"answer": "yes or no"}
    word = next((words for words, act in ACT_WORDS if act is check.act), "rest")
    if check.kind is CheckKind.TROUBLE:
        done = {"state": f"{word} {check.device}".strip()} if check.act is not ActKind.REST else {}
        return {"where": check.where} | ({"at": check.scenario} if check.scenario else {}) | done | {"shows": "yes or no"}
    at = {
        CheckKind.CORES_OHM: "cores",
        CheckKind.CAPACITANCE: "capacitance",
        CheckKind.CONTACT_OHM: "contact",
        CheckKind.BATTERY_VOLTS: "battery",
        CheckKind.LEADS_VOLTS: "leads",
        CheckKind.FUSE_VOLTS: "fuse",
        CheckKind.SECONDARY_VOLTS: "secondary",
    }.get(check.kind, "")
    state = check.scenario.replace("/", " on ") if check.scenario else "" if check.act is ActKind.REST and not check.device else word
    out = {"where": check.where} | ({"at": at} if at else {})
    out |= {"state": f"{state} {check.device}".strip()} if state or check.device else {}
    return out | ({"reading": "with its unit"} if check.unit else {"shows": "the word"})


def _cell_words(weighed: Weighed, check: Check, cell: int) -> str:
    outs = weighed.outs
    assert outs is not None
    number = outs.checks.index(check)
    if not check.unit:
        known = _known(weighed.rows, check)
        return _answered(known, known.outcomes[cell])
    reads = outs.reads[number]
    inside = np.searchsorted(outs.edges[number], np.where(np.isinf(reads), np.inf, reads), side="right") == cell
    if not inside.any():
        return "something else"
    low, high = float(reads[inside].min()), float(reads[inside].max())
    one, other = show(low, check.unit), show(high, check.unit)
    return one if one == other else f"{one} to {other}"


def _class_words(weighed: Weighed, group: int) -> str:
    row = int(np.flatnonzero(weighed.group == group)[0])
    if row == len(weighed.keep):
        return NONE_WORDS
    owner = int(weighed.rows.owner[weighed.keep[row]])
    if owner < 0:
        return NOTHING_WORDS
    members = {int(weighed.rows.owner[weighed.keep[n]]) for n in np.flatnonzero(weighed.group == group).tolist() if n < len(weighed.keep)}
    best = max((m for m in members if m >= 0), key=lambda each: float(weighed.after.hypotheses[each]))
    hypothesis = weighed.rows.hypotheses[best]
    return f"{hypothesis.fault.words}: {hypothesis.words}"


def _verdict(weighed: Weighed, answers: tuple[Answer, ...]) -> str:
    after = weighed.after
    lead = answers[0].probability if answers else 0.0
    if not weighed.used:
        return "Nothing was read that can be used, so nothing can be said. Start with what the keypad shows."
    if after.none_of_these > max(lead, after.nothing, after.two_faults):
        return "None of the known faults explains what was seen. Read what surprises most once more, then look further than this list."
    if after.two_faults > max(lead, after.nothing):
        return "No single fault explains what was seen; two at once do."
    if not weighed.advised.stop:
        check = weighed.advised.checks[0].check if weighed.advised.checks else None
        return f"Next: {check.words}{'' if check.words.endswith('?') else '.'}" if check else "Go on reading."
    if after.nothing >= lead:
        return "Nothing further would change what you do: what was read is as it should be."
    cause = answers[0].causes[0]
    more = " or ".join(f"{each.words.lower()} ({each.where})" for each in answers[0].causes[1:3])
    also = f" No check at hand tells it from {more}." if more else ""
    return f"Nothing further would change what you do: {cause.words}, {cause.where}. Do this: {cause.fix}.{also}"
