"""Where along it: the halving plan of a circuit or of the cables of a box, one test after the other, and a fault on a run in metres."""

from __future__ import annotations

from typing import Any, NamedTuple
from urllib.parse import quote, urlencode

from loopwright.explain.along.cable_fault import Found
from loopwright.explain.along.chain import Halving, chances_at, plan_of, prior_of
from loopwright.explain.along.earth_branch import CAUTION, STOP, WATCH, boxes, earth_plan
from loopwright.explain.along.halving import Plan
from loopwright.explain.caution import in_full
from loopwright.explain.circuit.check import label
from loopwright.explain.circuit.part import circuit_part
from loopwright.explain.explanation import Explanation
from loopwright.job.document import Job
from loopwright.store.visit import RunRead, Visit
from loopwright.web.page import Page
from loopwright.web.site_run import ASKED, METRES, NotLocated, located_of, typed_of


class Go(NamedTuple):
    """An answer to a test: what was found, and the address of what follows."""

    words: str
    address: str


class Step(NamedTuple):
    """What is known by now: the places left, and the next test with its two answers; without a test it is the one place left."""

    places: list[tuple[str, float, bool]]
    do: str
    sound: str
    minutes: float
    visits: float
    expected_min: float
    needs: str
    answers: list[Go]
    begun: bool
    anew: str


class Sheet(NamedTuple):
    """One plan on screen: its heading, the sentences before it, what to mind, the step one is at, and the sentences after it."""

    heading: str
    before: tuple[str, ...]
    cautions: tuple[str, ...]
    step: Step
    after: tuple[str, ...]


def view(page: Page, visit: Visit, found: Explanation | None) -> dict[str, Any]:
    """Return what the section shows, by what the address asks."""
    asked, job = dict(page.query.asked), page.job
    what = asked.get("find", "")
    circuits = [name for name, circuit in job.circuits.items() if sum(hop.device is not None for hop in circuit.path) > 1]
    explained = {each.circuit: each for each in found.halving} if found is not None else {}
    return {
        "what": what,
        "circuits": [(f"circuit:{name}", f"open or high: circuit {name}", name in explained) for name in circuits],
        "boxes": [(f"earth:{name}", f"leak to earth: cables of {label(job, name)}", False) for name in boxes(job)],
        "runs": [(f"run:{name}", f"shorted or broken: run {name}", False) for name in job.cables],
        "explained": [(each, _address(asked, find=f"circuit:{each.circuit}")) for each in explained.values()],
        "sheet": _sheet(job, asked, what, explained),
        "run": _run(job, asked, what, visit),
        "kept": [
            (read, _kept_words(job, read, visit), _address(asked, find=f"run:{read.run}")) for read in visit.runs if read.run in job.cables
        ],
    }


def _sheet(job: Job, asked: dict[str, str], what: str, explained: dict[str, Halving]) -> Sheet | None:
    kind, _, name = what.partition(":")
    if kind == "circuit" and name in job.circuits:
        halving = explained.get(name) or _before(job, name)
        step = _step(halving.plan, asked, ("It reads as it should", "It reads otherwise"))
        weighed = "weighed by what was read on this visit" if name in explained else "weighed by how common each cause is"
        before = (f"The places are {weighed}. Read the pair once more at the control unit first: the fault must be there while you look.",)
        return Sheet(f"Circuit {name}, open or high somewhere along it", before, in_full(halving.caution), step, ())
    if kind == "earth" and name in boxes(job):
        found = earth_plan(job, name)
        step = _step(found.plan, asked, ("The leak is gone", "The leak stays"))
        further = tuple(f"When it is a cable to {label(job, each)}, part that box’s own cables next." for each in found.further)
        return Sheet(f"A leak to earth on the cables of {found.words}", (WATCH,), in_full(CAUTION), step, (*STOP, *further[:1]))
    return None


def _before(job: Job, circuit: str) -> Halving:
    part = circuit_part(job, circuit)
    return plan_of(job, circuit, chances_at(part, prior_of(part)))


def _step(plan: Plan, asked: dict[str, str], words: tuple[str, str]) -> Step:
    """Return where one is in a plan: ``left`` in the address holds the first place left and the one after the last."""
    first, _, last = asked.get("left", "").partition("-")
    whole = (0, len(plan.places))
    left = (int(first), int(last)) if first.isdecimal() and last.isdecimal() and len(first + last) < 8 else whole
    split = plan.at(*left)
    single = left[1] - left[0] == 1 and 0 <= left[0] < whole[1]
    if split is None and not single:
        left, split = whole, plan.start
    share = sum(place.chance for place in plan.places[left[0] : left[1]]) or 1.0
    inside = [left[0] <= n < left[1] for n in range(whole[1])]
    places = [(each.words, each.chance / share if of else 0.0, of) for each, of in zip(plan.places, inside, strict=True)]
    anew = _address(asked, left="")
    if split is None:
        return Step(places, "", "", 0.0, 0.0, 0.0, "", [], left != whole, anew)
    point = plan.points[split.at - 1]
    answers = [
        Go(words[0], _address(asked, left=f"{split.first}-{split.at}")),
        Go(words[1], _address(asked, left=f"{split.at}-{split.last}")),
    ]
    needs = ", ".join(point.needs)
    return Step(places, point.words, point.sound, split.cost_min, split.visits, split.minutes, needs, answers, left != whole, anew)


def _address(asked: dict[str, str], **changed: str) -> str:
    """Return the address of the section with some of what is asked changed; what is empty is left out."""
    kept = {name: text for name, text in asked.items() if name in ("circuit", "find")} | changed
    return "./on-site?" + urlencode({name: text for name, text in kept.items() if text}, quote_via=quote) + "#where"


def _as_typed(read: RunRead) -> dict[str, str]:
    return typed_of({each: getattr(read, each) for each in (*ASKED, METRES)})


def _kept_words(job: Job, read: RunRead, visit: Visit) -> str:
    """Return where the readings that are kept of a run put the fault."""
    try:
        found = located_of(job, read.run, _as_typed(read), visit)
    except NotLocated as error:
        return str(error)
    return f"{found.metres:.1f} m from {label(job, job.cables[read.run].start)}, give or take {found.spread_m:.1f} m"


def _run(job: Job, asked: dict[str, str], what: str, visit: Visit) -> dict[str, Any] | None:
    """Return the form of a run, with what follows from what was typed."""
    kind, _, name = what.partition(":")
    if kind != "run" or name not in job.cables:
        return None
    kept = next((each for each in visit.runs if each.run == name), None)
    stood = _as_typed(kept) if kept is not None else {}
    typed = typed_of(asked)
    if not any(typed.values()):
        typed |= stood
    found: Found | None = None
    problem = ""
    if any(typed[each] for each in ASKED):
        try:
            found = located_of(job, name, typed, visit)
        except NotLocated as error:
            problem = str(error)
    start, end = (label(job, place) for place in (job.cables[name].start, job.cables[name].end))
    stands = kept if typed == stood else None
    return {"name": name, "start": start, "end": end, "typed": typed, "found": found, "problem": problem, "kept": stands}
