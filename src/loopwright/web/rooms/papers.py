"""Papers: what is signed, filed and carried, as PDF, under the revision the command line prints too."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loopwright.web.page import Page
from loopwright.web.print_run import revision_of

WHAT = {"circuit-and-power-record": "What every terminal and every circuit should read, why, and room to write what was found."}


def view(page: Page) -> Mapping[str, Any]:
    """Return what the papers room shows."""
    # Only here: the typesetter is a tenth of a second of start-up.
    from loopwright.papers import PAPERS

    return {
        "papers": [(name, name.replace("-", " ").capitalize(), WHAT.get(name, "")) for name in PAPERS],
        "revision": revision_of(page.state),
    }
