"""``loopwright check``: what is wrong with a design, and what would put it right."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from loopwright.cli.refusal import BROKEN_MUST, DONE
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from rich.console import Console

    from loopwright.appraisal.appraise import Appraisal
    from loopwright.values.finding import Finding

MEANINGS = {
    "must": ("Must", "a published requirement or a data sheet's limit is broken", "bold red"),
    "should": ("Should", "good practice, or a requirement whose text was not seen", "bold yellow"),
    "gap": ("Gaps", "not known yet, so not computed", "bold cyan"),
    "note": ("Notes", "worth knowing", "bold"),
}
NARROWEST, WIDEST = 40, 110


def check(file: File, /, *, json: Flag = False) -> int:
    """Say what is wrong with a job, and what would put it right.

    Findings come grouped: must, should, gaps, notes. Each has its subject (a place in the document), a sentence, a remedy,
    and the clause or source it rests on. Exit status: 0; 1 when a must is broken; 2 when the document cannot be read, with
    one line for each problem.

    For example:

        loopwright check shop.yaml
        loopwright check shop.yaml --json
        cat shop.yaml | loopwright check -

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    json
        Print the findings as JSON: code, severity, subject, sentence, remedy, clause, source, standing, figures.
    """
    from loopwright.cli.file import read_job
    from loopwright.cli.terminal import console, say_record

    job = read_job(file)
    from loopwright.appraisal.appraise import appraise
    from loopwright.values.finding import Severity

    appraisal = appraise(job)
    if json:
        from loopwright.appraisal.findings_form import findings_form

        say_record(file, findings_form(appraisal))
    else:
        show(console(), appraisal)
    return BROKEN_MUST if appraisal.count(Severity.MUST) else DONE


def counts(appraisal: Appraisal) -> dict[str, int]:
    """Return how many findings there are of each severity."""
    from loopwright.values.finding import Severity

    return {str(severity): appraisal.count(severity) for severity in Severity}


def show(out: Console, appraisal: Appraisal) -> None:
    """Print the findings for people."""
    from rich.text import Text

    from loopwright.cli.terminal import plain

    out.print(Text(plain(appraisal.job.title), "bold"), soft_wrap=True)
    rules = appraisal.ruleset
    out.print(Text(plain(f"Checked against {rules.title}, {rules.edition} (as of {rules.as_of}).")), soft_wrap=True)
    for severity, (heading, meaning, style) in MEANINGS.items():
        group = [each for each in appraisal.findings if each.severity == severity]
        if group:
            out.print()
            out.print(Text(heading, style) + Text(f": {meaning}", "default"), soft_wrap=True)
        for each in group:
            _show_finding(out, each)
    out.print()
    out.print(Text(summary(counts(appraisal)), "bold"), soft_wrap=True)


def _show_finding(out: Console, finding: Finding) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import plain
    from loopwright.values.source import source

    out.print()
    out.print(Text(f"  {plain(finding.subject)}", "bold") + Text(f"  [{finding.code}]", "dim"), soft_wrap=True)
    _paragraph(out, "", finding.sentence)
    if finding.remedy:
        _paragraph(out, "Remedy: ", finding.remedy)
    stands = str(source(finding.source))
    _paragraph(out, "Source: ", f"{stands}, {finding.clause}" if finding.clause else stands)


def _paragraph(out: Console, lead: str, text: str) -> None:
    """Print a text under its finding, each line indented. In a pipe it stays on one line, so that it can be searched."""
    from rich.text import Text

    from loopwright.cli.terminal import plain

    width = max(min(out.width, WIDEST), NARROWEST) if out.is_terminal else out.width * 10
    body = textwrap.fill(
        lead + plain(text), width, initial_indent="    ", subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
    )
    out.print(Text(body), soft_wrap=True)


def summary(found: dict[str, int]) -> str:
    """Return the closing line.

    >>> summary({"must": 2, "should": 3, "note": 4, "gap": 1}), summary({"must": 0, "should": 0, "note": 1, "gap": 0})
    ('2 must, 3 should, 4 notes, 1 gap', '0 must, 0 should, 1 note')
    """
    parts = [f"{found['must']} must", f"{found['should']} should", f"{found['note']} note{'' if found['note'] == 1 else 's'}"]
    if found["gap"]:
        parts.append(f"{found['gap']} gap{'' if found['gap'] == 1 else 's'}")
    return ", ".join(parts)
