"""Where one job of several is reached: below a prefix of its own, which its pages know nothing of."""

from __future__ import annotations

AT = "/at/"
"""Below this each job of a folder has its place, by its name there."""


def name_in(path: str) -> str:
    """Return the name of the job that a path leads into; empty when it leads into none.

    >>> name_in("/at/corn-exchange/wiring"), name_in("/at/corn-exchange"), name_in("/wiring")
    ('corn-exchange', 'corn-exchange', '')
    """
    return path.removeprefix(AT).partition("/")[0] if path.startswith(AT) else ""


def within(path: str) -> str:
    """Return a path as its job sees it, without the prefix.

    >>> within("/at/corn-exchange/wiring"), within("/at/corn-exchange/"), within("/wiring")
    ('/wiring', '/', '/wiring')
    """
    name = name_in(path)
    return path[len(AT) + len(name) :] if name else path


def place_of(name: str) -> str:
    """Return the address of a job's front sheet.

    >>> place_of("corn-exchange")
    '/at/corn-exchange/'
    """
    return f"{AT}{name}/"
