"""The manual's page on the command line, made from the help texts themselves."""

from __future__ import annotations

from io import StringIO

from rich.console import Console

from loopwright.cli.command import VERBS, application

WIDTH = 120
HEAD = """# The command line

What `loopwright --help` and `loopwright VERB --help` print. This page is made from the help texts by `tools/write-cli-page`;
a test keeps it current.
"""


def page() -> str:
    """Return the page in Markdown."""
    parts = [HEAD, f"```text\n{help_text()}\n```\n"]
    parts += [f"## {name}\n\n```text\n{help_text(name)}\n```\n" for name in VERBS]
    return "\n".join(parts)


def help_text(*tokens: str) -> str:
    """Return the help of the command, or of one verb, as plain text."""
    drawn = StringIO()
    console = Console(file=drawn, width=WIDTH, color_system=None, force_terminal=False)
    application().help_print(list(tokens), console=console)
    return "\n".join(line.rstrip() for line in drawn.getvalue().splitlines()).strip("\n")
