"""A trail of who did what, printed, and held against its own hashes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from loopwright.cli.refusal import BROKEN_MUST, DONE

if TYPE_CHECKING:
    from loopwright.store.audit import Audit


def say_trail(audit: Audit) -> int:
    """Print the lines of a trail and what is wrong with them, and return the exit status. Raises StoreError."""
    from loopwright.cli.terminal import plain, say

    for line in audit.told():
        say(plain(line))
    troubles = audit.verify()
    for trouble in troubles:
        say(f"Line {trouble.number} {trouble.sentence}")
    return BROKEN_MUST if troubles else DONE
