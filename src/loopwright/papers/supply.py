"""One supply on paper: currents by state, volts, its battery asked for against fitted, heat and transformer."""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.document import Job
from loopwright.job.sheet import STATES, ChargerKind, SupplySheet
from loopwright.papers.words import Cell, computed, fixed, plain, stated
from loopwright.power.discharge import BATTERY
from loopwright.power.forecast import SupplyForecast, heat_w, label_of, transformer_va
from loopwright.power.standby import StandbyForecast
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
    yield "Most current, charging included", stated(job, f"{base}/limit_a", f"{supply.limit_a:.2f} A")
    yield "Battery let go at", stated(job, f"{base}/cut_out_v", f"{supply.cut_out_v:.2f} V")
    if supply.low_battery_v is not None:
        yield "Low battery shown at", stated(job, f"{base}/low_battery_v", f"{supply.low_battery_v:.2f} V")
    charger = supply.charger
    words = str(charger.kind).replace("-", " ")
    if charger.kind is ChargerKind.CURRENT_LIMITED and charger.limit_a is not None:
        words += f", {charger.limit_a:.2f} A"
    yield "Charger", stated(job, f"{base}/charger/kind", words)
    yield "Float volts", stated(job, f"{base}/charger/float_v", f"{charger.float_v:.2f} V")
    yield "Heat at worst", computed(str(heat_w(job, appraisal.power, item.name)))
    yield "reckoned with an efficiency of", stated(job, f"{base}/efficiency", f"{supply.efficiency:.2f}")
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
    yield "Fitted", computed(f"{count}{sheet.maker} {sheet.model}, {item.fitted_ah:g} Ah{mark}")
    yield "Date fitted", computed(fitted.fitted or "not entered")
    clause = f", {need.clause}" if need.clause else ""
    yield "Asked for", computed(f"{need.standby_h:g} h set, {need.alarm_h * 60:.0f} min alarm ({source(need.source)}{clause})")
    yield "Capacity asked for", computed(f"{show(item.required_ah, 'Ah')} by {need.formula.equation}")
    yield "Current set / in alarm, on battery", computed(f"{item.standby_a:.3f} A / {item.alarm_a:.3f} A")
    by = "" if item.longest.limited_by == BATTERY else f", limited by {label_of(job, item.longest.limited_by.split('.')[0])}"
    longest = f"{item.longest.hours:.1f} h{by}" if item.longest.fits else f"the alarm does not fit{by}"
    yield "Longest standby with the alarm still to come", computed(longest)
    yield "Hours set until the battery lets go", computed(fixed(item.to_cut_out_h, 1) if item.to_cut_out_h else "over a year")
    if item.first_short is not None and item.to_first_short_h is not None:
        yield "First device to fall short", computed(f"{label_of(job, item.first_short.split('.')[0])}, after {item.to_first_short_h:.1f} h set")
    asked = f" (at most {need.recharge_h:g} h: {source(need.recharge_source)})" if need.recharge_h is not None else ""
    hours = item.recharge.to_80_pct_h
    yield "Recharge to 80 %", computed(f"{show(hours, 'h') if hours is not None else 'never'}, at {item.charge_a:.3f} A{asked}")
    aged = fitted.measured_capacity_pct is None
    age = "reckoned at 80 % of it, as aged" if aged else f"{fitted.measured_capacity_pct:g} % measured"
    yield "Part of the capacity", stated(job, f"{base}/measured_capacity_pct", age)
    yield "Box temperature", stated(job, f"{base}/temperature_c", f"{fitted.temperature_c:g} °C")
