"""What each step of the history did, in words, so that Undo can say what it will take back."""

from __future__ import annotations

from loopwright.job.document import Job
from loopwright.job.labels import place_words, row_at, row_words
from loopwright.store.file import StoreError
from loopwright.store.kept import OUTSIDE
from loopwright.web.change import Change
from loopwright.web.session import Session

READ_AGAIN = "reading the file again, with what another program had changed"
ELSEWHERE = "what another program had changed"
SOME = "the change before"


class Steps:
    """The words of every step that was made here, and those of the kept history for steps made earlier."""

    def __init__(self, session: Session) -> None:
        """Begin with no step made."""
        self._session = session
        self._words: dict[int, str] = {}

    def note(self, change: Change, before: int, job: Job) -> None:
        """Note the words of a change that was just made; ``before`` is how many steps there were, ``job`` the one it was made to."""
        made = self._session.state.back
        if change.do in ("undo", "redo") or made == before:
            return
        self._words = {number: words for number, words in self._words.items() if number < made}
        self._words[made] = words_of(change, job)

    @property
    def undo(self) -> str:
        """Return what Undo will take back; empty when there is nothing."""
        back = self._session.state.back
        return self._at(back) if back else ""

    @property
    def redo(self) -> str:
        """Return what Redo will do again; empty when there is nothing."""
        state = self._session.state
        return self._words.get(state.back + 1, "the change taken back") if state.forward else ""

    def _at(self, number: int) -> str:
        if number not in self._words:
            self._words[number] = self._kept(number)
        return self._words[number]

    def _kept(self, number: int) -> str:
        try:
            revisions = self._session.history()
        except StoreError:
            return SOME
        for revision in revisions:
            if revision.place.depth == number:
                if revision.why == OUTSIDE:
                    return ELSEWHERE
                return place_words(self._session.state.job, revision.summary.partition(": ")[0]) if ": " in revision.summary else SOME
        return SOME


def words_of(change: Change, job: Job) -> str:
    """Return a change in words: ``length of W31``, ``taking out W31``, ``putting in run W99``."""
    if change.do == "reload":
        return READ_AGAIN
    if change.do == "add":
        part, name = row_at(f"{change.path}/{change.fields.get('id', '')}")
        return f"putting in {row_words(job, f'{part}/{name}') or place_words(job, change.path)}"
    if change.do == "remove":
        return f"taking out {place_words(job, change.path)}"
    return place_words(job, change.path)
