"""A console that leaves a closed pipe to the command as a whole."""

from __future__ import annotations

from rich.console import Console


class Screen(Console):
    """A console whose reader may go away: that ends the command in one way for everything it prints."""

    def on_broken_pipe(self) -> None:
        """Let the exception go on; the library would end the process with a status that means something else here."""
        raise
