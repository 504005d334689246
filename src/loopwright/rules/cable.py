"""Checks on what cables are asked to carry."""

from __future__ import annotations

from collections import Counter

from loopwright.rules.facts import Facts
from loopwright.rules.worked import worked
from loopwright.values.figure import Figure, Input, Origin
from loopwright.values.finding import Finding, Severity

BUS_CORES = 2
"""Cores of a data bus beside its supply pair: common practice, no source."""


def check_cores(facts: Facts) -> list[Finding]:
    """No cable run is asked for more cores than its cable has."""
    pairs: Counter[str] = Counter()
    for circuit in facts.job.circuits.values():
        for hop in circuit.path:
            pairs[hop.cable] += 2 if hop.shares_return_with is None else 1
    found = []
    for name, cable in facts.job.cables.items():
        has = facts.job.sheets.cables[cable.sheet].cores
        feeds = sum(feed.cores + feed.cores_back for feed in cable.feeds)
        parts = {"supply": feeds, "circuits": pairs[name], "data bus": BUS_CORES if cable.bus else 0, "0 V": cable.zero_v_cores}
        need = sum(parts.values())
        if need <= has:
            continue
        figure = _cores_figure(name, parts, need)
        words = ", ".join(f"{count} for {what}" for what, count in parts.items() if count)
        certain = need - parts["data bus"] > has
        found.append(
            Finding(
                code="cores-short",
                severity=Severity.MUST if certain else Severity.SHOULD,
                subject=f"cables/{name}",
                sentence=f"Run {name} needs {need} cores ({words}); its cable has {has}.",
                remedy=f"Use a cable of {need} cores or more, or a second cable beside it for {need - has} cores.",
                source="job-document",
                figures=(figure,),
            )
        )
    return found


def _cores_figure(name: str, parts: dict[str, int], need: int) -> Figure:
    inputs = [Input(name=what, value=count, unit="cores", origin=Origin.DOCUMENT, path=f"cables/{name}") for what, count in parts.items()]
    return worked(
        f"cores/{name}",
        f"run {name}, cores needed",
        need,
        "",
        formula="feeds out and back + two for each circuit, one where it shares a return + two for the data bus + 0 V",
        inputs=inputs,
        substituted=" + ".join(str(count) for count in parts.values()),
    )
