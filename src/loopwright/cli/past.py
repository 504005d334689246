"""``loopwright history``: the revisions of a job, and the difference between any two of them told."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal, either
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.appraisal.difference import Story, Told
    from loopwright.store.chronicle import Entry
    from loopwright.store.sql import SqlStore
    from loopwright.store.store import Revision
    from loopwright.values.finding import Finding

LONGEST_NUMBER = 9
Which = Annotated[str | None, Parameter(show_default=False)]


def history(
    file: File,
    /,
    *,
    from_: Annotated[str | None, Parameter(name="--from", show_default=False)] = None,
    to: Which = None,
    job: Which = None,
    json: Flag = False,
) -> int:
    """Say what was done to a job, by whom and when; or what differs between two of its revisions.

    Without --from and --to every revision is listed, the latest first, with the names it was given. With them the
    difference is told in words, with the figures that moved and the findings that came and went. Nothing is written.
    Times are those of this machine, with how far they are from UTC.

    For example:

        loopwright history shop.yaml
        loopwright history shop.yaml --from "as designed"
        loopwright history shop.yaml --from 12 --to 40

    Parameters
    ----------
    file
        The job document whose history is kept beside it, the history itself, or the postgresql:// address of a server.
    from_
        The earlier revision, by number or name; left out, the one before --to.
    to
        The later revision, by number or name; left out, the last.
    job
        The job, where the history or the server keeps several.
    json
        Print the list, or the difference, as JSON.
    """
    from loopwright.store.file import StoreError
    from loopwright.store.sql import open_store

    try:
        with closing(open_store(_where(file), read_only=True)) as store:
            name = _job(store, file, job)
            if from_ is None and to is None:
                return _list(store, name, json=json)
            return _differ(store, name, from_, to, json=json)
    except StoreError as error:
        raise Refusal(str(error)) from None


def _where(file: str) -> str | Path:
    """Return where the history is. Raises Refusal when there is none."""
    from loopwright.cli.history import history_file
    from loopwright.store.address import is_address
    from loopwright.store.kept import history_path

    if is_address(file):
        return file
    if file.endswith(".db"):
        return history_file(file)
    try:
        where = history_path(Path(file))
        there = where.is_file()
    except (OSError, ValueError) as error:
        raise Refusal(f"{file}: cannot be a file name: {error}.") from None
    if not there:
        raise Refusal(f"{file}: has no history beside it. `loopwright serve {file}` keeps one.")
    return where


def _job(store: SqlStore, file: str, said: str | None) -> str:
    """Return the job that is meant. Raises Refusal when that cannot be told."""
    jobs = store.jobs()
    if not jobs:
        raise Refusal(f"{store.name}: keeps no job yet.")
    if said is None and len(jobs) == 1:
        return jobs[0]
    meant = Path(file).name if said is None else said
    if meant in jobs:
        return meant
    raise Refusal(f"--job {said or ''}: choose one of the jobs it keeps. Accepted: {either(jobs)}.")


def _list(store: SqlStore, job: str, *, json: bool) -> int:
    from loopwright.cli.terminal import plain, say, say_json

    found = _entries(store, job)
    if json:
        say_json({"job": job, "revisions": [_machine(entry) for entry in found]})
        return DONE
    for entry in found:
        names = "".join(f"  [{name}]" for name in entry.marks)
        say(plain(f"{entry.number:>5}  {_moment(entry.revision)}  {entry.revision.by or 'somebody'}  {entry.words}{names}"))
    return DONE


def _entries(store: SqlStore, job: str) -> Iterator[Entry]:
    """Yield every revision in words, the latest first, read page by page."""
    from loopwright.job.read import read
    from loopwright.store.chronicle import entries_of
    from loopwright.store.store import PAGE
    from loopwright.values.error import JobError

    try:
        present = read(store.head(job).text).job
    except JobError as error:
        raise Refusal(f"{job}: the last revision cannot be read by this version: {error.problems[0].message}") from None
    marks, before = store.marks(job), None
    while page := store.revisions(job, before=before, most=PAGE):
        yield from entries_of(page, marks, present)
        before = page[-1].number


def _machine(entry: Entry) -> dict[str, Any]:
    from loopwright.store.store import stamp

    revision = entry.revision
    return {
        "number": entry.number,
        "at": stamp(revision.at),
        "by": revision.by,
        "kind": str(entry.kind),
        "words": entry.words,
        "summary": revision.summary,
        "why": revision.why,
        "names": list(entry.marks),
    }


def _moment(revision: Revision) -> str:
    here = revision.at.astimezone()
    return f"{here:%Y-%m-%d %H:%M} {here:%z}"


def _number(store: SqlStore, job: str, said: str) -> int:
    """Return the revision that is meant by a number or a name. Raises Refusal when there is none."""
    if said.isdecimal() and said.isascii() and len(said) <= LONGEST_NUMBER:
        return store.revision(job, int(said)).number
    marks = store.marks(job)
    found = next((mark.revision for mark in marks if mark.name == said), None)
    if found is None:
        names = either(dict.fromkeys(mark.name for mark in marks))
        raise Refusal(f"'{said}': there is no revision and no name like that. Accepted: a number{f', or {names}' if names else ''}.")
    return found


def _differ(store: SqlStore, job: str, from_: str | None, to: str | None, *, json: bool) -> int:
    from loopwright.appraisal.appraise import Appraisal, appraise
    from loopwright.appraisal.difference import story
    from loopwright.cli.terminal import plain, say, say_json
    from loopwright.job.read import read
    from loopwright.values.error import JobError

    end = store.head(job).number if to is None else _number(store, job, to)
    start = end - 1 if from_ is None else _number(store, job, from_)

    def appraised(number: int) -> Appraisal:
        try:
            return appraise(read(store.text_at(job, number)).job)
        except JobError as error:
            raise Refusal(f"revision {number}: cannot be read by this version: {error.problems[0].message}") from None

    if start < 1:
        raise Refusal(f"revision {end}: there is none before it.")
    revisions = [store.revision(job, number) for number in (start, end)]
    found = story(appraised(start), appraised(end))
    if json:
        say_json(_told(job, revisions, found))
        return DONE
    same = revisions[0].text_sha256 == revisions[1].text_sha256
    for line in _lines(revisions, found, same=same):
        say(plain(line))
    return DONE


def _lines(revisions: list[Revision], found: Story, *, same: bool) -> Iterator[str]:
    heads = [f"revision {each.number} of {_moment(each)} by {each.by or 'somebody'}" for each in revisions]
    yield f"From {heads[0]} to {heads[1]}:"
    if not found.sentences:
        yield "Nothing differs." if same else "Only comments, layout or the way values are written differ; the job says the same."
    yield from (f"  {each.words}" for each in found.sentences)
    counts = [f"{severity} {was}" if was == now else f"{severity} {was} → {now}" for severity, was, now in found.counts if was or now]
    yield f"Findings, then and now: {', '.join(counts) or 'none'}."
    for title, findings in (("New findings", found.come), ("Findings that are gone", found.gone)):
        if findings:
            yield f"{title}:"
            yield from (f"  {each.severity}: {each.sentence}" for each in findings)
    if found.moved:
        yield "Figures that moved:"
        yield from (f"  {each}" for each in found.moved)


def _told(job: str, revisions: list[Revision], found: Story) -> dict[str, Any]:
    from loopwright.store.store import stamp

    start, end = ({"number": each.number, "at": stamp(each.at), "by": each.by} for each in revisions)
    return {
        "job": job,
        "from": start,
        "to": end,
        "sentences": [{"act": str(each.act), "words": each.words, "rows": list(each.rows)} for each in found.sentences],
        "counts": {str(severity): {"then": was, "now": now} for severity, was, now in found.counts},
        "findings": {"new": [_finding(each) for each in found.come], "gone": [_finding(each) for each in found.gone]},
        "figures": [_figure(each) for each in found.moved],
    }


def _finding(finding: Finding) -> dict[str, str]:
    return {"code": finding.code, "severity": str(finding.severity), "subject": finding.subject, "sentence": finding.sentence}


def _figure(told: Told) -> dict[str, Any]:
    from loopwright.appraisal.forecast_form import number

    return {
        "key": told.key,
        "label": told.label,
        "unit": told.unit,
        "then": number(told.was),
        "now": number(told.now),
        "limit": None if told.limit is None else number(told.limit.value),
        "verdict": told.verdict,
    }
