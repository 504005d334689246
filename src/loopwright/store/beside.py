"""A small file beside a job that is changed as a whole: read again under a lock, written anew, so that two people's changes both stand."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Generic, Protocol, TypeVar

from loopwright.store.file import StoreError, words_of
from loopwright.store.held import held
from loopwright.store.whole import write_whole

if TYPE_CHECKING:
    from pydantic import TypeAdapter


def path_beside(job: Path, suffix: str) -> Path:
    """Return the file that lies beside a job under its name and a suffix; beside the job itself where a link leads to it.

    >>> path_beside(Path("/jobs/shop.yaml"), ".visit").name
    'shop.yaml.visit'
    """
    real = Path(os.path.realpath(job))
    return real.with_name(real.name + suffix)


class Formed(Protocol):
    """What is kept in such a file: a dataclass with the number of its format."""

    __dataclass_fields__: ClassVar[dict[str, Any]]

    @property
    def format(self) -> int:
        """Return the number of the format it is written in."""
        ...


Kept = TypeVar("Kept", bound=Formed)


class Beside(Generic[Kept]):
    """One such file. It comes into being with the first change; ``empty`` is what it holds before."""

    def __init__(self, path: Path, empty: Kept, *, most_bytes: int, mode: int | None = None) -> None:
        """Take the file; nothing is read yet. ``mode`` are its rights, as write_whole takes them."""
        self.path, self._empty, self._most_bytes, self._mode = path, empty, most_bytes, mode

    def load(self) -> Kept:
        """Return what is kept now. Raises StoreError."""
        try:
            raw = self.path.read_bytes()
        except FileNotFoundError:
            return self._empty
        except OSError as error:
            raise StoreError(f"{self.path.name} cannot be read: {words_of(error)}.") from error
        with contextlib.suppress(ValueError):
            kept: Kept | None = _form(type(self._empty)).validate_json(raw) if len(raw) <= self._most_bytes else None
            if kept is not None and kept.format == self._empty.format:
                return kept
        raise StoreError(
            f"{self.path.name} is damaged, or was written by a later version; it is left as it is. Moved away, a new one begins."
        )

    def change(self, act: Callable[[Kept], Kept]) -> Kept:
        """Return what is kept after a change; what ``act`` returns as it was is not written. Raises StoreError, and what ``act`` raises."""
        try:
            with contextlib.suppress(FileExistsError):
                write_whole(self.path, _written(self._empty), over=False, mode=self._mode)
            with held(self.path):
                kept = self.load()
                made = act(kept)
                if made is not kept:
                    write_whole(self.path, _written(made), over=True, mode=self._mode)
                return made
        except OSError as error:
            raise StoreError(f"{self.path.name} was not written: {words_of(error)}. Nothing was changed.") from error


def _written(kept: Formed) -> bytes:
    return json.dumps(asdict(kept), ensure_ascii=False, indent=1).encode("utf-8")


@cache
def _form(kind: type[Any]) -> TypeAdapter[Any]:
    # Only here: who copies a job asks for the file's name, and pydantic takes a tenth of a second.
    from pydantic import TypeAdapter

    return TypeAdapter(kind)
