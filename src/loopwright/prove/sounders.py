"""What must be proved of sounders and strobes, held against the programme and against what rules and local law ask."""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.job.document import Job
from loopwright.job.quantity import show_quantity
from loopwright.job.sheet import Kind
from loopwright.power.forecast import PowerForecast, label_of
from loopwright.prove.item import Bound, Group, Item, Proof, Target, key_of
from loopwright.prove.supplies import NOISE
from loopwright.rules.ruleset import Ruleset, ruleset_of
from loopwright.rules.worked import marked

LADDER = "Up a ladder: foot it, three points of contact; not in wind or storm."
DURATION_SHARE = 0.1


def sounder_items(job: Job, power: PowerForecast) -> Iterator[Item]:
    """Yield what must be proved of sounders and strobes: level at a distance, how long, and that one sounds without its hold-off.

    One that has cells of its own or a hold-off is held to what is asked of sounders outside (common practice, no source).
    """
    rules = ruleset_of(job)
    outputs = {landing.equipment: landing.output for landing in power.network.landings if landing.load != "hold-off"}
    for name in job.equipment:
        sheet = job.sheet_of(name)
        if sheet.kind is Kind.STROBE:
            yield _sounder(job, name, Proof.LIGHT, "Does it flash in alarm, and go on as the programme says?")
        if sheet.kind is not Kind.SOUNDER:
            continue
        outside = sheet.self_powered or "hold-off" in sheet.loads
        level = _bounds(job, rules, "level_outside_db" if outside else "level_inside_db")
        yield _sounder(job, name, Proof.LEVEL, "Level in dB(A), and at how many metres", "dB", None, NOISE, level)
        rule = next((rule for rule in job.outputs.values() if rule.terminal == outputs.get(name)), None)
        seconds = (rule.duration_s if rule is not None else None) or job.programme.sounder_s
        asked = _bounds(job, rules, "sounder_s")
        yield _sounder(job, name, Proof.DURATION, "How long it sounds, by the watch", "s", _duration(seconds), NOISE, asked)
        if outside:
            yield _sounder(
                job, name, Proof.HOLD_OFF, "Hold-off taken away for ten seconds: does it sound by itself?", caution=f"{NOISE} {LADDER}"
            )


def _duration(seconds: float | None) -> Target | None:
    if seconds is None:
        return None
    room = max(DURATION_SHARE * seconds, 2.0)
    return Target(value=seconds, low=seconds - room, high=seconds + room, unit="s", words="a tenth, for watch and clock")


def _bounds(job: Job, rules: Ruleset, quantity: str) -> tuple[Bound, ...]:
    """Return what the rules of a job ask of a quantity, local law among them, each with its name and how it is known."""
    return tuple(
        Bound(
            least=each.least,
            most=each.most,
            unit=each.unit,
            at_m=each.at_m,
            at_words="" if each.at_m is None else show_quantity(each.at_m, "m", job.region.units),
            words=marked(each.clause, each.source),
        )
        for each in rules.limits_on(quantity)
    )


def _sounder(
    job: Job, name: str, proof: Proof, act: str, unit: str = "", target: Target | None = None, caution: str = LADDER,
    asked: tuple[Bound, ...] = (),
) -> Item:  # fmt: skip
    return Item(
        key=key_of(proof, name), proof=proof, group=Group.SOUNDERS, subject=f"equipment/{name}", where=label_of(job, name), act=act,
        unit=unit, target=target, bounds=asked, caution=caution,
    )  # fmt: skip
