"""From the text of a job document to a Job, or to every problem that keeps it from being one.

The reader walks the node tree along plans made once from the records' own annotations. References are looked up after the
walk, in the tree rather than in the records, so that a slip in one place does not hide one in another.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from functools import cache, partial
from typing import Any, NamedTuple

from loopwright.job.consistency import check_sheets
from loopwright.job.document import FORMAT, Job
from loopwright.job.quantity import bounds, parse_gauge, parse_quantity
from loopwright.job.reading import BAD, Places, Reading, Run, Use
from loopwright.job.reference import check_references
from loopwright.job.shape import (
    BoolShape,
    DateShape,
    GaugeShape,
    IdShape,
    ListShape,
    MapShape,
    NumberShape,
    RecordShape,
    Shape,
    TerminalShape,
    TextShape,
    WordShape,
    job_shape,
)
from loopwright.job.tree import LIST, MAP, SCALAR, Node, compose, shorten
from loopwright.values.error import JobError, Problem

LONGEST_ID = 40
ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}", re.ASCII)
ACCEPTED_ID = f"letters, digits, - and _, at most {LONGEST_ID}, the first a letter or digit"
YES = frozenset({"true", "yes", "True", "Yes", "TRUE", "YES"})
NO = frozenset({"false", "no", "False", "No", "FALSE", "NO"})


def read(source: bytes | str, *, tree: Node | None = None) -> Reading:
    """Return the job the text describes, and the place of each value. Raises JobError with all problems, in the order of the file.

    ``tree`` is the same text composed already, as an edit leaves it.
    """
    root = compose(source)[1] if tree is None else tree
    _refuse_other_format(root)
    try:
        job = _job(*_walk(root, Run(kept=True)))
    except JobError:
        # What was taken over says where it stood before: the problems are those of a reading from the start.
        job = _job(*walk(root))
    return Reading(job=job, places=Places(lambda: walk(root)[0].nodes))


def _job(run: Run, values: Any) -> Job:  # noqa: ANN401
    """Return the job of what a walk has gathered. Raises JobError with all problems."""
    check_references(run)
    problems = run.problems()
    if problems or values is BAD:
        raise JobError(problems)
    job = Job(**values, given=frozenset(run.nodes))
    check_sheets(run, job)
    if run.found:
        raise JobError(run.problems())
    return job


def walk(root: Node) -> tuple[Run, Any]:
    """Return what a walk over the tree gathers, and the fields of the job, or BAD when any of them could not be read."""
    return _walk(root, Run())


def _walk(root: Node, run: Run) -> tuple[Run, Any]:
    return run, _record_values(job_shape(), root, "", run)


class _Known(NamedTuple):
    """What an entry was read as: where, its value, and the nodes and references below it."""

    path: str
    value: Any
    nodes: dict[str, Node]
    uses: list[Use]


def _taken_over(step: Step, node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    """Return what an entry says; what was read of the same node before is the same object again."""
    known = node.known
    if known is None or known.path != path:
        nodes, uses, problems = run.nodes, run.uses, len(run.found) + run.left_out
        run.nodes, run.uses, run.kept = {}, [], False
        known = _Known(path, step(node, path, run), run.nodes, run.uses)
        run.nodes, run.uses, run.kept = nodes, uses, True
        if problems == len(run.found) + run.left_out:
            node.known = known
    run.nodes.update(known.nodes)
    run.uses += known.uses
    return known.value


def _refuse_other_format(root: Node) -> None:
    """Refuse a document of another format at once: what else seems wrong with it would mislead."""
    for key, node in root.value:
        if key.kind == SCALAR and key.value == "format" and node.kind == SCALAR:
            try:
                version = parse_quantity(node.value, "")
            except ValueError:
                return
            if version != FORMAT:
                why = "this program is older than the document" if version > FORMAT else "the document must be upgraded first"
                message = f"Format {shorten(node.value)} is not read here: {why}."
                raise JobError([Problem(path="format", line=node.line, column=node.column, message=message, accepted=str(FORMAT))])


Step = Callable[[Node, str, Run], Any]


@cache
def step_of(shape: Shape) -> Step:
    """Return the function that reads a node of this shape."""
    match shape:
        case RecordShape():
            return lambda node, path, run: _record(shape, node, path, run)
        case ListShape():
            return _list_step(shape)
        case MapShape():
            return _map_step(shape)
        case NumberShape():
            return _number_step(shape)
        case _:
            return _scalar_step(shape)


def _key(key: Node, path: str, run: Run, seen: dict[str, Node]) -> str | None:
    """Return the key as text when it is one and stands here for the first time."""
    if key.kind != SCALAR:
        run.refuse(key, path, "A key must be a word.")
        return None
    name: str = key.value
    if name == "<<":
        run.refuse(key, path, "YAML merge keys (<<) are not read.", "the values themselves")
        return None
    first = seen.get(name)
    if first is not None:
        run.refuse(
            key,
            f"{path}/{shorten(name)}" if path else shorten(name),
            f"This key stands twice: on line {first.line} and on line {key.line}.",
        )
        return None
    seen[name] = key
    return name


@cache
def _steps(shape: RecordShape) -> tuple[dict[str, tuple[Step, bool]], tuple[str, ...]]:
    steps = {name: (step_of(each.shape), each.required) for name, each in shape.fields.items()}
    return steps, tuple(name for name, each in shape.fields.items() if each.required)


def _record(shape: RecordShape, node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    values = _record_values(shape, node, path, run)
    return BAD if values is BAD else shape.record(**values)


def _record_values(shape: RecordShape, node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    """Return the fields of a record as keyword arguments, or BAD when any of them could not be read."""
    if node.kind != MAP and not node.null:
        return run.refuse(node, path, f"{_what(node)} cannot stand here.", "a mapping with the keys " + ", ".join(shape.fields))
    steps, required = _steps(shape)
    seen: dict[str, Node] = {}
    values: dict[str, Any] = {}
    bad = False
    for key, child in node.value if node.kind == MAP else ():
        name = key.value
        step = steps.get(name) if key.kind == SCALAR and name not in seen else None
        if step is None:
            bad = True
            if _key(key, path, run, seen) is not None:
                _refuse_key(key, child, path, run, steps)
            continue
        seen[name] = key
        here = f"{path}/{name}" if path else name
        if not child.null:
            run.nodes[here] = child
            child.key = key
            value = values[name] = step[0](child, here, run)
            bad = bad or value is BAD
        elif step[1]:
            bad = run.refuse(child, here, "A value is needed here.") is BAD
    for name in required:
        if name not in seen:
            bad = run.refuse(node, path, f"The key {name} is missing: {shape.fields[name].doc}") is BAD
    return BAD if bad else values


def _refuse_key(key: Node, child: Node, path: str, run: Run, known: Iterable[str]) -> None:
    name = shorten(key.value)
    here = f"{path}/{name}" if path else name
    if name[:1].isdigit() and child.null:
        run.refuse(key, here, f"A comma ends a value here, so that {name} stands alone.", "a decimal point: 5.6, not 5,6")
    else:
        run.refuse(key, here, f"The key {name} is not known here.{run.hint(key.value, known)}", ", ".join(known))


def _list_step(shape: ListShape) -> Step:
    item = _entry_step(shape.item)

    def step(node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
        if node.kind != LIST:
            return run.refuse(node, path, f"{_what(node)} cannot stand here.", "a list, such as [first, second]")
        values = []
        for number, child in enumerate(node.value):
            here = f"{path}/{number}"
            run.nodes[here] = child
            values.append(item(child, here, run))
        return BAD if BAD in values else tuple(values)

    return step


def _entry_step(shape: Shape) -> Step:
    """Return the step for an entry of a collection: an empty one is a record of defaults, or a slip."""
    step = step_of(shape)
    if isinstance(shape, RecordShape):
        return step
    return lambda node, path, run: run.refuse(node, path, "A value is needed here.") if node.null else step(node, path, run)


def _map_step(shape: MapShape) -> Step:
    key_step, value_step = step_of(shape.key), _entry_step(shape.value)

    def step(node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
        if node.kind != MAP:
            return run.refuse(node, path, f"{_what(node)} cannot stand here.", "a mapping with one key for each")
        seen: dict[str, Node] = {}
        values = {}
        bad = False
        for key, child in node.value:
            name = _key(key, path, run, seen)
            if name is None:
                bad = True
                continue
            here = f"{path}/{name if len(name) <= LONGEST_ID else shorten(name)}"
            made = key_step(key, here, run)
            if made is not BAD:
                run.nodes[here] = child
                child.key = key
            value = _taken_over(value_step, child, here, run) if run.kept else value_step(child, here, run)
            if made is BAD or value is BAD:
                bad = True
            else:
                values[made] = value
        return BAD if bad else values

    return step


def _number_step(shape: NumberShape) -> Step:
    quantity, whole = shape.quantity, shape.whole
    unit, low, high = quantity.unit, quantity.low, quantity.high

    def step(node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
        if node.kind != SCALAR:
            return run.refuse(node, path, f"{_what(node)} cannot stand where a number is asked.")
        try:
            value = parse_quantity(node.value, unit)
        except ValueError as error:
            return run.refuse(node, path, f"{error}.")
        if not low <= value <= high:
            return run.refuse(node, path, f"{shorten(node.value)} is out of bounds.", bounds(quantity))
        if whole:
            return (
                int(value)
                if value == int(value)
                else run.refuse(node, path, f"{shorten(node.value)} is not a whole number.", bounds(quantity))
            )
        return value

    return step


def _scalar_step(shape: Shape) -> Step:
    """Return the step for what is written as one word or text."""
    match shape:
        case TextShape():
            return lambda node, path, run: _text(shape.longest, node, path, run)
        case DateShape():
            return partial(_date, shape, re.compile(shape.pattern))
        case IdShape():
            to = shape.among.to if shape.among else ""
            return lambda node, path, run: _id(to, node, path, run)
        case TerminalShape():
            return lambda node, path, run: _terminal(shape.among, node, path, run)
        case WordShape():
            made = {word: shape.made(word) for word in shape.words}
            return lambda node, path, run: _word(made, node, path, run)
        case BoolShape():
            return _bool
        case GaugeShape():
            return _gauge
        case _:
            raise TypeError(f"{shape!r} is not a scalar")


def _not_single(node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    return run.refuse(node, path, f"{_what(node)} cannot stand where a single value is asked.")


def _text(longest: int, node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    if node.kind != SCALAR:
        return _not_single(node, path, run)
    if len(node.value) > longest:
        return run.refuse(node, path, f"The text is {len(node.value)} characters long.", f"at most {longest} characters")
    return node.value


def _date(shape: DateShape, pattern: re.Pattern[str], node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    if node.kind != SCALAR:
        return _not_single(node, path, run)
    try:
        if not pattern.fullmatch(node.value):
            raise ValueError
        if len(node.value) >= len("2024-06-14"):
            date.fromisoformat(node.value[:10])
    except ValueError:
        return run.refuse(node, path, f"'{shorten(node.value)}' is no date.", shape.accepted)
    return node.value


def _id(to: str, node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    if node.kind != SCALAR:
        return _not_single(node, path, run)
    if not ID.fullmatch(node.value) or node.null:
        return run.refuse(node, path, f"'{shorten(node.value)}' cannot be a name.", ACCEPTED_ID)
    if to:
        run.uses.append(Use(to, node.value, path, node))
    return node.value


def _terminal(among: str, node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    if node.kind != SCALAR:
        return _not_single(node, path, run)
    owner, dot, name = node.value.partition(".")
    if not (dot and ID.fullmatch(owner) and ID.fullmatch(name)):
        example = "control.3" if among == "inputs" else "control.aux"
        return run.refuse(
            node, path, f"'{shorten(node.value)}' is not a terminal.", f"equipment and terminal with a full stop between, such as {example}"
        )
    run.uses.append(Use(among, node.value, path, node))
    return node.value


def _word(made: Mapping[str, str], node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    if node.kind != SCALAR:
        return _not_single(node, path, run)
    value = made.get(node.value)
    return (
        run.refuse(node, path, f"'{shorten(node.value)}' is not a word that can stand here.", ", ".join(made)) if value is None else value
    )


def _bool(node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    if node.kind != SCALAR:
        return _not_single(node, path, run)
    if node.value in YES:
        return True
    return False if node.value in NO else run.refuse(node, path, f"'{shorten(node.value)}' is neither yes nor no.", "yes, no, true, false")


def _gauge(node: Node, path: str, run: Run) -> Any:  # noqa: ANN401
    if node.kind != SCALAR:
        return _not_single(node, path, run)
    try:
        return parse_gauge(node.value)
    except ValueError as error:
        return run.refuse(node, path, f"{error}.")


def _what(node: Node) -> str:
    return "An empty place" if node.null else ("A single value", "A mapping", "A list")[node.kind]
