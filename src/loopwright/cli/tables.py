"""A forecast as tables for people: figures stand under each other, and what falls short is marked by a word beside the colour."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from rich.text import Text

from loopwright.appraisal.stage_reach import reach_of
from loopwright.cli.terminal import plain
from loopwright.power.forecast import CONDITIONS, Floats, LoadForecast, label_of, scenario_words
from loopwright.values.figure import show as shown

if TYPE_CHECKING:
    from rich.console import Console

    from loopwright.appraisal.appraise import Appraisal
    from loopwright.circuits.forecast import ActForecast, CircuitForecast
    from loopwright.power.standby import StandbyForecast

BAD = "bold red"
GAP = 2


@dataclass(frozen=True, kw_only=True, slots=True)
class Column:
    """One column: its heading, and whether figures stand in it, which are set against its right edge."""

    heading: str
    figures: bool = False


Cell = str | Text


def show(out: Console, appraisal: Appraisal) -> None:
    """Print the forecast."""
    reach = reach_of(appraisal.job.stage)
    out.print(Text(plain(appraisal.job.title), "bold"), soft_wrap=True)
    out.print(Text(f"Stage: {appraisal.job.stage}. {reach.sentence}"), soft_wrap=not out.is_terminal)
    if reach.live:
        _print(out, _VOLTS, _load_columns(), _loads(appraisal))
        _print(out, "Current out of each output, highest over all states", _OUTPUTS, _outputs(appraisal))
        _print(out, "Supplies", _SUPPLIES, _supplies(appraisal))
        _print(out, "Batteries", _BATTERIES, (_battery(appraisal, item) for item in appraisal.standby))
    columns = _LIVE_CIRCUITS if reach.live else _DEAD_CIRCUITS
    _print(out, "Detection circuits, both wires out of the input", columns, _circuits(appraisal.circuits, live=reach.live))
    _print(out, "Supervised outputs while they are off", columns, _circuits(appraisal.watches, live=reach.live))


def _print(out: Console, title: str, columns: Sequence[Column], rows: Iterable[Sequence[Cell]]) -> None:
    """Print a table; nothing when it has no rows. A row is one line: a narrow terminal folds it, and neither figure nor name is cut.

    Laid out here, since the library's own table takes half a second for a few hundred rows.
    """
    body = [[cell if isinstance(cell, Text) else Text(cell) for cell in row] for row in rows]
    if not body:
        return
    lines = [[Text(column.heading, "dim") for column in columns], *body]
    widths = [max(line[number].cell_len for line in lines) for number in range(len(columns))]
    drawn = Text(no_wrap=True)
    for line in lines:
        drawn.append_text(_line(line, columns, widths)).append("\n")
    out.print()
    out.print(Text(title, "bold"), soft_wrap=True)
    out.print(drawn, soft_wrap=True, end="")


def _line(cells: Sequence[Text], columns: Sequence[Column], widths: Sequence[int]) -> Text:
    """Return one row, figures against the right edge of their column, and nothing behind the last word."""
    row, gap = Text(), 0
    for cell, column, width in zip(cells, columns, widths, strict=True):
        free = width - cell.cell_len
        before = gap + (free if column.figures else 0)
        gap = GAP if column.figures else GAP + free
        if cell.cell_len:
            row.append(" " * before).append_text(cell)
        else:
            gap += before
    return row


_VOLTS = (
    "Volts across each device, lowest over the states in which it is fed: on mains; on battery, full; on battery at the cut-out; "
    "on mains without battery; on mains, recharging"
)
_HEADINGS = {
    "mains": "mains",
    "battery": "battery",
    "battery-end": "cut-out",
    "mains-no-battery": "no battery",
    "recharging": "charging",
}


def _load_columns() -> tuple[Column, ...]:
    conditions = (Column(heading=_HEADINGS[each], figures=True) for each in CONDITIONS)
    lead = (Column(heading="device"), Column(heading="needs", figures=True), Column(heading="least in hand", figures=True))
    return (*lead, *conditions, Column(heading="least when"))


def _loads(appraisal: Appraisal) -> Iterable[Sequence[Cell]]:
    names = appraisal.power.names
    for load in appraisal.power.loads:
        at = [[n for n, name in enumerate(names) if name.endswith(f"/{each}") and load.live[n]] for each in CONDITIONS]
        volts = [_lowest(load.volts_v[columns]) for columns in at]
        in_hand, when = _least(names, load)
        yield (
            plain(f"{load.landing.equipment}.{load.landing.load}"),
            shown(load.draw.min_v, "V"),
            in_hand,
            *(Text(shown(value, "V"), BAD if value is not None and value < load.draw.min_v else "") for value in volts),
            when,
        )


def _lowest(values: Floats) -> float | None:
    known = values[~np.isnan(values)]
    return float(known.min()) if known.size else None


def _least(names: Sequence[str], load: LoadForecast) -> tuple[Text, str]:
    """Return the least margin and when it is met; too few volts are called short."""
    margin = np.where(np.isnan(load.margin_v), np.inf, load.margin_v)
    worst = int(np.argmin(margin))
    value = float(margin[worst])
    if not np.isfinite(value):
        return Text("not fed", BAD), ""
    return Text(f"{'short ' if value < 0 else ''}{shown(abs(value), 'V')}", BAD if value < 0 else ""), scenario_words(names[worst])


_OUTPUTS = (Column(heading="output"), Column(heading="most", figures=True), Column(heading="limit", figures=True), Column(heading="when"))


def _outputs(appraisal: Appraisal) -> Iterable[Sequence[Cell]]:
    for output in appraisal.power.outputs:
        value, when = _highest(appraisal.power.names, output.amps_a)
        high = value is not None and value > output.limit_a
        yield (
            plain(output.name),
            Text(shown(value, "A"), BAD if high else ""),
            shown(output.limit_a, "A"),
            Text(f"{'over its limit, ' if high else ''}{when}", BAD if high else ""),
        )


def _highest(names: Sequence[str], values: Floats) -> tuple[float | None, str]:
    if np.all(np.isnan(values)):
        return None, ""
    at = int(np.nanargmax(values))
    return float(values[at]), scenario_words(names[at]) if values[at] > 0 else "never on"


_SUPPLIES = (
    Column(heading="supply"),
    *(Column(heading=each, figures=True) for each in ("volts, set, on mains", "load, set", "most load", "limit", "charging, set")),
    Column(heading="most load when"),
)


def _supplies(appraisal: Appraisal) -> Iterable[Sequence[Cell]]:
    names = appraisal.power.names
    at_rest, charging = names.index("set/mains"), names.index("set/recharging")
    for supply in appraisal.power.supplies:
        value, when = _highest(names, supply.load_a)
        yield (
            plain(supply.name),
            shown(float(supply.volts_v[at_rest]), "V"),
            shown(float(supply.load_a[at_rest]), "A"),
            Text(shown(value, "A"), BAD if value is not None and value > supply.limit_a else ""),
            shown(supply.limit_a, "A"),
            shown(float(supply.charge_a[charging]), "A"),
            when,
        )


_BATTERIES = (
    Column(heading="supply"),
    *(Column(heading=each, figures=True) for each in ("fitted", "asked for", "standby", "asked for", "to the cut-out", "to 80 % again")),
    Column(heading="limited by"),
)


def _battery(appraisal: Appraisal, item: StandbyForecast) -> Sequence[Cell]:
    hours = item.longest.hours if item.longest.fits else 0.0
    return (
        plain(label_of(appraisal.job, item.supply)),
        Text(shown(item.fitted_ah, "Ah"), BAD if item.fitted_ah < item.required_ah else ""),
        shown(item.required_ah, "Ah"),
        Text(shown(hours, "h"), BAD if hours < item.requirement.standby_h else ""),
        shown(item.requirement.standby_h, "h"),
        shown(float("inf") if item.to_cut_out_h is None else item.to_cut_out_h, "h"),
        "never" if np.isinf(item.recharge.to_80_pct_h) else shown(item.recharge.to_80_pct_h, "h"),
        plain(item.longest.limited_by) if item.longest.fits else Text("the alarm does not fit", BAD),
    )


_DEAD_CIRCUITS = (
    Column(heading="circuit"),
    Column(heading="act"),
    Column(heading="device"),
    *(Column(heading=each, figures=True) for each in ("ohms", "from", "to")),
)
_LIVE_CIRCUITS = (
    *_DEAD_CIRCUITS,
    Column(heading="in place", figures=True),
    Column(heading="taken for"),
    Column(heading="misread", figures=True),
)


def _circuits(circuits: Iterable[CircuitForecast], *, live: bool) -> Iterable[Sequence[Cell]]:
    for circuit in circuits:
        for act in circuit.acts:
            dead = (plain(circuit.circuit), str(act.act.kind), plain(act.act.device or ""), *_ohms(act))
            yield (*dead, *_live(act)) if live else dead


def _ohms(act: ActForecast) -> Sequence[Cell]:
    return tuple(shown(value, "Ω") for value in (act.field_ohm, act.low_ohm, act.high_ohm))


def _live(act: ActForecast) -> Sequence[Cell]:
    if act.misread is None:
        return shown(act.volts_v, "V"), "no bands given", ""
    taken = "no promise" if act.taken_for is None else str(act.taken_for)
    meant = ", ".join(sorted(str(each) for each in act.meant))
    return (
        shown(act.volts_v, "V"),
        Text(taken if act.right else f"{taken}, meant {meant}", "" if act.right else BAD),
        f"{act.misread * 100:.2f} %",
    )
