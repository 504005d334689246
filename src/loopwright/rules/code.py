"""Checks on codes, by facts alone: no check ever sees one. What they find tells something of the codes, so every finding is private."""

from __future__ import annotations

from loopwright.job.document import Job
from loopwright.power.forecast import label_of
from loopwright.rules.facts import Facts
from loopwright.rules.worked import marked, some, worked
from loopwright.values.code import Use, use_of, whose
from loopwright.values.figure import Input, Origin
from loopwright.values.finding import Finding, Severity

DIGITS, LETTERS_AND_DIGITS = 10, 36
"""Choices for each place of a code; a code not of digits alone is taken as of letters and digits (common practice, no source)."""


def check_code_length(facts: Facts) -> list[Finding]:
    """Every code has as many variations as the ruleset asks for."""
    limit, found = facts.ruleset.limit("code_variations"), []
    if limit is None or limit.least is None:
        return []
    for code in facts.codes:
        choices = DIGITS if code.digits_only else LETTERS_AND_DIGITS
        # Beyond twenty places the number says nothing more.
        variations = float(choices ** min(code.length, 20))
        if variations >= limit.least:
            continue
        wanted = next(places for places in range(1, 21) if choices**places >= limit.least)
        figure = worked(
            f"variations/{code.name}", f"Variations of {words_of(facts.job, code.name)}", variations, "",
            formula="choices for each place ^ places", substituted=f"{choices} ^ {code.length}", source=limit.source,
            inputs=[
                Input(name="choices", value=choices, unit="", origin=Origin.DEFAULT),
                Input(name="places", value=code.length, unit="", origin=Origin.DOCUMENT),
            ],
        )  # fmt: skip
        asked = marked(f"{limit.least:,.0f}".replace(",", " "), limit.source)
        found.append(
            Finding(
                code="code-too-short",
                severity=Severity.SHOULD,
                subject=subject_of(facts.job, code.name),
                sentence=f"{_capital(words_of(facts.job, code.name))} has {code.length} places, which allow {figure} variations; "
                f"{facts.ruleset.title} asks for {asked}.",
                remedy=f"Give it {wanted} places or more.",
                clause=limit.clause,
                source=limit.source,
                figures=(figure,),
                private=True,
            )
        )
    return found


def check_codes_as_delivered(facts: Facts) -> list[Finding]:
    """No code is one the equipment was delivered with."""
    return [
        _of_practice(
            "code-as-delivered",
            Severity.SHOULD,
            subject_of(facts.job, code.name),
            f"{_capital(words_of(facts.job, code.name))} is as the equipment was delivered: it stands in a manual anyone can read.",
            "Replace it.",
        )
        for code in facts.codes
        if code.is_factory
    ]


def check_codes_guessed(facts: Facts) -> list[Finding]:
    """No code is digits in order, or one piece over and over."""
    return [
        _of_practice(
            "code-easily-guessed",
            Severity.SHOULD,
            subject_of(facts.job, code.name),
            f"{_capital(words_of(facts.job, code.name))} is {'digits in order' if code.is_sequence else 'one piece repeated'}, "
            "which is tried first.",
            "Replace it with one drawn by lot.",
        )
        for code in facts.codes
        if code.is_sequence or code.is_repeated
    ]


def check_codes_alike(facts: Facts) -> list[Finding]:
    """No two codes are the same, and none is another with one character more, less or changed; duress codes are judged by themselves."""
    found, told = [], set()
    plain = [code for code in facts.codes if use_of(code.name) is not Use.DURESS]
    for code in plain:
        same = [code.name, *(name for name in code.same_as if use_of(name) is not Use.DURESS)]
        if len(same) > 1 and code.name not in told:
            told |= set(same)
            text = f"{_capital(some([words_of(facts.job, name) for name in same]))} are the same: the record cannot tell who it was."
            remedy = "Give each person a code of their own."
            found.append(_of_practice("codes-the-same", Severity.SHOULD, subject_of(facts.job, code.name), text, remedy))
        near = [name for name in code.one_away if use_of(name) is not Use.DURESS and name > code.name]
        if near:
            others = some([words_of(facts.job, name) for name in near])
            text = f"{_capital(words_of(facts.job, code.name))} is one slip of the finger from {others}."
            remedy = "Give them codes that differ in two places or more."
            found.append(_of_practice("codes-near", Severity.NOTE, subject_of(facts.job, code.name), text, remedy))
    return found


def check_duress_codes(facts: Facts) -> list[Finding]:
    """A duress code differs from every other code in two places at least: a slip must not raise the silent alarm, nor leave it out."""
    found = []
    for code in facts.codes:
        if use_of(code.name) is not Use.DURESS or not (near := [*code.same_as, *code.one_away]):
            continue
        others, slip = some([words_of(facts.job, name) for name in near]), "the same as" if code.same_as else "one slip of the finger from"
        found.append(
            _of_practice(
                "duress-code-near",
                Severity.SHOULD,
                subject_of(facts.job, code.name),
                f"{_capital(words_of(facts.job, code.name))} is {slip} {others}: a silent alarm may come by mistake, or stay away.",
                "Give it one that differs in two places or more, and see that whoever has it can keep it in mind.",
            )
        )
    return found


def check_duress_there(facts: Facts) -> list[Finding]:
    """Who is said to have a duress code has one in the vault, and nobody has one of whom that is not said."""
    users, kept = facts.job.users, {whose(code.name) for code in facts.codes if use_of(code.name) is Use.DURESS}
    said = {name for name, user in users.items() if user.duress}
    if not facts.codes:
        return []
    missing = [(name, f"{users[name].role} ({name}) is said to have a duress code, and none is kept.") for name in sorted(said - kept)]
    unsaid = [
        (name, f"A duress code is kept for {users[name].role} ({name}), of whom it is not said.")
        for name in sorted((kept - said) & set(users))
    ]
    remedy = "Put it into the vault, or say whether this user has one."
    return [_of_practice("duress-code-unsure", Severity.NOTE, f"users/{name}", words, remedy) for name, words in (*missing, *unsaid)]


def words_of(job: Job, name: str) -> str:
    """Return a code as people call it."""
    use, owner = use_of(name), whose(name)
    if use is Use.INSTALLER:
        of = label_of(job, owner) if owner in job.equipment else owner
        return f"the installer's code of {of}" if of else "the installer's code"
    who = f"{job.users[owner].role} ({owner})" if owner in job.users and job.users[owner].role != owner else owner or "somebody"
    return f"the {'duress ' if use is Use.DURESS else ''}code of {who}"


def subject_of(job: Job, name: str) -> str:
    """Return the part of the document a code belongs to: its user, its equipment, else the users."""
    owner = whose(name)
    if use_of(name) is Use.INSTALLER:
        return f"equipment/{owner}" if owner in job.equipment else "programme"
    return f"users/{owner}" if owner in job.users else "users"


def _of_practice(code: str, severity: Severity, subject: str, sentence: str, remedy: str) -> Finding:
    return Finding(code=code, severity=severity, subject=subject, sentence=sentence, remedy=remedy, source="practice", private=True)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
