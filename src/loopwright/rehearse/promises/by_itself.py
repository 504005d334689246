"""What an area that sets itself owes: a warning first, and word of it when it cannot be set."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from loopwright.rehearse.by_itself import OF_A_SCHEDULE
from loopwright.rehearse.promise import Broken, Trial
from loopwright.rehearse.promises.areas import openable
from loopwright.rehearse.table import Row


def schedule(trial: Trial) -> Iterator[Broken]:
    """Hold every area that sets itself against doing so unannounced, and against staying unset with nobody told."""
    for area, plan in trial.whole.areas.items():
        if not plan.by_itself:
            continue
        trial.tried.add("schedule")
        found = trial.search((area,), openable(trial, area), tracks=("conditions",))
        if not plan.warns_s:
            told = found.told(("unannounced", area), partial(found.reached.taken, _unannounced))
            if told:
                yield told.breaks("schedule", f"areas/{area}/warning_s", f"{plan.name} sets itself without a warning.")
        if trial.whole.told.centre:
            told = found.told(("untold failure", area), partial(found.reached.taken, _fails_untold))
            if told:
                sentence = f"{plan.name} cannot set itself, and stays unset with nobody told."
                yield told.breaks("schedule", "signalling/reports/setting-failed", sentence)


def _unannounced(row: Row) -> bool:
    return row.event.kind in OF_A_SCHEDULE and any(each.word == "exit-begins" for each in row.outputs)


def _fails_untold(row: Row) -> bool:
    words = {each.word if each.word != "sent" else f"sent {each.about}" for each in row.outputs}
    return row.event.kind in OF_A_SCHEDULE and "prevented" in words and "sent setting-failed" not in words
