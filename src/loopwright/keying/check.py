"""Checks on the keyed settings: what the programme wants and the unit cannot hold, and sheets that contradict themselves."""

from __future__ import annotations

import re
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter

from loopwright.job.document import Job, Stage
from loopwright.job.sheet import EquipmentSheet, Setting
from loopwright.keying.entry import Field, fields_of, wanted_keys
from loopwright.keying.form import Kind, Unfit, alike
from loopwright.keying.spot import form_of, holes_of, names_its_rows, spots_of, units_of
from loopwright.power.forecast import label_of
from loopwright.rules.facts import Facts
from loopwright.rules.worked import due
from loopwright.values.finding import Finding, Severity
from loopwright.values.recent import Recent

_LIKE_A_CODE = re.compile(r"\d{3,}")


KEPT: Recent[tuple[Finding, ...]] = Recent(most_names=1)
"""What was found last: an edit of the wiring or of people leaves it as it is."""


def check_keyed(facts: Facts) -> list[Finding]:
    """What the programme says can be keyed at the unit, and what its sheet says of settings does not contradict itself."""
    job = facts.job
    told = (job.zones, job.areas, job.users, job.programme, job.outputs, job.signalling)
    arguments = (job.sheets.equipment, job.equipment, *told, job.stage, job.given)
    found = KEPT.find("keyed", arguments)
    if found is None:
        found = (*misfits_of(job), *contradictions(job))
        KEPT.put("keyed", arguments, found)
    return list(found)


def misfits_of(job: Job) -> list[Finding]:
    """Return a finding for everything the programme says that its unit cannot hold."""
    found = []
    for unit in units_of(job):
        for spot in spots_of(job, unit):
            try:
                wanted_keys(spot)
            except Unfit as why:
                found.append(
                    Finding(
                        code="setting-not-on-unit",
                        severity=due(job, Stage.PROGRAMMED, Severity.MUST),
                        subject=spot.path,
                        sentence=f"{label_of(job, unit)} cannot hold the {spot.words}: {why.said.sentence}",
                        remedy=f"{why.said.right} It is keyed at {spot.address}.",
                        source="data-sheet",
                    )
                )
    return found


def contradictions(job: Job) -> list[Finding]:
    """Return a finding for every setting of a sheet that contradicts itself, and every entry that cannot be told apart."""
    found = []
    for name, sheet in job.sheets.equipment.items():
        for setting, what, right in _contradictions(job, sheet):
            found.append(
                Finding(
                    code="keyed-setting-contradicts",
                    severity=Severity.SHOULD,
                    subject=f"sheets/equipment/{name}/settings/{setting}",
                    sentence=f"The setting {setting} of the sheet {name} contradicts itself: {what}",
                    remedy=right,
                    source="job-document",
                )
            )
    for unit in units_of(job):
        found += [_one_entry(job, unit, field, why) for field in fields_of(spots_of(job, unit)) if (why := _untold(field))]
    return found


def _contradictions(job: Job, sheet: EquipmentSheet) -> Iterator[tuple[str, str, str]]:
    """Yield each setting that is wrong by itself: its name, what is wrong, what would be right."""
    for name, setting in sheet.settings.items():
        for what, right in _own(job, sheet, setting):
            yield name, what, right
    waits = {name: {each for each in setting.after if each in sheet.settings} for name, setting in sheet.settings.items()}
    try:
        TopologicalSorter(waits).prepare()
    except CycleError as circle:
        names = list(dict.fromkeys(circle.args[1]))
        yield names[0], f"{' waits for '.join([*names, names[0]])}.", "Take one of them out of what the other is entered after."


def _own(job: Job, sheet: EquipmentSheet, setting: Setting) -> Iterator[tuple[str, str]]:
    for other in setting.after:
        if other not in sheet.settings:
            yield f"it is entered after {other}, which is no setting.", f"One of {', '.join(sheet.settings)}."
    if not setting.of:
        return
    form = form_of(job, setting)
    if form is None:
        yield (
            "what it holds is no place of the document a control unit is told.",
            "Write such as areas/*/entry_s, programme/sounder_s, zones/*/response/full, or clock, codes/user/* or codes/installer.",
        )
        return
    if not names_its_rows(setting):
        names = " and ".join(f"{{{part}}}" for part in sorted(holes_of(setting))) or "nothing in braces"
        yield "its address does not say which row is meant.", f"The address has to have {names} in it."
    if setting.least is not None and setting.most is not None and setting.least > setting.most:
        yield f"the least it takes, {setting.least:g}, is above the most, {setting.most:g}.", "Least first, most last."
    if setting.step is not None and setting.step <= 0:
        yield "its steps are of no size.", "A step above 0."
    for one, other in alike(form.options):
        yield f"the same is keyed for {one} and for {other}, so neither can be read back.", "Each word needs keys of its own."
    yield from _default(setting, job)


def _default(setting: Setting, job: Job) -> Iterator[tuple[str, str]]:
    form = form_of(job, setting)
    if form is None:
        return
    if form.kind is Kind.SECRET:
        if _LIKE_A_CODE.search(setting.default):
            yield "a code stands in it.", "Say where the factory's code is found, such as on the door label; a code never stands in a job."
        return
    if form.kind is Kind.CLOCK or not form.options and form.kind is Kind.CHOICE:
        return
    try:
        form.keyed(form.said(re.sub(r"\{[a-z]+\}", "1", setting.default)))
    except Unfit as why:
        yield f"what the factory left there cannot be there: {why.said.sentence}", why.said.right


def _untold(field: Field) -> str:
    """Return why what stands in a shared entry cannot be told apart; empty where it can."""
    loose = [spot.setting for spot in field.spots[:-1] if spot.form.width is None and spot.form.kind is not Kind.NUMBER]
    by_hand = [spot.setting for spot in field.spots if spot.form.kind in (Kind.SECRET, Kind.CLOCK)]
    if len(field.spots) > 1 and by_hand:
        return f"{by_hand[0]} shares its address with others"
    return f"what is keyed for {loose[0]} is not always as long" if loose else ""


def _one_entry(job: Job, unit: str, field: Field, why: str) -> Finding:
    names = [spot.setting for spot in field.spots]
    sheet = job.equipment[unit].sheet
    return Finding(
        code="keyed-entry-unclear",
        severity=Severity.SHOULD,
        subject=f"sheets/equipment/{sheet}/settings/{names[0]}",
        sentence=f"{', '.join(names)} share the entry at {field.address}, and {why}, so they cannot be told apart when it is read back.",
        remedy="Give each words of one length or digits, an address of its own, or the last place in the entry.",
        source="job-document",
    )
