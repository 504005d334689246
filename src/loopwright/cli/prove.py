"""``loopwright prove``: what is proved of a job, what was called out, and which signals are open, at the laptop and at the centre."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from datetime import datetime

    from loopwright.appraisal.appraise import Appraisal
    from loopwright.prove.found import Found
    from loopwright.prove.standing import Standing
    from loopwright.signalling.received import Polled, Received

CAUTION = "While a system is on test no help comes to a real alarm: tell the people there, and the receiving centre before and after."


def prove(
    file: File,
    /,
    *,
    out: Annotated[Path | None, Parameter(name="--out", show_default=False)] = None,
    signals: Flag = False,
    json: Flag = False,
) -> int:
    """Say what is proved of a job and what is open, from what was said in the room Prove and what a receiver has kept.

    What was said stands in shop.yaml.proved, what arrived in shop.yaml.received.db, both beside the job. A signal is proved by the
    receiving centre's own time alone; what arrived at this machine stands in a column of its own.

    For example:

        loopwright prove shop.yaml
        loopwright prove shop.yaml --signals
        loopwright prove shop.yaml --out papers

    Parameters
    ----------
    file
        The job document, a file.
    out
        A folder for the proving record and the event table, as PDF and as CSV; made when it is not there.
    signals
        List every signal with what arrived where.
    json
        Print it as JSON.
    """
    from loopwright.appraisal.appraise import appraise
    from loopwright.cli.file import STDIN, read_job
    from loopwright.cli.papers import moment
    from loopwright.cli.terminal import say_json

    if file == STDIN:
        raise Refusal("What was said and what arrived stand beside a file; standard input has nothing beside it.")
    appraisal = appraise(read_job(file))
    now = moment()
    found = _found(Path(file), appraisal, now)
    if out is not None:
        _papers(Path(file), found, now, out)
    elif json:
        say_json({"file": file, **_data(found)})
    else:
        _show(appraisal, found, signals=signals)
    return DONE


def _found(file: Path, appraisal: Appraisal, now: datetime) -> Found:
    from loopwright.prove.found import due_of, found_of
    from loopwright.store.file import StoreError
    from loopwright.store.proof_file import ProofFile, proof_path

    due = due_of(appraisal.job, appraisal.circuits, appraisal.power)
    try:
        kept = ProofFile(proof_path(file)).load()
        received, polled = _received(file, kept.record.after)
        return found_of(due, kept.record, received, now=now, before=kept.last, polled=polled)
    except StoreError as error:
        raise Refusal(str(error)) from None


def _received(file: Path, after: int) -> tuple[list[Received], tuple[Polled, ...]]:
    from loopwright.store.received import ReceivedReader, received_path

    path = received_path(file)
    if not path.exists():
        return [], ()
    reader = ReceivedReader(path)
    try:
        found: list[Received] = []
        while more := reader.since(found[-1].number if found else after):
            found += more
        return found, reader.polls()
    finally:
        reader.close()


def _papers(file: Path, found: Found, now: datetime, out: Path) -> None:
    from hashlib import sha256

    from loopwright.cli.papers import FINGERPRINT, put_all
    from loopwright.cli.terminal import plain, say
    from loopwright.papers.proving import PROVING_PAPERS
    from loopwright.prove.table import event_table
    from loopwright.store.file import StoreError
    from loopwright.store.photo_file import PhotoFile, photo_path
    from loopwright.store.sheetfile import csv_bytes

    try:
        found = PhotoFile(photo_path(file)).shown(found)
    except StoreError as error:
        raise Refusal(str(error)) from None
    revision = sha256(file.read_bytes()).hexdigest()[:FINGERPRINT]
    made = {f"{name}.pdf": paper(found, revision=revision, now=now) for name, paper in PROVING_PAPERS.items()}
    made["event-table.csv"] = csv_bytes(event_table(found))
    for path in put_all(out, made):
        say(plain(str(path)))


def _data(found: Found) -> dict[str, Any]:
    from loopwright.prove.calibration import calibration_doubts
    from loopwright.prove.standing import at_laptop, gaps, progress
    from loopwright.prove.table import difference

    missing, odd = difference(found.board)
    doubts = calibration_doubts(found.record)
    return {
        "title": found.due.job.title,
        "begun": found.record.begun_at or None,
        "issued": found.record.issued.at if found.record.issued is not None else None,
        "groups": [{"group": row.group, "done": row.done, "of": row.of, "wrong": row.wrong} for row in progress(found.standings)],
        "called_out": [
            {"about": each.about, "sentence": each.sentence, "sure": each.sure, "settled": each.over} for each in found.board.calls
        ],
        "calibration": [{"serial": each.tool.serial, "readings": each.readings, "sentence": each.sentence} for each in doubts],
        "open": [_open(each) for each in gaps(found.standings)],
        "signals": [
            {
                "key": each.item.key, "what": f"{each.item.where}: {each.item.act}", "stands": each.stand,
                "at_laptop": heard.at.isoformat() if (heard := at_laptop(each)) else None,
                "at_centre": each.centre.time if each.centre is not None and each.centre.answer == "yes" else None,
            }
            for each in found.standings
            if each.item.key.startswith("signal:")
        ],
        "not_arrived": list(missing),
        "not_expected": list(odd),
    }  # fmt: skip


def _open(each: Standing) -> dict[str, str]:
    return {"key": each.item.key, "where": each.item.where, "what": each.item.act, "stands": each.stand}


def _show(appraisal: Appraisal, found: Found, *, signals: bool) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import console, plain

    out = console()
    out.print(Text(plain(_head(found)), "bold"), soft_wrap=True)
    out.print(Text(CAUTION, "italic"), soft_wrap=True)
    lines = _signal_lines(found) if signals else _lines(appraisal, found)
    for words, look in lines:
        out.print(Text(plain(words), look), soft_wrap=True)


def _head(found: Found) -> str:
    from loopwright.prove.standing import progress

    rows = progress(found.standings)
    issued = found.record.issued
    told = f"certificate issued {issued.at[:10]} by {issued.by}" if issued is not None else "no certificate is issued"
    return f"{found.due.job.title}: {sum(r.done for r in rows)} of {sum(r.of for r in rows)} proved or signed for; {told}"


def _lines(appraisal: Appraisal, found: Found) -> Iterator[tuple[str, str]]:
    from loopwright.explain.explain import Inquiry
    from loopwright.explain.explanation import chance_words
    from loopwright.prove.calibration import calibration_doubts
    from loopwright.prove.standing import not_there, progress
    from loopwright.prove.table import difference
    from loopwright.prove.wiring import answers, named, signs

    for row in progress(found.standings):
        yield f"  {row.group:<22} {row.done:>4} of {row.of}{f', {row.wrong} not as it should be' if row.wrong else ''}", ""
    if found.board.calls:
        yield "", ""
        yield "Called out", "bold"
    for call in found.board.calls:
        state = " (settled)" if call.over else "" if call.sure else " (inferred)"
        yield f"  {call.about}{state}: {call.sentence}", "bold" if call.urgent else ""
    for circuit, noted in signs(found.due.job, found.board.acts, found.board.calls).items():
        told = answers(named(Inquiry(found.due.job, appraisal.power.network), noted))
        yield f"  What may be behind it on {circuit}:", ""
        yield from ((f"    {chance_words(chance)}: {words}, {where}; {fix}", "") for chance, words, where, fix in told)
    missing, odd = difference(found.board)
    if found.board.events:
        yield "", ""
        yield f"Expected, and not arrived here: {len(missing)}", "bold"
        yield from ((f"  {each}", "") for each in missing)
        yield from ((f"  not expected: {each}", "") for each in odd)
    if lost := not_there(found.standings, found.now.tzinfo):
        yield "", ""
        yield "The receiving centre did not get", "bold"
        yield from ((f"  {each}", "") for each in lost)
    yield from ((f"  {each.sentence}", "") for each in calibration_doubts(found.record))
    yield from _radio_lines(found)


def _radio_lines(found: Found) -> Iterator[tuple[str, str]]:
    from loopwright.prove.radio import margin_words, proved

    before = {row.identity: row for row in found.before.radio_rows} if found.before is not None else {}
    for number, row in enumerate(found.record.radio_rows):
        if not number:
            yield "", ""
            yield "Radio devices and fobs", "bold"
        told = (
            "lost, removed from the unit"
            if row.gone
            else margin_words(row, before.get(row.identity))[1]
            if row.kind == "device"
            else "a fob"
        )
        seen = f", check-in {row.checked_in}" if row.checked_in else ", no check-in seen yet"
        done = "proved" if proved(row, before.get(row.identity)) else "open"
        yield f"  {row.identity} {row.what}: {told}{'' if row.gone else seen}; {done}", ""


def _signal_lines(found: Found) -> Iterator[tuple[str, str]]:
    from loopwright.prove.standing import at_laptop

    yield f"  {'signal':<52} {'at the laptop':<20} at the centre, its own time", "bold"
    for each in found.standings:
        if each.item.key.startswith("signal:"):
            here, told = at_laptop(each), each.centre
            laptop = f"{here.at.astimezone(found.now.tzinfo):%Y-%m-%d %H:%M:%S}" if here is not None else "-"
            centre = (
                f"{told.time} {told.operator}".strip()
                if told is not None and told.answer == "yes"
                else "did not arrive"
                if told
                else str(each.stand)
            )
            yield f"  {f'{each.item.where}: {each.item.act}':<52} {laptop:<20} {centre}", ""
