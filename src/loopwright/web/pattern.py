"""A text as a pattern that a telephone reads (QR code, ISO/IEC 18004), as markup that needs no picture of its own."""

from __future__ import annotations

from markupsafe import Markup

QUIET = 4
"""Modules of blank paper around the pattern; ISO/IEC 18004 asks for four."""


def pattern(text: str) -> Markup:
    """Return the pattern, dark on light in light and in dark."""
    # Only here: hardly anybody asks for it.
    import segno

    made = segno.make_qr(text, error="m")
    return Markup(made.svg_inline(border=QUIET, omitsize=True, svgclass="seen", lineclass=None, dark="#000", light="#fff"))  # noqa: S704
