"""The simpler ways of working that the advice is held against: each fault's own check, inside or outside what a sound system reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from loopwright.explain.check import CheckKind
from loopwright.explain.hypothesis import Hypothesis
from loopwright.explain.meter import Instrument
from loopwright.explain.weigh.at_hand import AtHand
from loopwright.explain.weigh.likelihood import Rows, Seen
from loopwright.explain.weigh.outcome import Forecast, forecast
from loopwright.netlist.loop import ActKind
from world import World

MOST_CHECKS = 25
SURE = 0.95
QUIET = "unset/mains"
OWN = {
    "D04": (CheckKind.STATE, ActKind.ACTIVATED, ""),
    "D08": (CheckKind.CAPACITANCE, ActKind.REST, ""),
    "D09": (CheckKind.OHM, ActKind.REST, ""),
    "D10": (CheckKind.STATE, ActKind.LIFTED, ""),
    "D11": (CheckKind.STATE, ActKind.SHORTED, ""),
    "D12": (CheckKind.OHM, ActKind.REST, ""),
    "D13": (CheckKind.OHM, ActKind.REST, ""),
    "D15": (CheckKind.OHM, ActKind.ACTIVATED, ""),
    "D17": (CheckKind.OHM, ActKind.REST, ""),
    "D18": (CheckKind.OHM, ActKind.ACTIVATED, ""),
    "D19": (CheckKind.STATE, ActKind.LID_OPEN, ""),
    "D20": (CheckKind.OHM, ActKind.REST, ""),
    "D21": (CheckKind.STATE, ActKind.ACTIVATED, ""),
    "D23": (CheckKind.STATE, ActKind.LID_OPEN, ""),
    "D26": (CheckKind.DEVICE_VOLTS, ActKind.REST, QUIET),
    "D27": (CheckKind.DEVICE_VOLTS, ActKind.REST, QUIET),
    "D28": (CheckKind.CONTACT_OHM, ActKind.ACTIVATED, ""),
    "D29": (CheckKind.CONTACT_OHM, ActKind.REST, ""),
    "D36": (CheckKind.STATE, ActKind.ACTIVATED, ""),
    "P06": (CheckKind.LEADS_VOLTS, ActKind.REST, ""),
    "P07": (CheckKind.BUS_VOLTS, ActKind.REST, QUIET),
    "P09": (CheckKind.FUSE_VOLTS, ActKind.REST, ""),
    "P10": (CheckKind.BATTERY_VOLTS, ActKind.REST, QUIET),
    "P13": (CheckKind.BATTERY_VOLTS, ActKind.REST, "rested"),
    "P16": (CheckKind.OUTPUT_AMPS, ActKind.REST, QUIET),
    "P17": (CheckKind.OUTPUT_VOLTS, ActKind.REST, QUIET),
    "P18": (CheckKind.OUTPUT_VOLTS, ActKind.REST, QUIET),
    "P19": (CheckKind.DEVICE_VOLTS, ActKind.REST, QUIET),
    "P20": (CheckKind.DEVICE_VOLTS, ActKind.REST, QUIET),
    "S01": (CheckKind.OHM, ActKind.REST, ""),
    "S02": (CheckKind.OHM, ActKind.REST, ""),
    "S05": (CheckKind.TROUBLE, ActKind.CUT, ""),
}
"""The check the trade's list names for a fault that has no look; its minutes are those of whoever makes it."""


class Known:
    """What the simpler ways know of some rows: for each check inside or outside, or a word, by row; each fault's own check.

    ``parted`` is for each hypothesis the number of those that no check at all parts from it: one answer in every way of working.
    """

    def __init__(self, rows: Rows, parted: Mapping[str, int]) -> None:
        self.rows = rows
        self.alike = np.unique([parted[h.key] for h in rows.hypotheses], return_inverse=True)[1]
        made: Forecast = forecast(rows, Instrument())
        self.checks = made.checks
        self.column = {check: n for n, check in enumerate(self.checks)}
        weight = np.array([h.weight for h in rows.hypotheses])
        self.prior = np.where(rows.owner >= 0, weight[rows.owner] * rows.share, 0.0)
        self.band: dict[int, tuple[float, float, bool]] = {}
        self.chances: list[np.ndarray] = []
        for n, check in enumerate(self.checks):
            place = made.place[n]
            if made.metered[n]:
                mean, sd = made.mean[place], made.sd[place]
                far = bool(np.isinf(mean[0]))
                low, high = (0.0, 0.0) if far else (float(mean[0] - 3 * sd[0]), float(mean[0] + 3 * sd[0]))
                self.band[n] = (low, high, far)
                inside = np.isinf(mean) == far if far else (mean >= low) & (mean <= high)
                out = np.stack((0.02 + 0.96 * inside, 0.98 - 0.96 * inside), axis=1)
            else:
                words = made.words[place][:, : len(check.outcomes)]
                out = 0.98 * words + 0.02 / words.shape[1]
            present = rows.present[:, None] if made.mixed[n] else 1.0
            self.chances.append(present * out + (1 - present) * out[:1])
        self.own = [self._own(h) for h in rows.hypotheses]

    def _own(self, hypothesis: Hypothesis) -> int | None:
        fault = hypothesis.fault
        if fault.look is not None:
            return next(
                n
                for n, check in enumerate(self.checks)
                if check.kind is CheckKind.LOOK and (check.where, check.fault, check.place) == (hypothesis.part, fault.id, hypothesis.place)
            )
        wanted = OWN.get(fault.id)
        if wanted is None:
            return None
        kind, act, state = wanted
        fits = [n for n, c in enumerate(self.checks) if c.kind is kind and c.act is act and (c.scenario == state or kind is CheckKind.OHM)]
        near = [n for n in fits if hypothesis.place in ("", self.checks[n].device, self.checks[n].where)] or fits
        return near[0] if near else None


class Simple:
    """One case worked through in a simpler way."""

    def __init__(self, world: World, known: Known, first: Sequence[Seen]) -> None:
        self.world, self.known, self.p = world, known, known.prior
        self.done = [seen.check for seen in first]
        for seen in first:
            self.update(*self.outcome(seen))

    def outcome(self, seen: Seen) -> tuple[int, int]:
        """Return the column and the outcome of something seen."""
        column = self.known.column[seen.check]
        if seen.shown is None:
            return column, self.known.checks[column].outcomes.index(seen.told[0])
        low, high, far = self.known.band[column]
        inside = np.isinf(seen.shown.value) if far else low <= seen.shown.value <= high
        return column, 0 if inside else 1

    def update(self, column: int, outcome: int) -> None:
        """Take an outcome in."""
        self.p = self.p * self.known.chances[column][:, outcome]
        self.p = self.p / max(self.p.sum(), 1e-300)

    def run(self, *, by_weight: bool, anew: bool, sure: float = SURE) -> tuple[float, int, list[str]]:
        """Work by weight a minute, or down the list, until so sure or nothing is left; return minutes, checks and the first three answers.

        ``anew``: what a check shows weighs every fault; else it confirms its own fault or strikes it off, and the order stays.
        """
        rows, minutes, done = self.known.rows, 0.0, set[int]()
        while True:
            by = np.bincount(np.maximum(rows.owner, 0), weights=self.p * (rows.owner >= 0), minlength=len(rows.hypotheses))
            if np.bincount(self.known.alike, weights=by).max() >= sure or len(done) > MOST_CHECKS:
                break
            at_hand = AtHand(self.world.job, self.done)
            checks = [(n, own) for n, own in enumerate(self.known.own) if by[n] > 0.002 and own is not None and own not in done]
            # What stands ready saves them minutes too.
            offers = [(n, c, at_hand.now(self.known.checks[c]).minutes) for n, c in checks]
            if not offers:
                break
            number, column, cost = max(offers, key=lambda o: by[o[0]] / o[2]) if by_weight else offers[0]
            done.add(column)
            minutes += cost
            self.done.append(self.known.checks[column])
            _, outcome = self.outcome(self.world.check(self.known.checks[column]))
            if anew:
                self.update(column, outcome)
            else:
                self._confirm(number, column, outcome)
        return minutes, len(done), [rows.hypotheses[n].key for n in np.argsort(-by)[:3]]

    def _confirm(self, number: int, column: int, outcome: int) -> None:
        """A check confirms its own fault or strikes it off; nothing else is learnt."""
        own = self.known.rows.owner == number
        fits = float((self.known.chances[column][own, outcome] * self.known.rows.share[own]).sum())
        self.p = np.where(own, self.p * (100.0 if fits > 0.5 else 0.001), self.p)
        self.p = self.p / self.p.sum()
