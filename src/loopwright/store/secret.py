"""A secret on its way through the program: it can be handed on and compared, and shows itself to nobody who does not ask by name."""

from __future__ import annotations

import contextlib
import hmac
import resource
from collections.abc import Callable
from typing import NoReturn

HIDDEN = "(hidden)"
Draw = Callable[[int], bytes]
"""Gives so many random bytes; ``secrets.token_bytes`` outside the tests."""


class Secret:
    """A text that is not printed, logged, copied into a file or sent to another process by mistake.

    Two secrets are compared in a time that does not depend on where they differ.

    >>> f"the code is {Secret('4711')!s}"
    'the code is (hidden)'
    """

    __slots__ = ("__text",)

    def __init__(self, text: str) -> None:
        # Told here, and without the text: an encoding error later on would carry the whole of it.
        if any("\ud800" <= each <= "\udfff" for each in text):
            raise ValueError("a secret holds something that is not a character.")
        self.__text = text

    @classmethod
    def of_bytes(cls, raw: bytes) -> Secret:
        """Return the secret in UTF-8 bytes. Raises ValueError, without the bytes."""
        text = raw.decode("utf-8", "surrogateescape")
        return cls(text)

    def reveal(self) -> str:
        """Return the text itself."""
        return self.__text

    def utf8(self) -> bytes:
        """Return the text itself in UTF-8."""
        return self.__text.encode("utf-8")

    def __repr__(self) -> str:
        """Return words that say nothing of the text, not even its length."""
        return HIDDEN

    __str__ = __repr__

    def __format__(self, how: str) -> str:
        """Return the same words, whatever form is asked for."""
        return HIDDEN

    def __eq__(self, other: object) -> bool:
        """Return whether two secrets are the same; a secret is equal to nothing else."""
        return isinstance(other, Secret) and same(self.utf8(), other.utf8())

    # A hash would let a four-digit code be found by trying them all.
    __hash__ = None  # type: ignore[assignment]

    def __reduce_ex__(self, protocol: object) -> NoReturn:
        """Refuse to be pickled or copied."""
        raise TypeError("a secret is not copied or pickled")

    def __getstate__(self) -> NoReturn:
        """Refuse to give the state away."""
        raise TypeError("a secret is not copied or pickled")


def no_core() -> None:
    """Leave no copy of the memory on disk should the program be ended by force."""
    with contextlib.suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))


def same(one: bytes, other: bytes) -> bool:
    """Return whether two byte strings are the same, in a time that does not depend on where they differ."""
    return hmac.compare_digest(one, other)
