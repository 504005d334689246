"""It will not set: what keeps an area from being set now, what is to be asked, who may do something about it, what the log must say."""

from __future__ import annotations

from typing import Any

from loopwright.appraisal.expected import expected
from loopwright.explain.expected.expect import Shown
from loopwright.explain.expected.setting import FULL, Applies, wont_set
from loopwright.explain.expected.situation import Situation
from loopwright.explain.expected.trouble import TroubleKind
from loopwright.store.visit import Visit
from loopwright.web.page import Page

HEADINGS = (
    (Applies.YES, "Keeps it from being set now"),
    (Applies.ASK, "To be looked at, the cheapest first"),
    (Applies.NO, "Not the reason"),
)


def view(page: Page, visit: Visit, situation: Situation) -> dict[str, Any]:
    """Return what the section shows, by what the address asks; a name the job has not counts as not asked."""
    asked, job = dict(page.query.asked), page.job
    modes = (FULL, *job.programme.part_sets)
    area = asked.get("area", "") if asked.get("area", "") in job.areas else ""
    mode = asked["mode"] if asked.get("mode") in modes else FULL
    user = asked["user"] if asked.get("user") in job.users else None
    zone = asked.get("zone", "") if asked.get("zone", "") in job.zones else ""
    kinds = set(TroubleKind)
    causes = (
        wont_set(
            job,
            area,
            expected(page.appraisal, situation),
            mode=mode,
            user=user,
            open_zones=[zone] if zone else [],
            shown=[Shown(kind=TroubleKind(kind), place=place) for kind, place in visit.shown if kind in kinds],
        )
        if area
        else ()
    )
    return {
        "area": area, "mode": mode, "user": user or "", "zone": zone, "modes": modes, "areas": job.areas.items(),
        "users": [(name, each.role or name) for name, each in job.users.items()],
        "zones": [(name, f"{each.number} {each.text}") for name, each in job.zones.items()],
        "groups": [(words, found) for applies, words in HEADINGS if (found := [each for each in causes if each.applies is applies])],
        "circuit": asked.get("circuit", "") if asked.get("circuit", "") in job.circuits else "",
    }  # fmt: skip
