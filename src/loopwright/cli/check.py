"""``loopwright check``: what is wrong with a design, and what would put it right."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import BROKEN_MUST, DONE, Refusal
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


def check(
    file: File,
    /,
    *,
    vault: Flag = False,
    passphrase_file: Annotated[str | None, Parameter(show_default=False)] = None,
    passphrase_fd: Annotated[int | None, Parameter(show_default=False)] = None,
    json: Flag = False,
) -> int:
    """Say what is wrong with a job, and what would put it right.

    Findings come grouped: must, should, gaps, notes. Each has its subject (a place in the document), a sentence, a remedy,
    and the clause or source it rests on. Exit status: 0; 1 when a must is broken; 2 when the document cannot be read, with
    one line for each problem.

    With --vault the codes are judged too, by facts of them alone: length, in order, as delivered, the same or nearly the same
    as another. What is found then tells something of the codes, so keep it as you keep them. That they were compared is noted.

    For example:

        loopwright check shop.yaml
        loopwright check shop.yaml --json
        loopwright check shop.yaml --vault
        cat shop.yaml | loopwright check -

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    vault
        Open the vault beside the job, and judge the codes in it too.
    passphrase_file
        A file of yours alone with the vault's passphrase in its first line; without it, the terminal asks.
    passphrase_fd
        The number of an open file descriptor to read the same from.
    json
        Print the findings as JSON: code, severity, subject, sentence, remedy, clause, source, standing, figures.
    """
    from loopwright.cli.file import read_job
    from loopwright.cli.terminal import console, say_record

    if not vault and (passphrase_file is not None or passphrase_fd is not None):
        raise Refusal("--passphrase-file and --passphrase-fd: nothing is opened without --vault.")
    job = read_job(file)
    from loopwright.appraisal.appraise import appraise
    from loopwright.cli.codes import codes_of
    from loopwright.values.finding import Severity

    appraisal = appraise(job, codes_of(file, passphrase_file, passphrase_fd) if vault else ())
    if json:
        from loopwright.appraisal.findings_form import findings_form

        say_record(file, findings_form(appraisal, private=vault))
    else:
        show(console(), appraisal)
    return BROKEN_MUST if appraisal.count(Severity.MUST) else DONE


def counts(found: Sequence[Finding]) -> dict[str, int]:
    """Return how many findings there are of each severity."""
    from loopwright.values.finding import Severity

    return {str(severity): sum(1 for each in found if each.severity is severity) for severity in Severity}


def show(out: Console, appraisal: Appraisal) -> None:
    """Print the findings for people."""
    from rich.text import Text

    from loopwright.cli.terminal import plain

    out.print(Text(plain(appraisal.job.title), "bold"), soft_wrap=True)
    rules = appraisal.ruleset
    out.print(Text(plain(f"Checked against {rules.title}, {rules.edition} (as of {rules.as_of}).")), soft_wrap=True)
    found = (*appraisal.findings, *appraisal.private)
    for severity, (heading, meaning, style) in MEANINGS.items():
        group = [each for each in found if each.severity == severity]
        if group:
            out.print()
            out.print(Text(heading, style) + Text(f": {meaning}", "default"), soft_wrap=True)
        for each in group:
            _show_finding(out, each)
    out.print()
    out.print(Text(summary(counts(found)), "bold"), soft_wrap=True)


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
