"""The catalogue: which of the trade's 187 rows are there, how each acts, and that each can be put into an example job."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np
import pytest

import loopwright.demo
from loopwright.explain.catalogue import GROUPS, WHOLE, Amount, faults, of_group
from loopwright.explain.caution import in_full
from loopwright.explain.check import BY
from loopwright.explain.circuit.part import circuit_variants
from loopwright.explain.power.output import output_variants
from loopwright.explain.power.part import power_variants
from loopwright.explain.power.place import PowerPlaces, focus_on, near
from loopwright.explain.whole.bus import bus_part, on_bus
from loopwright.explain.whole.word import words
from loopwright.job.read import read
from loopwright.netlist.compile import compile_power
from loopwright.netlist.variants import read_variants
from loopwright.netlist.watch import compile_watches
from loopwright.values.source import sources

ROWS = {"P": 27, "D": 46, "B": 17, "S": 13, "C": 21, "R": 13, "T": 4, "G": 24, "E": 16, "U": 6}
"""The trade's list by letter: 187 rows."""
TOOLS = re.compile(
    r"\b(volts?|ohms?|meter|metering|milli|lead|leads|lift\w*|unplug\w*|lid|fuse|battery|cell|screw|ladder|spur|plug|socket|link|wire|terminals?)\b"
)
QUESTION = re.compile(
    r"(?:^|[:,] )(?:is|are|was|were|do|does|did|has|have|can|may|at|in|on|by|among|masked|read|one|left|isolated)\b", re.IGNORECASE
)
"""A question begins with its verb, or with where and how it is asked and then the verb."""
MODELLED = {"P": 26, "D": 43, "B": 16, "S": 9, "E": 16, "U": 6, "G": 24, "C": 21, "R": 13, "T": 4}
"""Rows with an edit, by letter; the others of a file say why they have none."""


def test_the_list_has_187_rows_and_so_many_of_them_are_here() -> None:
    assert sum(ROWS.values()) == 187
    here = Counter(name[0] for name in faults())
    known = {f"{letter}{number:02d}" for letter, count in ROWS.items() for number in range(1, count + 1)}
    assert set(faults()) <= known
    modelled = Counter(fault.id[0] for group in GROUPS for fault in of_group(group))
    assert dict(modelled) == MODELLED
    # A file that is there is there whole.
    assert here == Counter({letter: ROWS[letter] for letter in here})


@pytest.mark.parametrize("fault", faults().values(), ids=lambda fault: fault.id)
def test_every_row_is_whole(fault) -> None:  # type: ignore[no-untyped-def]
    assert fault.words and fault.reason and fault.fix
    assert fault.weight in (1, 3, 9)
    assert fault.sources and set(fault.sources) <= set(sources())
    assert bool(fault.ways) != bool(fault.unmodelled)
    assert set(fault.says) <= set(words())
    assert all(0 < chance < 1 for says in fault.says.values() for chance in (says.values() if isinstance(says, dict) else [says]))
    if fault.group in WHOLE:
        assert fault.basis, "what is stated and not computed says on what ground"
    assert 0 < fault.present <= 1
    if fault.look is not None:
        assert 0 < fault.look.false < fault.look.hit < 1
        assert set(fault.look.also) <= set(faults())
        assert fault.look.minutes > 0
        assert fault.look.by in BY
        # Nobody on the telephone is asked to take a meter, open a lid, climb, or touch mains or a battery.
        if fault.look.by == "caller":
            assert not fault.look.needs
            assert not TOOLS.search(fault.look.asks), fault.look.asks
        _is_worded(fault.look.asks, fault.look.finds)


def _is_worded(asks: str, finds: str) -> None:
    """One question, whose yes is what is found, and the finding as a statement: neither holds the other."""
    assert asks[0].isupper() and asks.endswith("?") and asks.count("?") == 1, asks
    assert QUESTION.search(asks), asks
    assert not finds[0].isupper() or finds.split()[0] in ("SIM",), finds
    assert not re.search(r"[?:.]$|[?:]", finds), finds
    assert len(finds) <= 90, finds


def test_amounts_are_rows_of_numbers() -> None:
    assert Amount(low=1.0, high=100.0, count=3).numbers() == pytest.approx((1.0, 10.0, 100.0))
    assert Amount(low=0.1, high=0.9, count=5, spacing="even").numbers() == pytest.approx((0.1, 0.3, 0.5, 0.7, 0.9))


def test_every_fault_of_a_circuit_finds_a_place_in_the_example_jobs_and_changes_something_or_has_a_look() -> None:
    placed: set[str] = set()
    for name in loopwright.demo.names():
        job = read(loopwright.demo.text(name)).job
        for circuit in job.circuits:
            hypotheses, variants = circuit_variants(job, circuit)
            volts_v = read_variants([variant.network for variant in variants]).volts_v
            for owner, hypothesis in enumerate(hypotheses):
                placed.add(hypothesis.fault.id)
                own = [number for number, variant in enumerate(variants) if variant.owner == owner]
                same = np.isclose(volts_v[own], volts_v[0], rtol=1e-6, atol=1e-12).all()
                moved = not same or any(variants[n].bands != variants[0].bands for n in own)
                assert moved or hypothesis.fault.look is not None or hypothesis.fault.id in ("D23", "D45"), hypothesis.key
                assert sum(variants[n].share for n in own) == pytest.approx(1.0)
    assert {fault.id for fault in of_group("circuit")} - placed == {"D16", "D42"}, "no example job has what these need"


def test_every_fault_of_supplies_outputs_and_bus_finds_a_place_in_the_example_jobs() -> None:
    placed: set[str] = set()
    for name in loopwright.demo.names():
        job = read(loopwright.demo.text(name)).job
        network = compile_power(job)
        supplies = [item for item in job.equipment if job.sheet_of(item).supply is not None]
        for some in [supplies, *([supply] for supply in supplies)]:
            focus = focus_on(job, network, [m.equipment for m in network.landings if m.supply in some][:6], [], some)
            places = PowerPlaces(job, network, focus, near(network, focus))
            hypotheses, variants = power_variants(places, near(network, focus))
            placed |= {h.fault.id for h in hypotheses}
            shares = [sum(v.share for v in variants if v.owner == owner) for owner in range(len(hypotheses))]
            assert shares == pytest.approx([1.0] * len(hypotheses))
        for watch in compile_watches(job, network):
            placed |= {h.fault.id for h in output_variants(job, network, watch)[0]}
        placed |= {h.fault.id for h in bus_part(job, on_bus(job)[:2]).hypotheses}
    modelled = {fault.id for group in ("power", "sounder", "bus") for fault in of_group(group)}
    assert modelled - placed == {"B08", "S10", "S13"}, "no example job has a terminated bus, or a self-powered sounder on a watched output"


def test_what_people_read_of_a_fault_is_words_and_no_symbols() -> None:
    for fault in faults().values():
        assert not re.search(r"[_<>{}]", f"{fault.words} {fault.fix} {fault.caution} {' '.join(fault.parts)}"), fault.id


def test_a_wrong_account_says_whose_help_goes_wrong() -> None:
    for fault in ("C09", "C19"):
        (told,) = in_full(faults()[fault].caution)
        assert "the centre" in told and "help" in told and told.endswith("."), told
