"""The two simpler ways of working that the advice is held against: each fault's own check, inside or outside what a sound system reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

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
    "D04": (CheckKind.STATE, ActKind.ACTIVATED, "", 1.0),
    "D08": (CheckKind.CAPACITANCE, ActKind.REST, "", 6.0),
    "D09": (CheckKind.OHM, ActKind.REST, "", 5.0),
    "D10": (CheckKind.STATE, ActKind.LIFTED, "", 4.0),
    "D11": (CheckKind.STATE, ActKind.SHORTED, "", 4.0),
    "D12": (CheckKind.OHM, ActKind.REST, "", 3.0),
    "D13": (CheckKind.OHM, ActKind.REST, "", 3.0),
    "D15": (CheckKind.OHM, ActKind.ACTIVATED, "", 3.0),
    "D17": (CheckKind.OHM, ActKind.REST, "", 3.0),
    "D18": (CheckKind.OHM, ActKind.ACTIVATED, "", 4.0),
    "D19": (CheckKind.STATE, ActKind.LID_OPEN, "", 3.0),
    "D20": (CheckKind.OHM, ActKind.REST, "", 3.0),
    "D21": (CheckKind.STATE, ActKind.ACTIVATED, "", 4.0),
    "D23": (CheckKind.STATE, ActKind.LID_OPEN, "", 2.0),
    "D26": (CheckKind.DEVICE_VOLTS, ActKind.REST, QUIET, 3.0),
    "D27": (CheckKind.DEVICE_VOLTS, ActKind.REST, QUIET, 3.0),
    "D28": (CheckKind.CONTACT_OHM, ActKind.ACTIVATED, "", 5.0),
    "D29": (CheckKind.CONTACT_OHM, ActKind.REST, "", 3.0),
    "D36": (CheckKind.STATE, ActKind.ACTIVATED, "", 1.0),
    "P06": (CheckKind.LEADS_VOLTS, ActKind.REST, "", 3.0),
    "P07": (CheckKind.BUS_VOLTS, ActKind.REST, QUIET, 2.0),
    "P09": (CheckKind.FUSE_VOLTS, ActKind.REST, "", 2.0),
    "P10": (CheckKind.BATTERY_VOLTS, ActKind.REST, QUIET, 2.0),
    "P13": (CheckKind.BATTERY_VOLTS, ActKind.REST, "rested", 5.0),
    "P16": (CheckKind.OUTPUT_AMPS, ActKind.REST, QUIET, 5.0),
    "P17": (CheckKind.OUTPUT_VOLTS, ActKind.REST, QUIET, 5.0),
    "P18": (CheckKind.OUTPUT_VOLTS, ActKind.REST, QUIET, 3.0),
    "P19": (CheckKind.DEVICE_VOLTS, ActKind.REST, QUIET, 4.0),
    "P20": (CheckKind.DEVICE_VOLTS, ActKind.REST, QUIET, 4.0),
    "S01": (CheckKind.OHM, ActKind.REST, "", 4.0),
    "S02": (CheckKind.OHM, ActKind.REST, "", 4.0),
    "S05": (CheckKind.TROUBLE, ActKind.CUT, "", 3.0),
}
"""The check the trade's list names for a fault that has no look, and its minutes there."""


class Known:
    """What the simpler ways know of some rows: for each check inside or outside, or a word, by row; each fault's own check."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
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

    def _own(self, hypothesis: Hypothesis) -> tuple[int, float] | None:
        fault = hypothesis.fault
        if fault.look is not None:
            return next(
                (n, check.minutes)
                for n, check in enumerate(self.checks)
                if check.kind is CheckKind.LOOK and (check.where, check.fault, check.place) == (hypothesis.part, fault.id, hypothesis.place)
            )
        wanted = OWN.get(fault.id)
        if wanted is None:
            return None
        kind, act, state, minutes = wanted
        fits = [n for n, c in enumerate(self.checks) if c.kind is kind and c.act is act and (c.scenario == state or kind is CheckKind.OHM)]
        near = [n for n in fits if hypothesis.place in ("", self.checks[n].device, self.checks[n].where)] or fits
        return (near[0], minutes) if near else None


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

    def run(self, *, by_weight: bool) -> tuple[float, int, list[str]]:
        """Work by weight a minute, or down the list, until sure or nothing is left; return minutes, checks and the first three answers."""
        rows, minutes, done = self.known.rows, 0.0, set[int]()
        while True:
            by = np.bincount(np.maximum(rows.owner, 0), weights=self.p * (rows.owner >= 0), minlength=len(rows.hypotheses))
            if by.max() >= SURE or len(done) > MOST_CHECKS:
                break
            at_hand = AtHand(self.world.job, self.done)
            checks = [(n, *own) for n, own in enumerate(self.known.own) if by[n] > 0.002 and own is not None and own[0] not in done]
            # What stands ready saves them minutes too.
            offers = [(n, (c, at_hand.now(replace(self.known.checks[c], minutes=cost)).minutes)) for n, c, cost in checks]
            if not offers:
                break
            number, (column, cost) = max(offers, key=lambda o: by[o[0]] / o[1][1]) if by_weight else offers[0]
            done.add(column)
            minutes += cost
            self.done.append(self.known.checks[column])
            _, outcome = self.outcome(self.world.check(self.known.checks[column]))
            if by_weight:
                self.update(column, outcome)
            else:
                self._confirm(number, column, outcome)
        return minutes, len(done), [rows.hypotheses[n].key for n in np.argsort(-by)[:3]]

    def _confirm(self, number: int, column: int, outcome: int) -> None:
        """Down the list a check confirms its own fault or strikes it off; nothing else is learnt."""
        own = self.known.rows.owner == number
        fits = float((self.known.chances[column][own, outcome] * self.known.rows.share[own]).sum())
        self.p = np.where(own, self.p * (100.0 if fits > 0.5 else 0.001), self.p)
        self.p = self.p / self.p.sum()
