"""One supply on paper: currents by state, volts, its battery asked for against fitted, heat and transformer."""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.document import Job
from loopwright.job.quantity import show_quantity
from loopwright.job.sheet import STATES, ChargerKind, SupplySheet
from loopwright.job.speech import plain_words
from loopwright.papers.words import Cell, computed, fixed, plain, stated
from loopwright.power.discharge import BATTERY
from loopwright.power.forecast import SupplyForecast, heat_w, label_of, transformer_va
from loopwright.power.standby import StandbyForecast, limit_words
from loopwright.values.figure import show
from loopwright.values.source import source


def supplies(appraisal: Appraisal) -> Iterator[tuple[str, dict[str, object], StandbyForecast | None]]:
    """Yield each supply's name, its part of the record, and its standby forecast where it has a battery."""
    standby = {item.supply: item for item in appraisal.standby}
    for item in appraisal.power.supplies:
        found = standby.get(item.name)
        sheet = appraisal.job.sheet_of(item.name)
        assert sheet.supply is not None
        yield (
            item.name,
            {
                "label": plain(label_of(appraisal.job, item.name)),
                "id": plain(item.name),
                "sheet": plain(f"{sheet.maker} {sheet.model}"),
                "invented": sheet.invented,
                "states": _states(appraisal, item),
                "facts": [{"name": name, **cell} for name, cell in _facts(appraisal, item, sheet.supply)],
                "battery": [{"name": name, **cell} for name, cell in _battery(appraisal.job, found)] if found else [],
                "notes": [plain(words) for words in _grounds(found)] if found else [],
            },
            found,
        )


def _states(appraisal: Appraisal, item: SupplyForecast) -> list[list[str]]:
    """Return for each state the amperes of the loads, from mains and from the battery, the charge, and volts on mains, battery, cut-out."""
    out = []
    for state in STATES:
        mains, battery, ending, charging = (
            appraisal.power.column(f"{state}/{name}") for name in ("mains", "battery", "battery-end", "recharging")
        )
        amps = (item.load_a[mains], item.load_a[battery], item.load_a[ending], item.charge_a[charging], item.mains_a[charging])
        volts = (item.volts_v[mains], item.volts_v[battery], item.volts_v[ending])
        out.append([str(state), *(fixed(float(a), 3) for a in amps), *(fixed(float(v), 2) for v in volts)])
    return out


def _facts(appraisal: Appraisal, item: SupplyForecast, supply: SupplySheet) -> Iterator[tuple[str, Cell]]:
    job = appraisal.job
    base = f"sheets/equipment/{job.equipment[item.name].sheet}/supply"
    yield "Volts on mains, no load", stated(job, f"{base}/output_v", f"{supply.output_v:.2f} V")
    yield "Most current in all", stated(job, f"{base}/limit_a", f"{supply.limit_a:.2f} A")
    yield "Battery let go at", stated(job, f"{base}/cut_out_v", f"{supply.cut_out_v:.2f} V")
    if supply.low_battery_v is not None:
        yield "Low battery shown at", stated(job, f"{base}/low_battery_v", f"{supply.low_battery_v:.2f} V")
    charger = supply.charger
    words = plain_words(charger.kind)
    if charger.kind is ChargerKind.CURRENT_LIMITED and charger.limit_a is not None:
        words += f", {charger.limit_a:.2f}\N{NO-BREAK SPACE}A"
    yield "Charger", stated(job, f"{base}/charger/kind", words)
    yield "Float volts", stated(job, f"{base}/charger/float_v", f"{charger.float_v:.2f} V")
    yield "Heat at worst", computed(str(heat_w(job, appraisal.power, item.name)))
    yield "At an efficiency of", stated(job, f"{base}/efficiency", f"{supply.efficiency:.2f}")
    rating = transformer_va(job, appraisal.power, item.name)
    if rating is not None:
        given = f" of {supply.transformer_va:g} VA" if supply.transformer_va is not None else ", rating not entered"
        yield "Transformer load at worst", computed(f"{rating}{given}")


def _battery(job: Job, item: StandbyForecast) -> Iterator[tuple[str, Cell]]:
    fitted = job.equipment[item.supply].battery
    assert fitted is not None
    sheet, base, need = job.sheets.batteries[fitted.sheet], f"equipment/{item.supply}/battery", item.requirement
    mark = ", invented for the example" if sheet.invented else ""
    count = f"{fitted.parallel} × " if fitted.parallel > 1 else ""
    yield "Battery fitted", computed(f"{count}{sheet.maker} {sheet.model}, {item.fitted_ah:g} Ah{mark}")
    yield "Date fitted", computed(fitted.fitted_on or "not entered")
    yield "Hours asked for", computed(f"{need.standby_h:g} h set, then {need.alarm_h * 60:.0f} min in alarm")
    yield "Capacity asked for", computed(f"{show(item.required_ah, 'Ah')}, from {need.formula.equation}")
    yield "Current set, in alarm", computed(f"{item.standby_a:.3f} A, {item.alarm_a:.3f} A on battery")
    by = "" if item.longest.limited_by == BATTERY else f", limited by {limit_words(job, item.longest.limited_by)}"
    yield "Hours set, alarm to come", computed(f"{item.longest.hours:.1f} h{by}" if item.longest.fits else f"the alarm does not fit{by}")
    yield "Hours set, to the cut-out", computed(f"{item.to_cut_out_h:.1f} h" if item.to_cut_out_h is not None else "over a year")
    if item.first_short is not None and item.to_first_short_h is not None:
        yield "First device short", computed(f"{limit_words(job, item.first_short)}, after {item.to_first_short_h:.1f} h set")
    hours, most = item.recharge.to_80_pct_h, need.recharge_h
    asked = "" if most is None else f"; at most {most:g} h asked for"
    yield "Recharge to 80 %", computed(f"{'never' if hours is None else show(hours, 'h')} at {item.charge_a:.3f} A{asked}")
    measured = fitted.measured_capacity_pct
    age = "80 % of it, as aged" if measured is None else f"{measured:g} % of it, as measured"
    yield "Capacity reckoned with", stated(job, f"{base}/measured_capacity_pct", age)
    yield "Box temperature", stated(job, f"{base}/temperature_c", show_quantity(fitted.temperature_c, "°C", job.region.units))


def _grounds(item: StandbyForecast) -> Iterator[str]:
    """Yield on whose word the hours are asked for."""
    need = item.requirement
    clause = f", {need.clause}" if need.clause else ""
    yield f"Hours asked for: {source(need.source)}{clause}. Capacity: {source(need.formula.source)}."
    if need.recharge_h is not None:
        yield f"Recharge: {source(need.recharge_source)}."
