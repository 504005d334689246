"""The power tree as rows of a ledger: supplies, their batteries and outputs, and everything the outputs reach, run by run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from loopwright.appraisal.appraise import Appraisal
from loopwright.drawing.state import Standing, State, standing_of
from loopwright.job.document import Cable, Feed, Job, UnitSystem
from loopwright.job.unit import FOOT_M
from loopwright.power.forecast import LoadForecast, OutputForecast, label_of


class Mark(StrEnum):
    """What stands at the end of a row's line."""

    SUPPLY = "supply"
    BATTERY = "battery"
    OUTPUT = "output"
    JOINT = "joint"
    DEVICE = "device"
    HEADING = "heading"


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One row: how deep it hangs, what it is, where it leads, the run that reaches it, and its figures in one scenario."""

    depth: int
    mark: Mark
    name: str
    path: str = ""
    run: str = ""
    run_path: str = ""
    amps_a: float | None = None
    least_v: float | None = None
    volts_v: float | None = None
    standing: Standing | None = None


def run_words(job: Job, cable: str) -> str:
    """Return a run as a plan says it: name, length, conductor size.

    The length is one way, with the slack added to it.
    """
    run = job.cables[cable]
    length = length_words(run.length_m, job.region.units, slack_m=run.slack_m)
    return f"{cable} · {length} · {job.sheets.cables[run.sheet].gauge}"


def length_words(length_m: float, units: UnitSystem, *, slack_m: float = 0.0) -> str:
    """Return a length as it is read off a plan, no finer than a tenth, and the slack added to it.

    >>> length_words(12.0, UnitSystem.US), length_words(55.0, UnitSystem.METRIC, slack_m=3.0)
    ('39.4 ft', '55 + 3 m')
    """
    foot, unit = (FOOT_M, "ft") if units is UnitSystem.US else (1.0, "m")
    slack = f" + {round(slack_m / foot, 1):g}" if slack_m else ""
    return f"{round(length_m / foot, 1):g}{slack} {unit}"


def ledger(appraisal: Appraisal, scenario: str) -> tuple[Row, ...]:
    """Return the rows of the power tree in a scenario. Raises ValueError when there is no such scenario."""
    return tuple(_Walk(appraisal, appraisal.power.column(scenario)).rows())


class _Walk:
    """Follows every output outwards along the runs, as the network does, and yields each supply input once."""

    def __init__(self, appraisal: Appraisal, column: int) -> None:
        self.appraisal, self.column, self.job = appraisal, column, appraisal.job
        self.loads = {item.name: item for item in appraisal.power.loads}
        self.outputs = {item.name: item for item in appraisal.power.outputs}
        self.runs: dict[tuple[str, str], list[tuple[str, Cable, Feed]]] = {}
        for name, cable in self.job.cables.items():
            for feed in cable.feeds:
                self.runs.setdefault((feed.output, cable.start), []).append((name, cable, feed))
        self.inside: dict[str, list[str]] = {}
        for name, item in self.job.equipment.items():
            if item.inside and self.job.sheet_of(name).supply is None:
                self.inside.setdefault(item.inside, []).append(name)
        self.seen: set[str] = set()
        self.walked: set[str] = set()

    def rows(self) -> Iterator[Row]:
        for name in self.job.equipment:
            if self.job.sheet_of(name).supply is not None:
                yield from self._supply(name)
        left = [item for item in self.appraisal.power.loads if item.name not in self.seen]
        if left:
            yield Row(depth=0, mark=Mark.HEADING, name="On no output's way")
            for item in left:
                yield self._device(item, 1)
                yield from self._outputs(item.landing.equipment, 2)
        silent = sum(1 for name in self.job.equipment if not self.job.sheet_of(name).loads and self.job.sheet_of(name).supply is None)
        if silent:
            yield Row(
                depth=0,
                mark=Mark.HEADING,
                name=f"{silent} more devices take nothing from a supply" if silent > 1 else "1 more device takes nothing from a supply",
            )

    def _supply(self, name: str) -> Iterator[Row]:
        item = self.appraisal.power.supply(name)
        volts, amps = float(item.volts_v[self.column]), float(item.load_a[self.column])
        over = amps - item.limit_a
        yield Row(
            depth=0,
            mark=Mark.SUPPLY,
            name=label_of(self.job, name),
            path=f"equipment/{name}",
            run=f"gives up to {item.limit_a:g} A",
            volts_v=volts,
            amps_a=amps,
            standing=_over(over),
        )
        fitted = self.job.equipment[name].battery
        if fitted is not None:
            sheet = self.job.sheets.batteries[fitted.sheet]
            count = f"{fitted.parallel} × " if fitted.parallel > 1 else ""
            given = float(item.battery_a[self.column]) - float(item.charge_a[self.column])
            yield Row(
                depth=1,
                mark=Mark.BATTERY,
                name=f"Battery {count}{sheet.capacity_ah:g} Ah",
                path=f"equipment/{name}/battery",
                run="giving" if given > 5e-4 else "taking" if given < -5e-4 else "idle",
                amps_a=abs(given),
            )
        for item_name in [f"{name}.{load}" for load in self.job.sheet_of(name).loads]:
            yield self._device(self.loads[item_name], 1, run="inside, at the supply")
        yield from self._outputs(name, 1)

    def _outputs(self, unit: str, depth: int) -> Iterator[Row]:
        """Yield a unit's outputs with all they reach, once."""
        if unit in self.walked:
            return
        self.walked.add(unit)
        for output in self.job.sheet_of(unit).outputs:
            terminal = f"{unit}.{output}"
            yield self._output(self.outputs[terminal], depth, output)
            for name in self.inside.get(terminal, ()):
                yield from self._equipment(name, next(iter(self.job.sheet_of(name).loads), ""), depth + 1, run="inside", run_path="")
            yield from self._along(terminal, unit, depth + 1, {unit})

    def _output(self, item: OutputForecast, depth: int, name: str) -> Row:
        unit = item.name.split(".")[0]
        amps, volts = float(item.amps_a[self.column]), float(item.volts_v[self.column])
        live = self.appraisal.power.names[self.column].split("/")[0] in self.job.sheet_of(unit).outputs[name].on_in
        off = Standing(state=State.OFF, words="off", volts_v=None)
        return Row(
            depth=depth,
            mark=Mark.OUTPUT,
            name=f"Output {name}",
            path=f"equipment/{unit}",
            run=f"gives up to {item.limit_a:g} A",
            amps_a=amps if live else None,
            volts_v=volts if live else None,
            standing=_over(amps - item.limit_a) if live else off,
        )

    def _along(self, output: str, place: str, depth: int, reached: set[str]) -> Iterator[Row]:
        for name, cable, feed in self.runs.get((output, place), ()):
            run, end = run_words(self.job, name), cable.end
            if end in self.job.joints:
                again = end in reached
                yield Row(
                    depth=depth,
                    mark=Mark.JOINT,
                    name=f"{end}, joined again" if again else end,
                    path=f"joints/{end}",
                    run=run,
                    run_path=f"cables/{name}",
                )
                if again:
                    continue
            else:
                yield from self._equipment(end, feed.load, depth, run=run, run_path=f"cables/{name}")
            if end not in reached:
                reached.add(end)
                yield from self._along(output, end, depth + 1, reached)

    def _equipment(self, name: str, load: str, depth: int, *, run: str, run_path: str) -> Iterator[Row]:
        item = self.loads.get(f"{name}.{load}")
        if item is None or item.name in self.seen:
            again = f"{label_of(self.job, name)}, {'fed again' if item else 'no supply input'}"
            yield Row(depth=depth, mark=Mark.JOINT, name=again, path=f"equipment/{name}", run=run, run_path=run_path)
        else:
            yield self._device(item, depth, run=run, run_path=run_path)
        if self.job.sheet_of(name).supply is None:
            yield from self._outputs(name, depth + 1)

    def _device(self, item: LoadForecast, depth: int, *, run: str = "", run_path: str = "") -> Row:
        self.seen.add(item.name)
        name = item.landing.equipment
        standing = standing_of(self.appraisal, item, self.column)
        several = len(self.job.sheet_of(name).loads) > 1
        label = label_of(self.job, name)
        if self.job.sheet_of(name).supply is not None:
            label = f"{label}, itself"
        return Row(
            depth=depth,
            mark=Mark.DEVICE,
            name=f"{label} ({item.landing.load})" if several else label,
            path=f"equipment/{name}",
            run=run,
            run_path=run_path,
            amps_a=None if standing.volts_v is None else float(item.amps_a[self.column]),
            least_v=item.draw.min_v,
            volts_v=standing.volts_v,
            standing=standing,
        )


def _over(amps: float) -> Standing | None:
    """Return the standing of an output or supply that gives more than it may; None while it does not."""
    return Standing(state=State.SHORT, words=f"{amps:.2f} A over", volts_v=None) if amps > 1e-6 else None
