"""Calls that are played through: a caller who is asked, and answers as the test says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from loopwright.appraisal.appraise import Appraisal
from loopwright.desk.case import RIGHT, Caller, Case, Said
from loopwright.desk.course import Course, course
from loopwright.desk.normal import answer as answer_of
from loopwright.desk.question import Question, told_by
from loopwright.explain.explain import Inquiry
from loopwright.explain.learned import CATALOGUE, Weights

MOST_ASKED = 30
ANN = Caller(name="Ann", premises="Lane 4", call_back="01632 960 014", verified=RIGHT)
INQUIRIES: dict[str, Inquiry] = {}


class Call:
    """One call about a design."""

    def __init__(self, appraisal: Appraisal, *, on_file: bool = True, weights: Weights = CATALOGUE) -> None:
        self.appraisal = appraisal
        # Parts once solved serve every call about the same design.
        self.inquiry = INQUIRIES.setdefault(appraisal.job.title, Inquiry(appraisal.job, appraisal.power.network))
        self.weights = weights
        self.case = Case(id="one", at="", by="Dora", on_file=on_file, caller=ANN, danger="none")
        self.asked: list[str] = []

    def stands(self) -> Course:
        self.inquiry.weights = self.weights
        return course(self.case, self.appraisal, lambda observed, may: self.inquiry.explain(observed, may=may))

    def answer(self, key: str, answer: str, question: Question | None = None) -> None:
        question = question or self.stands().question
        assert question is not None and question.key == key, (key, question)
        told = told_by(self.appraisal.job, question, answer, answer_of(self.case, "keypad"))
        self.case = self.case.with_said(Said(key=key, at="", by="Dora", question=question.words, answer=answer, **told))  # type: ignore[arg-type]

    def play(self, complaint: str, answers: Mapping[str, str]) -> Course:
        """Go through a call to its end: what is not in ``answers`` is answered no, or is not known."""
        self.case = replace(self.case, complaint=complaint)
        for _ in range(MOST_ASKED):
            found = self.stands()
            if found.question is None:
                return found
            key = found.question.key
            self.asked.append(key)
            given = answers.get(key, "no" if "no" in dict(found.question.choices) else "not known")
            self.answer(key, given, found.question)
        raise AssertionError(f"asked too long: {self.asked}")
