"""Units, programmes and sheets drawn at random, small enough that every list of entries can be tried."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from loopwright.job.document import Job
from loopwright.job.read import read

HEAD = """format: 1
title: drawn
premises: {name: drawn}
region: {country: GB, ruleset: custom}
equipment: {unit: {sheet: unit}}
"""
PLACES = ("programme/sounder_s", "programme/abort_s", "programme/cancel_s", "areas/hall/entry_s", "areas/hall/exit_s", "programme/blind_s")


@st.composite
def settings(draw: st.DrawFn) -> dict[str, dict[str, Any]]:
    """Draw up to five settings: addresses of one to three steps, some shared, defaults, waits without a circle, turns, kept or not."""
    found: dict[str, dict[str, Any]] = {}
    for number, of in enumerate(draw(st.lists(st.sampled_from(PLACES), min_size=1, max_size=5, unique=True))):
        steps = [draw(st.sampled_from("ab")) for _ in range(draw(st.integers(0, 2)))] + [draw(st.sampled_from("xyz"))]
        found[f"s{number}"] = {
            "address": ", ".join(steps), "default": str(draw(st.integers(0, 3))), "of": of, "digits": draw(st.integers(1, 3)),
            "kept": draw(st.booleans()), "after": [f"s{each}" for each in range(number) if draw(st.integers(0, 3)) == 0],
        }  # fmt: skip
    if draw(st.booleans()):
        # Who comes last waits for nothing that waits for it: the last drawn is waited for by none.
        found[f"s{len(found) - 1}"]["turn"] = "last"
    return found


def written(drawn: dict[str, dict[str, Any]], values: dict[str, int], keying: dict[str, Any]) -> str:
    """Return the document of a unit with these settings, and a programme with these values."""
    rows = "".join(
        f"        {name}: {{{', '.join(f'{key}: {_text(each)}' for key, each in row.items())}}}\n" for name, row in drawn.items()
    )
    costs = ", ".join(f"{key}: {_text(each)}" for key, each in keying.items())
    sheet = f"    unit:\n      kind: control-unit\n      maker: m\n      model: m\n      keying: {{{costs}}}\n      settings:\n{rows}"
    own = {of.split("/")[1]: value for of, value in values.items() if of.startswith("programme/")}
    hall = {of.split("/")[2]: value for of, value in values.items() if of.startswith("areas/")}
    areas = f"areas: {{hall: {{name: Hall{''.join(f', {key}: {value}' for key, value in hall.items())}}}}}\n"
    programme = f"programme: {{{', '.join(f'{key}: {value}' for key, value in own.items())}}}\n" if own else ""
    return f"{HEAD}sheets:\n  equipment:\n{sheet}{areas}{programme}"


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return f"[{', '.join(value)}]"
    return f'"{value}"' if isinstance(value, str) and ("," in value or value.isdecimal()) else str(value)


@st.composite
def units(draw: st.DrawFn) -> tuple[Job, dict[str, dict[str, Any]], dict[str, int], dict[str, Any]]:
    """Draw a job with one unit; return it, the settings, what the programme wants and what keying costs."""
    drawn = draw(settings())
    values = {row["of"]: draw(st.integers(0, 3)) for row in drawn.values() if draw(st.integers(0, 5))}
    costs = {
        "in_presses": draw(st.integers(0, 3)), "out_presses": draw(st.integers(0, 2)), "restore": draw(st.sampled_from(["r", "a, r", ""])),
        "restore_presses": draw(st.integers(0, 2)),
    }  # fmt: skip
    return read(written(drawn, values, costs)).job, drawn, values, costs
