"""A design for premises that are not on file: what the caller told, and for the rest what is usual, each plain to see as assumed.

The equipment is a usual one, its figures of the size common in the trade (common practice, no source), marked as invented in the document.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loopwright.job.starter import fresh

CONTROL, SIREN = "control", "control.siren"
MOST_ZONES, MOST_KEYPADS = 32, 4
RADIO = "radio"
TOLD, ASSUMED = "told", "assumed"


@dataclass(frozen=True, kw_only=True, slots=True)
class Fact:
    """One fact of an assumed system: what it is, what may be said of it, what is usual, and whether somebody said so."""

    key: str
    words: str
    choices: tuple[tuple[str, str], ...]
    value: str
    said: bool

    @property
    def value_words(self) -> str:
        """Return the value as people say it."""
        return dict(self.choices).get(self.value, self.value)


_NUMBERS = (("4", "about 4"), ("8", "about 8"), ("16", "about 16"), ("32", "about 32"))
_YES_NO = (("yes", "yes"), ("no", "no"))
FACTS: Mapping[str, tuple[str, tuple[tuple[str, str], ...], str]] = {
    "zones": ("Zones of the control unit", _NUMBERS, "8"),
    "wiring": ("Detectors", (("wired", "wired"), (RADIO, "by radio")), "wired"),
    "keypads": ("Keypads", (("1", "one"), ("2", "two"), ("3", "three")), "1"),
    "line": ("Telephone line into it", _YES_NO, "no"),
    "network": ("Network or mobile link", _YES_NO, "no"),
    "battery_ah": ("Battery", (("2.1", "about 2 Ah"), ("7", "about 7 Ah"), ("17", "about 17 Ah")), "7"),
    "battery_years": ("Age of the battery", (("0", "new"), ("2", "about 2 years"), ("4", "about 4 years"), ("7", "7 years or more")), "4"),
    "sounder": ("Siren outside", (("own", "with a battery of its own"), ("fed", "fed from the control unit")), "own"),
}
"""What may be said of a system nobody has on file: words, choices, and what is usual."""


def facts_of(told: Mapping[str, str]) -> tuple[Fact, ...]:
    """Return every fact, as it was told or as it is assumed; what is no choice counts as not told."""
    return tuple(
        Fact(
            key=key,
            words=words,
            choices=choices,
            value=told[key] if told.get(key) in dict(choices) else usual,
            said=told.get(key) in dict(choices),
        )
        for key, (words, choices, usual) in FACTS.items()
    )


def assumed_document(premises: str, told: Mapping[str, str], *, year: int) -> str:
    """Return the document of an assumed system, ready to be read; ``year`` is the present one. Raises JobError when the name cannot stand.

    A comment on its line says of each fact whether the caller told it.
    """
    facts = {fact.key: fact for fact in facts_of(told)}
    name = premises or "Premises of a caller"
    head = fresh(title=name, name=name, country="GB", ruleset="en-grade-2", units="metric")
    # What the starter explains and leaves out has no place in a document that has it.
    first = "\n".join(line for line in head.splitlines() if line and not line.lstrip().startswith("#"))
    first = first.replace("stage: design", "stage: in-service")
    parts = (first, _SHEETS, _equipment(facts, year), _cables(facts), _circuits(facts), _signalling(facts))
    return _HEAD + "\n".join(part for part in parts if part) + "\n"


_HEAD = """# Begun at the desk from a call. A line says 'told' where the caller said so, and 'assumed' where nobody has:
# see it before you trust it.
"""
_SHEETS = """sheets:
  equipment:
    assumed-unit:
      kind: control-unit
      maker: not known
      model: assumed
      invented: true
      provenance: assumed at the desk
      loads: {board: {unset_a: 90 mA, alarm_a: 120 mA, min_v: 9}}
      outputs:
        aux: {limit_a: 750 mA, path_ohm: 0.15}
        siren:
          limit_a: 1 A
          path_ohm: 0.1
          on_in: [alarm]
          supervision: {resistor_ohm: 1k, pull_up_v: 5, pull_up_ohm: 3k3, short_below_ohm: 150, open_above_ohm: 4k7}
        hold-off: {limit_a: 500 mA, path_ohm: 0.15}
      inputs:
        count: 32
        pull_up_v: 5 V
        pull_up_ohm: 4k7
        bands:
          double:
            - {reads: short, from_ohm: 0, to_ohm: 800}
            - {reads: rest, from_ohm: 1k6, to_ohm: 3k9}
            - {reads: active, from_ohm: 6k, to_ohm: 13k}
            - {reads: open, from_ohm: 20k}
      supply:
        {conversion: transformer, transformer_va: 30, secondary_v: 16.5, output_v: 13.7 V, source_ohm: 0.1, limit_a: 1.5 A,
        charger: {kind: current-limited, limit_a: 400 mA, float_v: 13.7}, battery_path_ohm: 0.05,
        cut_out_v: 10.5 V, low_battery_v: 11.4 V, restore_v: 12.5 V, largest_battery_ah: 18 Ah}
      bus: {longest_m: 200, total_m: 400, shape: any, first_address: 1, last_address: 8}
    assumed-keypad:
      {kind: keypad, maker: not known, model: assumed, invented: true, provenance: assumed at the desk, addressed: true,
      loads: {supply: {unset_a: 40 mA, alarm_a: 70 mA, min_v: 9}}}
    assumed-detector:
      {kind: detector, maker: not known, model: assumed, invented: true, provenance: assumed at the desk, warm_up_s: 60,
      loads: {supply: {unset_a: 12 mA, alarm_a: 15 mA, min_v: 9}}, contacts: {alarm: {}, tamper: {}}}
    assumed-contact:
      {kind: contact, maker: not known, model: assumed, invented: true, provenance: assumed at the desk, contacts: {alarm: {}}}
    assumed-siren:
      {kind: sounder, maker: not known, model: assumed, invented: true, provenance: assumed at the desk,
      loads: {supply: {unset_a: 0, alarm_a: 300 mA, min_v: 9}}}
    assumed-own-siren:
      {kind: sounder, maker: not known, model: assumed, invented: true, provenance: assumed at the desk, self_powered: true,
      loads: {hold-off: {unset_a: 30 mA, alarm_a: 280 mA, min_v: 9}, supply: {unset_a: 0, alarm_a: 12 mA, min_v: 8}}}
  batteries:
    small: {maker: not known, model: assumed, invented: true, capacity_ah: 2.1}
    usual: {maker: not known, model: assumed, invented: true, capacity_ah: 7}
    large: {maker: not known, model: assumed, invented: true, capacity_ah: 17}
  cables:
    assumed-six: {maker: not known, model: assumed, invented: true, provenance: assumed at the desk, cores: 6, gauge: 0.22 mm²}"""


def _mark(*facts: Fact) -> str:
    return "  # " + ", ".join(f"{fact.words.lower()}: {TOLD if fact.said else ASSUMED}" for fact in facts)


def _zones(facts: Mapping[str, Fact]) -> int:
    return 0 if facts["wiring"].value == RADIO else int(facts["zones"].value)


def _names(facts: Mapping[str, Fact]) -> list[tuple[str, str, str]]:
    """Return name, label and sheet of the device of each zone: a door contact first and then one in two, the rest detectors."""
    return [
        (f"door-{number}", f"Door or window of zone {number}", "assumed-contact")
        if number == 1 or number % 2 == 0
        else (f"detector-{number}", f"Detector of zone {number}", "assumed-detector")
        for number in range(1, _zones(facts) + 1)
    ]


def _keypads(facts: Mapping[str, Fact]) -> list[str]:
    return [f"keypad-{number}" for number in range(1, int(facts["keypads"].value) + 1)]


def _equipment(facts: Mapping[str, Fact], year: int) -> str:
    size, age = facts["battery_ah"], facts["battery_years"]
    sheet = {"2.1": "small", "7": "usual", "17": "large"}[size.value]
    fitted = f"{{sheet: {sheet}, fitted_on: {year - int(age.value)}-01}}"
    siren = facts["sounder"]
    fitted_siren = "assumed-own-siren" if siren.value == "own" else "assumed-siren"
    zoned = _mark(facts["zones"], facts["wiring"])
    rows = [
        "equipment:",
        f"  control: {{sheet: assumed-unit, label: Control unit, battery: {fitted}}}{_mark(size, age)}",
        *(
            f"  {name}: {{sheet: assumed-keypad, label: Keypad {number}, address: {number}, enrolled: yes}}{_mark(facts['keypads'])}"
            for number, name in enumerate(_keypads(facts), 1)
        ),
        f"  siren: {{sheet: {fitted_siren}, label: Siren}}{_mark(siren)}",
        *(f"  {name}: {{sheet: {kind}, label: {label}}}{zoned}" for name, label, kind in _names(facts)),
    ]
    return "\n".join(rows)


def _cables(facts: Mapping[str, Fact]) -> str:
    """Return the runs; twenty metres to everything is assumed."""
    siren = "{output: control.hold-off, load: hold-off}, {output: control.siren, load: supply}"
    feeds = siren if facts["sounder"].value == "own" else "{output: control.siren}"
    rows = ["cables:  # every length assumed"]
    rows += [
        f"  K{number}: {{sheet: assumed-six, start: control, end: {name}, length_m: 20, bus: yes, feeds: [{{output: control.aux}}]}}"
        for number, name in enumerate(_keypads(facts), 1)
    ]
    rows.append(f"  S1: {{sheet: assumed-six, start: control, end: siren, length_m: 20, feeds: [{feeds}]}}")
    for number, (name, _, kind) in enumerate(_names(facts), 1):
        feed = ", feeds: [{output: control.aux}]" if kind == "assumed-detector" else ""
        rows.append(f"  W{number}: {{sheet: assumed-six, start: control, end: {name}, length_m: 20{feed}}}")
    return "\n".join(rows)


def _circuits(facts: Mapping[str, Fact]) -> str:
    if not _zones(facts):
        return ""
    names = _names(facts)
    rows = ["circuits:  # resistors and wiring assumed"]
    rows += [
        f"  c{number:02}: {{input: control.{number}, topology: double, resistors: {{end_ohm: 2k2, alarm_ohm: 4k7}}, "
        f"path: [{{cable: W{number}, device: {name}, contacts: [{'alarm, tamper' if kind == 'assumed-detector' else 'alarm'}]}}]}}"
        for number, (name, _, kind) in enumerate(names, 1)
    ]
    rows += ["areas:", "  whole: {name: Whole premises, entry_s: 30, exit_s: 60}", "zones:  # what each zone is, assumed"]
    rows += [
        f"  z{number:02}: {{number: {number}, text: Zone {number}, circuit: c{number:02}, areas: [whole], "
        f"response: {{full: {'final-exit' if number == 1 else 'immediate'}}}}}"
        for number in range(1, len(names) + 1)
    ]
    return "\n".join(rows)


def _signalling(facts: Mapping[str, Fact]) -> str:
    paths = [(key, kind) for key, kind in (("line", "line"), ("network", "ip")) if facts[key].value == "yes"]
    # What nobody has said bears no fault out: a test signal is usual.
    rows = ["signalling:", "  reports: {test: yes}  # assumed", *(["  paths:"] if paths else [])]
    return "\n".join([*rows, *(f"    {key}: {{kind: {kind}}}{_mark(facts[key])}" for key, kind in paths)])
