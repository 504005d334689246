"""One page while it is made: cells that are edited in place, figures that open, notes in the margin.

Markup that repeats by the hundred is made here rather than in templates, which is several times as fast; whatever comes from the
document goes through ``escape``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, quote

from markupsafe import Markup, escape

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.document import Job, UnitSystem
from loopwright.job.labels import label_at
from loopwright.job.quantity import show_quantity
from loopwright.job.shape import GaugeShape, ListShape, NumberShape, TextShape
from loopwright.netlist.compile import further_scenarios, scenarios
from loopwright.rules.ruleset import rulesets
from loopwright.values.figure import Figure, Input, Origin
from loopwright.values.finding import Finding, Severity
from loopwright.values.recent import Recent
from loopwright.values.source import source
from loopwright.web import mark
from loopwright.web.dictionary import choice_key, choices, field_at, is_entry, shape_of_cell, shown, ticked, tooltip, value_at, words_of
from loopwright.web.place import link_to_cell, link_to_finding, room_of_finding, row_of
from loopwright.web.session import State

if TYPE_CHECKING:
    from loopwright.web.desking import Desk
    from loopwright.web.past import Past
    from loopwright.web.proving import Proving
    from loopwright.web.rehearsed import Rehearsed
    from loopwright.web.visiting import OnSite

SCENARIOS = tuple(item.name for item in scenarios() + further_scenarios())
WORST = "alarm/battery-end"
RULES = "region/ruleset"
SEVERITY_WORDS = {Severity.MUST: "must", Severity.SHOULD: "should", Severity.NOTE: "note", Severity.GAP: "open"}
MOST_OPEN = 60
LONG_TEXT, SEVERAL_LINES = 200, 44
ROW_PX, LINE_PX, LINE_LETTERS = 30, 19, 34
"""Least height of a table's row, height of a line in a note and letters on it: what the style sheet makes of them, on the safe side."""

ROWS: Recent[Markup] = Recent(most_names=2000)
"""Rows as they were drawn last, by room and part of the document, with everything they show."""

_NOTE = Markup('<div class="note is-{}"><p><b class="kind">{}</b> {}</p>{}{}{}</div>')


@dataclass(frozen=True, kw_only=True, slots=True)
class Query:
    """What of a room is unfolded, in which scenario it is shown, and what else is asked of it; all of it stands in the address."""

    opened: tuple[str, ...] = ()
    scenario: str = WORST
    asked: tuple[tuple[str, str], ...] = ()

    @classmethod
    def of(cls, text: str) -> Query:
        """Return the query of an address; what cannot be is left out."""
        found = parse_qs(text.lstrip("?")[:8000])
        scenario = found.get("scenario", [WORST])[0]
        return cls(
            opened=tuple(found.get("open", ()))[:MOST_OPEN],
            scenario=scenario if scenario in SCENARIOS else WORST,
            asked=tuple((name, values[0]) for name, values in found.items() if name not in ("open", "scenario"))[:MOST_OPEN],
        )

    def address(self, room: str, **changed: str) -> str:
        """Return the address of a room with this query, some of it changed."""
        scenario = changed.get("scenario", self.scenario)
        parts = [f"scenario={quote(scenario, safe='/')}"] if scenario != WORST else []
        parts += [f"open={quote(item, safe='/:')}" for item in self.opened]
        return f"./{'' if room == 'front' else room}" + ("?" + "&".join(parts) if parts else "")


@dataclass(kw_only=True, slots=True)
class Page:
    """What the templates draw with, for one room at one revision."""

    state: State
    room: str
    query: Query
    past: Past | None = None
    on_site: OnSite | None = None
    prove: Proving | None = None
    desk: Desk | None = None
    rehearsed: Rehearsed | None = None
    first_look: bool = False
    waiting: list[Figure] = field(default_factory=list)
    shown_keys: set[str] = field(default_factory=set)
    noted: set[int] = field(default_factory=set)
    hanging: set[str] = field(default_factory=set)
    job: Job = field(init=False)
    lists: dict[str, list[tuple[str, str]]] = field(init=False)
    words: dict[str, dict[str, str]] = field(init=False)
    by_row: dict[str, list[Finding]] = field(init=False)
    _openers: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Look up once what every cell asks for."""
        self.job = self.state.job
        self.lists = choices(self.job)
        self.words = {key: dict(rows) for key, rows in self.lists.items()}
        self._openers = tuple(mark.opener(key) for key in self.query.opened if key.startswith("w:"))
        self.by_row = {}
        for finding in self.appraisal.findings:
            self.by_row.setdefault(row_of(finding.subject), []).append(finding)

    @property
    def appraisal(self) -> Appraisal:
        """Return everything computed."""
        return self.state.appraisal

    @property
    def units(self) -> UnitSystem:
        """Return the units people read."""
        return self.job.region.units

    def is_open(self, key: str) -> bool:
        """Return whether an entry is unfolded."""
        return key in self.query.opened

    def quantity(self, value: float | None, unit: str) -> str:
        """Return a quantity as people of the job's unit system read it."""
        return "" if value is None else show_quantity(value, unit, self.units)

    def cell(self, path: str, label: str = "", *, usual: str = "") -> Markup:
        """Return the cell in which a field is edited; ``usual`` names a list of what is usually written there."""
        shape, value, declared = shape_of_cell(path), value_at(self.job, path), field_at(path)
        entry = is_entry(path)
        optional = entry or (declared is not None and not declared.required)
        assumed = optional and value not in (None, "") and path not in self.job.given
        name = f"{label}, {label_at(path)}" if label else label_at(path)
        if isinstance(shape, ListShape):
            return self._ticks(path, name, value or (), path not in self.job.given and bool(value))
        text, unit = shown(path, value, self.units)
        own, unsaid = mark.marks(path, name, assumed, tooltip(value, self.units)), "not said" if entry else ""
        if names := choice_key(shape):
            control = mark.named(own, names, text, self.words.get(names, {}).get(text, ""), optional)
        elif words := tuple(rulesets()) if path == RULES else words_of(shape):
            control = mark.worded(own, words, text, unsaid)
        elif isinstance(shape, TextShape) and (shape.longest > LONG_TEXT or len(text) > SEVERAL_LINES):
            lines = sum(1 + len(line) // SEVERAL_LINES for line in text.rstrip().split("\n"))
            control = mark.written(own, text, min(lines, 8))
        else:
            kind = _kind(shape, text)
            decimal = kind.startswith("num") and unit != "Ω" and self.units is UnitSystem.METRIC
            control = mark.typed(own, kind, text, decimal, usual, unsaid)
        return mark.cell(control, unit, assumed)

    def _ticks(self, path: str, name: str, value: Iterable[object], assumed: bool) -> Markup:
        """Return a list whose entries are ticked; what stands in it and may no longer be ticked is shown all the same."""
        stands = [str(each) for each in value]
        rows = ticked(self.job, path) or []
        left = [(each, each) for each in stands if each not in dict(rows)]
        return mark.ticks(path, name, tuple((key, words, key in stands) for key, words in (*rows, *left)), assumed)

    def figure(self, figure: Figure | None, *, look: str = "") -> Markup:
        """Return a number that opens; its working, when unfolded, waits for the end of the row."""
        if figure is None:
            return Markup("")
        if figure.key not in self.shown_keys and self.is_open(f"w:{figure.key}"):
            self.waiting.append(figure)
            self.shown_keys.add(figure.key)
        number, unit = "none" if figure.value is None else str(figure), ""
        if figure.value is not None and " " in number:
            number, _, unit = number.rpartition(" ")
        text = mark.figure(figure.key, figure.label, number, unit)
        return Markup(f'<span class="{escape(look)}">{text}</span>') if look else text

    def unfolded(self, columns: int = 0, *, margin: bool = False) -> Markup:
        """Return the workings that wait, as rows of a table with so many columns before its margin, or as blocks."""
        waiting, self.waiting = self.waiting, []
        out = []
        for item in waiting:
            body = working_of(item)
            if columns:
                beside = Markup('<td class="margin"></td>') if margin else ""
                out.append(Markup('<tr class="unfolded" id="w:{}"><td colspan="{}">{}</td>{}</tr>').format(item.key, columns, body, beside))
            else:
                out.append(Markup('<div class="unfolded" id="w:{}">{}</div>').format(item.key, body))
        return Markup("").join(out)

    def said(self, path: str, *fields: str) -> tuple[bool, ...]:
        """Return which of an entry's fields the document states itself; the others show what is taken for granted."""
        return tuple(f"{path}/{name}" in self.job.given for name in fields)

    def kept(self, path: str, shows: tuple[object, ...]) -> Markup:
        """Return the row of an entry as it was drawn when it last showed what equals ``shows``; empty when it has to be drawn.

        ``shows`` is everything the row is drawn from, except what is unfolded in it: a row in which something is unfolded is drawn.
        """
        found = None if self.is_open(f"d:{path}") else ROWS.find((self.room, path), (self.units, shows))
        if found is None or any(opener in found for opener in self._openers):
            return Markup("")
        return found

    def keep(self, path: str, shows: tuple[object, ...], drawn: Markup) -> Markup:
        """Return a row that was just drawn, and keep it for the next time unless something is unfolded in it."""
        if not self.is_open(f"d:{path}") and not any(opener in drawn for opener in self._openers):
            ROWS.put((self.room, path), (self.units, shows), drawn)
        return drawn

    def notes(self, *subjects: str) -> Markup:
        """Return the margin notes that stand beside these parts of the document in this room."""
        rows = {row_of(subject): None for subject in subjects}
        found = [item for row in rows for item in self.by_row.get(row, ()) if room_of_finding(item) == self.room]
        return Markup("").join(self.note(item) for item in found)

    def note(self, finding: Finding, *, linked: bool = False) -> Markup:
        """Return one note: what is wrong, by how much, what would put it right, on whose word."""
        self.noted.add(id(finding))
        sentence, left = self._with_figures(finding)
        further = Markup('<p class="by">{}.</p>').format(Markup("; ").join(map(self._named, left))) if left else ""
        remedy = Markup('<p class="remedy">{}</p>').format(finding.remedy) if finding.remedy else ""
        clause = f"{source(finding.source)}{', ' + finding.clause if finding.clause else ''}"
        tail = Markup('<p class="src">{}</p>').format(clause)
        if linked:
            tail = Markup('<p class="src">{} <a href="{}">go there</a></p>').format(clause, link_to_finding(finding))
        return _NOTE.format(finding.severity, SEVERITY_WORDS[finding.severity], sentence, further, remedy, tail)

    def _named(self, figure: Figure) -> Markup:
        """Return a figure that the sentence does not name, with what it is."""
        return Markup("{}: {}").format(figure.label[:1].upper() + figure.label[1:], self.figure(figure))

    def _with_figures(self, finding: Finding) -> tuple[Markup, list[Figure]]:
        """Return the sentence with its figures made to open where they stand, and the figures it does not name."""
        sentence, left, rest = Markup(""), [], finding.sentence
        for figure in finding.figures:
            named = next((words for words in (str(figure), str(figure).replace(" ", "")) if words in rest), "")
            if named:
                before, _, rest = rest.partition(named)
                sentence += escape(before) + self.figure(figure)
            else:
                left.append(figure)
        return sentence + escape(rest), left

    def plan(self, subjects: Iterable[str], *, below: int = 0) -> None:
        """Look ahead over the rows of a table: a note may hang down beside the rows after its own as far as no other note stands there.

        ``below`` is how much room [px] there is after the last row.
        """
        rows = [row_of(subject) for subject in subjects]
        room_px = below
        for subject in reversed(rows):
            tall = sum(_tall_px(item) for item in self.by_row.get(subject, ()) if room_of_finding(item) == self.room)
            opened = self.is_open("d:" + subject.removeprefix("row:"))
            room_px = ROW_PX if opened else room_px + ROW_PX
            if tall:
                if tall <= room_px:
                    self.hanging.add(subject)
                room_px = 0

    def margin(self, subject: str) -> Markup:
        """Return the margin cell of a row, with its notes; those of an opened row stand in what it opened, so that no gap is torn."""
        notes = Markup("") if self.is_open(f"d:{subject}") else self.notes(subject)
        hangs = " hangs" if notes and row_of(subject) in self.hanging else ""
        return Markup('<td class="margin{}"><div>{}</div></td>').format(hangs, notes) if notes else Markup('<td class="margin"></td>')

    def own_notes(self, subject: str) -> Markup:
        """Return the notes of an opened row, for the top of what it opened."""
        notes = self.notes(subject)
        return Markup('<div class="notes own">{}{}</div>').format(notes, self.unfolded()) if notes else notes

    def worst(self, subject: str) -> str:
        """Return the word of the most binding finding that stands beside a part of the document in this room; empty where none does."""
        found = [item.severity for item in self.by_row.get(row_of(subject), ()) if room_of_finding(item) == self.room]
        return next((words for severity, words in SEVERITY_WORDS.items() if severity in found), "")

    def bare(self, part: str) -> str:
        """Return the class of a table whose rows stand in this part of the document and bear no note: it needs no margin."""
        lead = f"row:{part}/"
        noted = any(
            row.startswith(lead) and any(room_of_finding(item) == self.room for item in found) for row, found in self.by_row.items()
        )
        return "" if noted else " bare"

    def rest(self) -> Markup:
        """Return the notes that belong in this room and stand beside no row of it."""
        left = [item for item in self.appraisal.findings if room_of_finding(item) == self.room and id(item) not in self.noted]
        return Markup("").join(self.note(item) for item in left)

    def state_words(self, room: str) -> str:
        """Return how a room stands, in a word or two; the front sheet speaks for the whole job."""
        if room == "prove" and self.prove is not None:
            return self.prove.words
        found = self.appraisal.findings
        here = [finding.severity for finding in found if room == "front" or room_of_finding(finding) == room]
        for severity in (Severity.MUST, Severity.SHOULD, Severity.GAP):
            if severity in here:
                return f"{here.count(severity)} {SEVERITY_WORDS[severity]}"
        return ""


def working_of(figure: Figure, *, heading: str = "h3") -> Markup:
    """Return the working of a figure, laid out as on the calculation sheet, under a heading of the level where it stands."""
    working = figure.working()
    rows = Markup("").join(_input_row(item) for item in working.inputs)
    notes = Markup("").join(Markup('<p class="fine">{}</p>').format(note) for note in working.notes)
    probes = Markup('<p class="fine">meter: {} against {}</p>').format(*figure.probes) if figure.probes else ""
    why = Markup('<p class="fine">no figure: {}</p>').format(figure.why) if figure.value is None and figure.why else ""
    registered = source(working.source)
    return Markup(
        '<section class="working"><{0}>{1}</{0}><p class="formula">{2}</p><table class="inputs"><tbody>{3}</tbody></table>'
        '<p class="line">{4}</p><p class="result">= {5}</p>{6}{7}{8}<p class="src">{9}</p></section>'
    ).format(Markup(heading), figure.label, working.formula, rows, working.substituted, working.result, why, probes, notes, str(registered))


def _input_row(item: Input) -> Markup:
    value = item.value if isinstance(item.value, str) else f"{item.value:.5g}"
    name = Markup('<a href="{}">{}</a>').format(link_to_cell(item.path), item.name) if item.path else escape(item.name)
    pencil = mark.PENCIL if item.origin is Origin.DEFAULT else ""
    return Markup('<tr><td>{}</td><td class="n">{}</td><td class="u">{}</td><td class="origin">{}{}</td></tr>').format(
        name, value, item.unit, item.origin, pencil
    )


def _tall_px(finding: Finding) -> int:
    """Return about how tall a note stands in the margin."""
    texts = (finding.sentence, finding.remedy, f"{source(finding.source)} {finding.clause}")
    return 12 + LINE_PX * sum(-(-len(text) // LINE_LETTERS) for text in texts)


def _kind(shape: object, text: str) -> str:
    """Return the class of a text cell: numbers stand on their decimal point, whatever their decimals."""
    if isinstance(shape, NumberShape):
        return f"num f{min(len(text.partition('.')[2]), 3)}" if text else "num f0"
    return "gauge" if isinstance(shape, GaugeShape) else "text"
