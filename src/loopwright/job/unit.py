"""The units people write on site, and what each is worth in the unit the document keeps.

A small table of our own: a general units library costs a fifth of a second at start. The test suite holds every row of it
against such a library. ``UNITS[kept][written]`` is ``(factor, offset)`` with kept = written × factor + offset.
"""

from __future__ import annotations

from collections.abc import Mapping

Worth = tuple[float, float]

FOOT_M = 0.3048  # exact, international foot
KFT_PER_KM = 1000 / 304.8
MICRO = "\u00b5"  # as a keyword argument it would turn into its Greek twin


def _scaled(**factors: float) -> dict[str, Worth]:
    """Return rows without an offset."""
    return {name: (factor, 0.0) for name, factor in factors.items()}


_TIME_S = {
    "ms": 1e-3,
    **dict.fromkeys(("s", "sec", "second", "seconds"), 1.0),
    **dict.fromkeys(("min", "minute", "minutes"), 60.0),
    **dict.fromkeys(("h", "hr", "hour", "hours"), 3600.0),
    **dict.fromkeys(("d", "day", "days"), 86400.0),
}


def _times(unit_s: float) -> dict[str, Worth]:
    return {name: (seconds / unit_s, 0.0) for name, seconds in _TIME_S.items()}


def _per_length(names: Mapping[str, float]) -> dict[str, Worth]:
    """Return ohms by length: each name of a resistance by each length, worth in ohms per kilometre."""
    lengths = {
        "km": 1.0,
        "m": 1000.0,
        "100m": 10.0,
        "kft": KFT_PER_KM,
        "1000ft": KFT_PER_KM,
        "ft": 1000 * KFT_PER_KM,
        "100ft": 10 * KFT_PER_KM,
    }
    return {f"{name}/{length}": (worth * by, 0.0) for name, worth in names.items() for length, by in lengths.items()}


_OHM = {"Ω": 1.0, "ohm": 1.0, "ohms": 1.0, "R": 1.0}

UNITS: Mapping[str, Mapping[str, Worth]] = {
    "m": {
        **_scaled(m=1.0, cm=0.01, mm=0.001, km=1000.0, metre=1.0, metres=1.0, meter=1.0, meters=1.0),
        **_scaled(ft=FOOT_M, foot=FOOT_M, feet=FOOT_M, kft=1000 * FOOT_M, yd=3 * FOOT_M, inch=0.0254, inches=0.0254),
        "in": (0.0254, 0.0),
        "'": (FOOT_M, 0.0),
        '"': (0.0254, 0.0),
    },
    "Ω": {
        **_scaled(ohm=1.0, ohms=1.0, R=1.0, k=1e3, kohm=1e3, kohms=1e3, M=1e6, Mohm=1e6, mohm=1e-3),
        **_scaled(Ω=1.0, kΩ=1e3, MΩ=1e6, mΩ=1e-3),
    },
    "Ω/km": {**_per_length(_OHM), **_per_length({"mΩ": 1e-3, "mohm": 1e-3})},
    "V": _scaled(V=1.0, mV=1e-3, kV=1e3, volt=1.0, volts=1.0),
    "A": {**_scaled(A=1.0, mA=1e-3, uA=1e-6, amp=1.0, amps=1.0, ampere=1.0, amperes=1.0), MICRO + "A": (1e-6, 0.0)},
    "Ah": _scaled(Ah=1.0, mAh=1e-3),
    "VA": _scaled(VA=1.0, kVA=1e3),
    "°C": {
        **_scaled(C=1.0, degC=1.0),
        "°C": (1.0, 0.0),
        **dict.fromkeys(("°F", "F", "degF"), (5 / 9, -160 / 9)),
    },
    "s": _times(1.0),
    "min": _times(60.0),
    "h": _times(3600.0),
    "%": {"%": (1.0, 0.0), "percent": (1.0, 0.0)},
    "pF/m": {
        "pF/m": (1.0, 0.0),
        "nF/km": (1.0, 0.0),
        "nF/m": (1e3, 0.0),
        "pF/km": (1e-3, 0.0),
        "pF/ft": (1 / FOOT_M, 0.0),
        "nF/kft": (1 / FOOT_M, 0.0),
    },
    "nF": {**_scaled(nF=1.0, pF=1e-3, uF=1e3), MICRO + "F": (1e3, 0.0)},
    "Hz": _scaled(Hz=1.0, kHz=1e3),
    "dB(A)": dict.fromkeys(("dB(A)", "dBA", "dB"), (1.0, 0.0)),
    "°": {"°": (1.0, 0.0), "deg": (1.0, 0.0), "degrees": (1.0, 0.0)},
    "": {"%": (0.01, 0.0), "percent": (0.01, 0.0)},
}

EXAMPLES: Mapping[str, str] = {
    "m": "12.5, 18 m, 45 cm, 150 ft",
    "Ω": "470, 470 ohm, 5.6 kΩ, 2k2, 4R7, 1M",
    "Ω/km": "84.2, 84.2 Ω/km, 25.7 ohm/kft",
    "V": "12, 13.7 V",
    "A": "0.75, 750 mA",
    "Ah": "7, 7 Ah",
    "VA": "40, 40 VA",
    "°C": "20, 20 °C, 68 °F",
    "s": "30, 30 s, 2 min",
    "min": "15, 15 min, 0.5 h",
    "h": "12, 12 h, 90 min",
    "%": "85, 85 %",
    "pF/m": "100, 100 pF/m, 30 pF/ft",
    "nF": "1.5, 1.5 nF, 100 pF",
    "Hz": "50, 50 Hz",
    "dB(A)": "100, 100 dB(A)",
    "°": "90, 90 deg",
    "": "0.8, 80 %",
    "mm²": "22 AWG, 0.22 mm², 7/0.2",
}


def _folded(table: Mapping[str, Worth]) -> dict[str, Worth]:
    """Return the table with capitals folded, leaving out what would then mean two things (mΩ and MΩ, m and M)."""
    folded: dict[str, set[Worth]] = {}
    for name, worth in table.items():
        if name != "M":
            folded.setdefault(name.lower(), set()).add(worth)
    return {name: worths.pop() for name, worths in folded.items() if len(worths) == 1}


FOLDED: Mapping[str, Mapping[str, Worth]] = {kept: _folded(table) for kept, table in UNITS.items()}
# The ohm sign and the micro sign have twins in Unicode that look the same; spaces and a middle dot inside a unit mean nothing.
_TWINS = str.maketrans({"\u2126": "Ω", "\u03bc": MICRO, "\u00b7": None, " ": None, "\u00a0": None, "\u2032": "'", "\u2033": '"'})


def worth_of(written: str, kept: str) -> Worth | None:
    """Return ``(factor, offset)`` from the unit as written to the unit kept, or None when it is not one of its units."""
    name = written.translate(_TWINS)
    return UNITS[kept].get(name) or FOLDED[kept].get(name.lower())
