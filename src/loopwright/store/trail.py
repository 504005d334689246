"""The way back and forward through the texts of a job that is being worked on."""

from __future__ import annotations

from typing import Protocol

from loopwright.store.file import JobFile
from loopwright.store.store import PAGE, Revision


class Trail(Protocol):
    """What a session needs of the place its job is kept in: steps that are saved as they are made, and the way back over them.

    ``by`` is who does it; left out, it is who sits at the machine.
    """

    @property
    def back(self) -> int:
        """Return how many steps can be gone back."""

    @property
    def forward(self) -> int:
        """Return how many steps can be gone forward again."""

    def start(self, text: str) -> None:
        """Begin with the text that was loaded and is a job. Raises StoreError."""

    def add(self, text: str, summary: str, *, save: bool, by: str = "") -> None:
        """Make a text the next step, and put it into the job file too when ``save`` is said. Raises StoreError; all is then as it was."""

    def text(self, way: int) -> str:
        """Return the text one step back (-1) or forward (1). Raises StoreError."""

    def move(self, way: int, *, by: str = "") -> None:
        """Go one step back (-1) or forward (1), the job file too. Raises StoreError; all is then as it was."""

    def history(self, *, before: int | None = None, most: int = PAGE) -> tuple[Revision, ...]:
        """Return a page of what was done, the latest first, below the number ``before`` where one is given. Raises StoreError."""


class MemoryTrail:
    """A trail that lasts as long as the program runs."""

    def __init__(self, file: JobFile) -> None:
        """Take the file the job is saved in."""
        self._file = file
        self._texts: list[str] = []
        self._at = 0

    @property
    def back(self) -> int:
        """Return how many steps can be gone back."""
        return self._at

    @property
    def forward(self) -> int:
        """Return how many steps can be gone forward again."""
        return len(self._texts) - self._at - 1

    def start(self, text: str) -> None:
        """Begin with the text that was loaded."""
        self._texts, self._at = [text], 0

    def add(self, text: str, summary: str, *, save: bool, by: str = "") -> None:
        """Make a text the next step; what was ahead is gone. Raises StoreError."""
        if save:
            self._file.save(text)
        self._texts[self._at + 1 :] = [text]
        self._at += 1

    def text(self, way: int) -> str:
        """Return the text one step back (-1) or forward (1)."""
        return self._texts[self._at + way]

    def move(self, way: int, *, by: str = "") -> None:
        """Go one step back (-1) or forward (1). Raises StoreError."""
        self._file.save(self._texts[self._at + way])
        self._at += way

    def history(self, *, before: int | None = None, most: int = PAGE) -> tuple[Revision, ...]:
        """Return nothing: no revisions are kept."""
        return ()
