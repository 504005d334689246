"""Checks on what the switched outputs follow: an event there is, a time where one is read, a device that is fitted and can bear it."""

from __future__ import annotations

from loopwright.job.document import OutputRule, Stage
from loopwright.job.sheet import Kind, OutputSheet, SystemState
from loopwright.power.forecast import label_of
from loopwright.programme.followed import is_event
from loopwright.rules.facts import Facts
from loopwright.rules.worked import due
from loopwright.values.finding import Finding, Severity


def check_output_rules(facts: Facts) -> list[Finding]:
    """What an output follows is an event; a pulse and a time have a length; what is latched or follows has none to read."""
    found = []
    for name, rule in facts.job.outputs.items():
        subject, words = f"outputs/{name}", f"Output {rule.terminal}"
        if not is_event(rule.follows):
            text = f"{words} follows '{rule.follows}', which begins with no event known here."
            found.append(_gap("output-event-unknown", f"{subject}/follows", text, "Begin with the event: alarm, tamper, set, entry, ..."))
        if rule.how in ("pulse", "timed") and not rule.duration_s:
            text = f"{words} is {'pulsed' if rule.how == 'pulse' else 'timed'}, and nobody has said for how long."
            found.append(_gap("output-time-missing", f"{subject}/duration_s", text, "Enter the time."))
        if rule.how == "latch" and rule.duration_s is not None:
            text = f"{words} is latched until somebody clears it, and has a time of {rule.duration_s:g} s as well: both cannot be."
            found.append(_practice("output-time-unread", f"{subject}/how", text, "Choose timed, or take the time out."))
    return found


def _gap(code: str, subject: str, sentence: str, remedy: str) -> Finding:
    return Finding(code=code, severity=Severity.GAP, subject=subject, sentence=sentence, remedy=remedy, source="job-document")


def _practice(code: str, subject: str, sentence: str, remedy: str) -> Finding:
    return Finding(code=code, severity=Severity.SHOULD, subject=subject, sentence=sentence, remedy=remedy, source="practice")


def check_outputs_reach(facts: Facts) -> list[Finding]:
    """Every rule's output reaches something fitted, or says what hangs on it; every sounder's output has a rule."""
    job, found = facts.job, []
    reached: dict[str, list[str]] = {}
    for load in facts.power.loads:
        if load.landing.output is not None:
            reached.setdefault(load.landing.output, []).append(load.landing.equipment)
    for name, rule in job.outputs.items():
        if rule.terminal not in reached and rule.load_a is None:
            text = f"Output {rule.terminal} is told to follow {rule.follows}, and nothing fitted hangs on it."
            remedy = "Enter the cable run that feeds the device, or the current of what hangs on it."
            found.append(_practice("output-reaches-nothing", f"outputs/{name}/terminal", text, remedy))
    told = {device for rule in job.outputs.values() for device in reached.get(rule.terminal, ())}
    for terminal, devices in reached.items():
        # One that is also held off, or triggered by another output, is told by that one.
        sounders = [device for device in devices if job.sheet_of(device).kind is Kind.SOUNDER and device not in told]
        if sounders:
            found.append(
                Finding(
                    code="sounder-without-rule",
                    severity=due(job, Stage.PROGRAMMED, Severity.SHOULD),
                    subject="outputs",
                    sentence=f"{label_of(job, sounders[0])} hangs on output {terminal}, which is told to follow nothing.",
                    remedy="Put in a rule for the output: what it follows, and for how long.",
                    source="practice",
                )
            )
    return found


def check_outputs_bear(facts: Facts) -> list[Finding]:
    """What hangs on an output is within its rating, and the output is live when its rule and its polarity say so."""
    job, found = facts.job, []
    for name, rule in job.outputs.items():
        unit, _, output = rule.terminal.partition(".")
        sheet = job.sheet_of(unit).outputs[output]
        found += _rating(name, rule, sheet)
        if (text := _polarity(rule, sheet)) != "":
            remedy = (
                "Turn the polarity, or enter on the data sheet when the output is live; volts and battery hours are worked out by that."
            )
            found.append(_practice("output-polarity", f"outputs/{name}/rest", text, remedy))
    return found


def _rating(name: str, rule: OutputRule, sheet: OutputSheet) -> list[Finding]:
    found = []
    limits = (("load_a", rule.load_a, sheet.limit_a, "A"), ("load_v", rule.load_v, sheet.contact_v, "V"))
    for field, value, most, unit in limits:
        if value is not None and most is not None and value > most:
            found.append(
                Finding(
                    code="output-over-rating",
                    severity=Severity.MUST,
                    subject=f"outputs/{name}/{field}",
                    sentence=f"What hangs on output {rule.terminal} takes {value:g} {unit}; its contact bears {most:g} {unit}.",
                    remedy="Put a relay between them that bears it.",
                    source="data-sheet",
                )
            )
    return found


def _polarity(rule: OutputRule, sheet: OutputSheet) -> str:
    """Return what is wrong between a rule's polarity and the states in which the data sheet says the output is live."""
    if sheet.contact_v is not None or not rule.follows.strip().lower().startswith("alarm"):
        return ""
    live = set(sheet.on_in)
    if rule.rest == "on" and SystemState.UNSET not in live:
        return f"Output {rule.terminal} is on at rest by its rule, and dead while unset by its data sheet."
    if rule.rest == "off" and SystemState.ALARM not in live:
        return f"Output {rule.terminal} follows {rule.follows}, and is dead in alarm by its data sheet."
    if rule.rest == "off" and live == set(SystemState):
        return f"Output {rule.terminal} is off at rest by its rule, and always live by its data sheet."
    return ""
