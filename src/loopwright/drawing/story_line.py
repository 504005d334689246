"""A story on a time line: when each thing in it happens, numbered as it is told."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.drawing.pen import FIRM, HAIR, SMALL_SIZE, Sheet

WIDTH, HEIGHT, EDGE, APART = 360.0, 46.0, 14.0, 15.0


def story_line(times_s: Sequence[float], here: int | None = None) -> str:
    """Return moments on a line as SVG, the first ``here`` of them filled; moments too close to tell apart stand side by side.

    Empty where there is no moment.
    """
    if not times_s:
        return ""
    last = max(times_s) or 1.0
    words = "; ".join(f"{number}: {time:g} s" for number, time in enumerate(times_s, 1))
    width = max(WIDTH, 2 * EDGE + APART * len(times_s))
    sheet = Sheet(width=width, height=HEIGHT, title="When it happens", about=words, name="story-line")
    sheet.line(((EDGE, 30), (width - EDGE, 30)), look="lw-axis", width=HAIR)
    at = -APART
    for number, time in enumerate(times_s, 1):
        # What follows needs room to its right.
        room = width - EDGE - APART * (len(times_s) - number)
        at = min(max(EDGE + (width - 2 * EDGE) * time / last, at + APART), room)
        sheet.line(((at, 24), (at, 36)), width=FIRM)
        sheet.dot(at, 30, 4, filled=here is None or number <= here)
        sheet.text(at, 16, str(number), size=SMALL_SIZE, anchor="middle", bold=number == here)
    sheet.text(EDGE, 45, "0 s", size=SMALL_SIZE, look="lw-soft")
    sheet.text(width - EDGE, 45, f"{max(times_s):g} s", size=SMALL_SIZE, look="lw-soft", anchor="end")
    return sheet.svg()
