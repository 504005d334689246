"""New premises: a short form, a file in the folder, and the job that is then open."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import FastAPI, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from loopwright.job.speech import plain_words
from loopwright.job.starter import fresh
from loopwright.rules.ruleset import rulesets
from loopwright.store.file import StoreError
from loopwright.store.folder import JobFolder
from loopwright.store.person import Right
from loopwright.values.error import JobError
from loopwright.web.dictionary import shape_of_cell, words_of
from loopwright.web.drawn import Outside
from loopwright.web.rights import demands
from loopwright.web.visitor import visitor_of
from loopwright.web.within import place_of

UNFIT = 422
NEEDED = "This is needed."
NO_COUNTRY = "Two letters, as ISO 3166 has them: GB, IE, DE, US."
_COUNTRY = re.compile(r"[A-Z]{2}")
LABELS = {
    "title": ("Title of the job", "as it stands on papers and in the list"),
    "name": ("What the premises are called", ""),
    "country": ("Country", NO_COUNTRY),
    "ruleset": ("Rules", "what the findings are held against; it can be changed later"),
    "units": ("Units people read", "metres, or feet and AWG"),
}
PATHS = {"title": "title", "name": "premises/name", "country": "region/country", "ruleset": "region/ruleset", "units": "region/units"}
USUAL = {"title": "", "name": "", "country": "GB", "ruleset": "en-grade-2", "units": "metric"}
Field = Annotated[str, Form()]


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """One field of the form: what was entered, what may be chosen, and what is wrong with it."""

    name: str
    label: str
    hint: str
    value: str
    choices: tuple[tuple[str, str], ...]
    fault: str


def add_new_premises(app: FastAPI, draw: Outside, folder: JobFolder) -> None:
    """Add the form and what it makes."""

    def page(request: Request, facts: Mapping[str, str], faults: Mapping[str, str], trouble: str = "") -> Response:
        html = draw.alone("new-premises.html", visitor=visitor_of(request), fields=asked(facts, faults), trouble=trouble)
        return HTMLResponse(html, status_code=UNFIT if faults or trouble else 200)

    @app.get("/new")
    @demands(Right.CHANGE_JOB)
    def form(request: Request) -> Response:
        return page(request, USUAL, {})

    @app.post("/new")
    @demands(Right.CHANGE_JOB)
    def make(
        request: Request, title: Field = "", name: Field = "", country: Field = "", ruleset: Field = "", units: Field = ""
    ) -> Response:
        given = {"title": title, "name": name, "country": country, "ruleset": ruleset, "units": units}
        facts = {key: " ".join(text.split()) for key, text in given.items()}
        facts["country"] = facts["country"].upper()
        # One name does for both, until somebody wants another.
        facts["name"] = facts["name"] or facts["title"]
        faults = faults_of(facts)
        if faults:
            return page(request, facts, faults)
        try:
            made = folder.put(facts["title"], fresh(**facts))
        except (JobError, StoreError) as error:
            return page(request, facts, {}, str(error))
        return RedirectResponse(place_of(made), status_code=303)


def faults_of(facts: Mapping[str, str]) -> dict[str, str]:
    """Return what is wrong with each fact a job is to begin with; nothing where all may stand.

    >>> faults_of(USUAL | {"title": "Corn Exchange", "name": "Corn Exchange", "country": "Great Britain"})
    {'country': 'Two letters, as ISO 3166 has them: GB, IE, DE, US.'}
    """
    sound = USUAL | {"title": "x", "name": "x"}
    found = {}
    for key in USUAL:
        fact = facts.get(key, "")
        if not fact:
            found[key] = NEEDED
        elif key == "country" and not _COUNTRY.fullmatch(fact):
            found[key] = NO_COUNTRY
        elif key == "ruleset" and fact not in rulesets():
            found[key] = f"There are no such rules. Accepted: {', '.join(rulesets())}."
        else:
            try:
                fresh(**(sound | {key: fact}))
            except JobError as error:
                first = error.problems[0]
                found[key] = first.message + (f" Accepted: {first.accepted}." if first.accepted else "")
    return found


def asked(facts: Mapping[str, str], faults: Mapping[str, str]) -> list[Asked]:
    """Return the fields of the form, with the choices the data dictionary and the rulesets have."""
    return [
        Asked(name=key, label=label, hint=hint, value=facts.get(key, ""), choices=_choices(key), fault=faults.get(key, ""))
        for key, (label, hint) in LABELS.items()
    ]


def _choices(key: str) -> tuple[tuple[str, str], ...]:
    if key == "ruleset":
        return tuple((name, f"{rules.title}{', ' + rules.edition if rules.edition else ''}") for name, rules in rulesets().items())
    return tuple((word, plain_words(word)) for word in words_of(shape_of_cell(PATHS[key])))
