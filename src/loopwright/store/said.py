"""Something said while a job is worked at: it begins what it belongs to, counts once, and does not reach into what is over."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from typing import Any, ClassVar, Protocol, TypeVar

from loopwright.store.file import StoreError


class Over(StoreError):
    """What was sent belongs to something that is over."""


class Begun(Protocol):
    """What things are said in: who began it when; ``marks`` name the changes made, each once."""

    __dataclass_fields__: ClassVar[dict[str, Any]]

    @property
    def id(self) -> str:
        """Return its name, empty before the first thing is said."""
        ...

    @property
    def marks(self) -> tuple[str, ...]:
        """Return the marks of what was said, the latest last."""
        ...


B = TypeVar("B", bound=Begun)


def said(now: B, act: Callable[[B], B], *, mark: str, of: str, by: str, at: str, words: str, most_marks: int) -> B:
    """Return what things are said in after one more, ``act``, which names itself by ``mark``.

    ``of`` is the name of what it belongs to, empty for a page that was drawn before that began; ``words`` say what it is called. Raises
    Over where another stands by now, and whatever ``act`` raises.
    """
    if of and of != now.id:
        raise Over(f"This belongs to a {words} that is over, and was not added to the one of now.")
    made = act(now if now.id else replace(now, id=secrets.token_urlsafe(9), begun_at=at, by=by))
    return replace(made, marks=(*made.marks, mark)[-most_marks:])
