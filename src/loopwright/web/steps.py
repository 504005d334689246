"""What each step of the history did, in words, so that Undo can say what it will take back."""

from __future__ import annotations

from collections import OrderedDict
from typing import NamedTuple

from loopwright.job.document import Job
from loopwright.job.labels import place_words, row_at, row_words
from loopwright.store.file import StoreError
from loopwright.store.store import Revision
from loopwright.store.trail import OUTSIDE, REDO, UNDO
from loopwright.web.change import Change
from loopwright.web.joining import renaming_of
from loopwright.web.session import Session

READ_AGAIN = "reading the file again, with what another program had changed"
ELSEWHERE = "what another program had changed"
SOME = "the change before"
MOST_NOTED, MOST_TOLD = 2000, 3


class Named(NamedTuple):
    """What Undo will take back and Redo will do again, for one person; empty when there is nothing."""

    undo: str
    redo: str


class Steps:
    """The words of every step that was made here, and those of the kept history for steps made earlier."""

    def __init__(self, session: Session) -> None:
        """Begin with no step made."""
        self._session = session
        self._words: OrderedDict[int, str] = OrderedDict()

    def note(self, change: Change, before: int, job: Job) -> None:
        """Note the words of a change that was just made; ``before`` is the revision there was, ``job`` the one it was made to."""
        if change.do not in ("undo", "redo"):
            self.call(words_of(change, job), before)

    def call(self, words: str, before: int) -> None:
        """Give the step that was just made its words; ``before`` is the revision there was."""
        made = self._session.state.revision
        if made == before:
            return
        self._words[made] = words
        while len(self._words) > MOST_NOTED:
            self._words.popitem(last=False)

    def of(self, by: str) -> Named:
        """Return what a person's own next steps are."""
        try:
            back, forward = (self._session.next_step(way, by=by) for way in (-1, 1))
            return Named(self.at(back.number) if back else "", self.at(forward.number) if forward else "")
        except StoreError:
            return Named("", "")

    def at(self, number: int) -> str:
        """Return a revision in words: what it changed."""
        if number not in self._words:
            self._words[number] = self._kept(number)
        return self._words[number]

    def _kept(self, number: int) -> str:
        try:
            revision = self._session.revision(number)
        except StoreError:
            return SOME
        if revision.why == OUTSIDE:
            return ELSEWHERE
        return place_words(self._session.state.job, revision.summary.partition(": ")[0]) if ": " in revision.summary else SOME

    def news(self, since: int, by: str) -> str:
        """Return in a sentence what others have done after a revision; empty when they have done nothing, or it is not known."""
        try:
            found = [each for each in self._session.since(since) if each.by != by or each.why == OUTSIDE]
        except StoreError:
            return ""
        said = list(dict.fromkeys(self._told(each) for each in found[-MOST_TOLD:]))
        before = len(found) - MOST_TOLD
        more = f" and {before} change{'' if before == 1 else 's'} before" if before > 0 else ""
        return f"{'; '.join(said)}{more}." if said else ""

    def _told(self, revision: Revision) -> str:
        if revision.why == OUTSIDE:
            return "Another program changed the file"
        who = revision.by or "Somebody"
        if revision.why in (UNDO, REDO):
            return f"{who} {'took back a step' if revision.why == UNDO else 'did a step again'}"
        return f"{who} {_done(revision.summary, self._session.state.job)}"


def _done(summary: str, job: Job) -> str:
    """Return what a revision's summary says was done."""
    for ending, words in ((" added", "put in"), (" taken out", "took out")):
        if summary.endswith(ending):
            return f"{words} {place_words(job, summary.removesuffix(ending))}"
    renaming = renaming_of(summary)
    if renaming is not None:
        return f"renamed {renaming.path.rpartition('/')[2]} to {renaming.new_id}"
    path, colon, _ = summary.partition(": ")
    return f"changed {place_words(job, path)}" if colon else "made a change"


def words_of(change: Change, job: Job) -> str:
    """Return a change in words: ``length of W31``, ``taking out W31``, ``putting in run W99``."""
    if change.do == "reload":
        return READ_AGAIN
    if change.do == "add":
        part, name = row_at(f"{change.path}/{change.fields.get('id', '')}")
        return f"putting in {row_words(job, f'{part}/{name}') or place_words(job, change.path)}"
    if change.do == "rename":
        return f"renaming {change.path.rpartition('/')[2]} to {change.text.strip()}"
    if change.do == "remove":
        return f"taking out {place_words(job, change.path)}"
    return place_words(job, change.path)
