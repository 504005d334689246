"""Papers: what is signed, filed and carried, as PDF, under the revision the command line prints too."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loopwright.web.page import Page
from loopwright.web.print_run import revision_of

WHAT = {"circuit-and-power-record": "What every terminal and every circuit should read, why, and room to write what was found."}

OF_A_PROVING = {
    "proving-record": "What was proved, by whom, when and with which instrument; gaps by name, two columns of signals, room to sign.",
    "event-table": "What a receiving centre is given: every event with zone, area, codes and restore, and what arrived.",
}


def view(page: Page) -> Mapping[str, Any]:
    """Return what the papers room shows."""
    # Only here: the typesetter is a tenth of a second of start-up.
    from loopwright.papers import PAPERS

    return {
        "papers": [
            *((f"./papers/{name}.pdf", name.replace("-", " ").capitalize(), WHAT.get(name, "")) for name in PAPERS),
            *((f"./prove/{name}.pdf", name.replace("-", " ").capitalize(), what) for name, what in OF_A_PROVING.items()),
        ],
        "revision": revision_of(page.state),
    }
