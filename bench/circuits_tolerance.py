"""Band probabilities of detection circuits: the exact volume beside Monte Carlo, and how both grow.

Run from the project's root with ``PYTHONPATH=src``; for one core, with ``OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1``.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from loopwright.circuits.half_space import Array, half_space_fraction
from loopwright.circuits.tolerance import Spread, band_probabilities, monte_carlo, thresholds_from_ohm

SAMPLES = 100_000
PULL_UP_OHM, PULL_UP_PCT = 4700.0, 1.0
EDGES_OHM = (1500.0, 4900.0, 7000.0, 20_000.0)
STATES = ("rest", "activated", "lid open", "shorted", "cut")


def circuit(generator: np.random.Generator) -> list[Spread]:
    """Return one double-resistor circuit in its five states: seven parts and the pull-up, eight dimensions."""
    tolerance = float(generator.choice([0.01, 0.02, 0.05]))
    core_ohm = float(generator.uniform(2, 80))  # long runs, so that the rest state comes near its edge
    end, alarm = (4700 * (1 - tolerance), 4700 * (1 + tolerance)), (4700 * (1 - tolerance), 4700 * (1 + tolerance))
    wiring = [(core_ohm * 0.9, core_ohm * 1.1)] * 2
    states = ([(0.05, 0.2)] * 3, [alarm, (0.05, 0.2), (0.05, 0.2)], [alarm, alarm, (0.05, 0.2)], None, [(np.inf, np.inf)] * 3)
    pull_up = PULL_UP_OHM * np.array([1 - PULL_UP_PCT / 100, 1 + PULL_UP_PCT / 100])
    result = []
    for contacts in states:
        parts = [*wiring, (10.0, 11.0), end, *contacts] if contacts else [*wiring, *[(0.0, 0.5)] * 5]
        low, high = zip(*parts, strict=True)
        names, ends = tuple(f"R{i}" for i in range(len(parts))), pull_up.tolist()
        result.append(Spread(names=names, low_ohm=low, high_ohm=high, pull_up_low_ohm=ends[0], pull_up_high_ohm=ends[1]))
    return result


def best_s(act: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of a few runs [s]."""
    runs = []
    for _ in range(times):
        start = time.perf_counter()
        act()
        runs.append(time.perf_counter() - start)
    return min(runs)


def drawn(spreads: list[Spread], edges: Array, seed: int = 0) -> Array:
    """Return Monte Carlo's frequencies of the same circuits."""
    low, high = np.array([s.low_ohm for s in spreads]), np.array([s.high_ohm for s in spreads])
    ends = np.array([(s.pull_up_low_ohm, s.pull_up_high_ohm) for s in spreads]).T
    return monte_carlo(low, high, ends[0], ends[1], edges, samples=SAMPLES, generator=np.random.default_rng(seed)).frequency


def all_drawn_s() -> float:
    """Return the time [s] of Monte Carlo for 120 circuits in five states where every edge can be met, so that all readings are drawn."""
    low, high = np.full((600, 7), 100.0), np.full((600, 7), 900.0)
    edges = thresholds_from_ohm([2000.0, 2600.0, 3400.0, 4200.0], PULL_UP_OHM)
    ends = (PULL_UP_OHM * 0.99, PULL_UP_OHM * 1.01)
    return best_s(lambda: monte_carlo(low, high, *ends, edges, samples=SAMPLES, generator=np.random.default_rng(0)), 3)


def hardest(rows: int, dimensions: int) -> float:
    """Return the time [s] for rows of alike widths whose edges all lie inside the box: no row is certain, no width narrow."""
    generator = np.random.default_rng(1)
    widths = generator.uniform(50, 150, (rows, dimensions))
    edges = widths.sum(axis=1) * generator.uniform(0.1, 0.9, rows)
    return best_s(lambda: half_space_fraction(np.ones((rows, dimensions)), np.zeros((rows, dimensions)), widths, edges))


def main() -> None:
    """Print the tables."""
    edges = thresholds_from_ohm(EDGES_OHM, PULL_UP_OHM)
    print(f"Five states a circuit, eight dimensions, {len(EDGES_OHM)} edges; Monte Carlo of {SAMPLES:,} samples each\n")
    print("circuits  exact ms  us/state  drawn ms   ratio  uncertain  within 4 s.e.  largest diff.")
    for count in (1, 50, 120, 200, 800):
        generator = np.random.default_rng(3)
        spreads = [state for _ in range(count) for state in circuit(generator)]
        exact = band_probabilities(spreads, edges)
        exact_s = best_s(lambda s=spreads: band_probabilities(s, edges))  # type: ignore[misc]
        frequency = drawn(spreads, edges)
        drawn_s = best_s(lambda s=spreads: drawn(s, edges), 3)  # type: ignore[misc]
        error = np.sqrt(exact * (1 - exact) / SAMPLES)
        uncertain = ((exact > 1e-12) & (exact < 1 - 1e-12)).any(axis=1)
        agree = (np.abs(frequency - exact) <= 4 * error + 1.5 / SAMPLES).all(axis=1)
        print(
            f"{count:>8} {exact_s * 1e3:>9.2f} {exact_s * 1e6 / len(spreads):>9.1f} {drawn_s * 1e3:>9.1f} {drawn_s / exact_s:>7.0f}"
            f" {int(uncertain.sum()):>10} {int((agree & uncertain).sum()):>14} {np.abs(frequency - exact).max():>14.5f}"
        )
    print(f"\nMonte Carlo where every edge of 120 circuits can be met, so that none is passed over: {all_drawn_s() * 1e3:.0f} ms")
    print("\nHardest case, 120 circuits x 5 states x 4 edges, every edge inside the box and all widths alike")
    for dimensions in (6, 7, 8, 9, 10):
        print(f"  {dimensions:>2} dimensions: {hardest(2400, dimensions) * 1e3:7.2f} ms")


if __name__ == "__main__":
    main()
