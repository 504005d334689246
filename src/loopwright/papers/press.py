"""The press: a template of this package and its contents in, a PDF out. The only place that typesets."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Literal

import typst

# PDF/UA-1: tagged, titled, with words for every drawing. It refuses a paper that would leave a screen reader out.
_STANDARD: Literal["ua-1"] = "ua-1"


def pressed(template: str, contents: Mapping[str, object], *, now: datetime) -> bytes:
    """Return the PDF of a template filled with contents; the same contents and moment give the same bytes.

    Nothing is read but the template, no font but the typesetter's own, nothing from a network: the contents go in as one JSON text,
    so that no word of a job is ever taken for markup.
    """
    text = files("loopwright.papers").joinpath("templates", template).read_bytes()
    return typst.compile(
        text,
        format="pdf",
        font_paths=_fonts(),
        ignore_system_fonts=True,
        sys_inputs={"contents": json.dumps(contents, ensure_ascii=True, allow_nan=False)},
        pdf_standards=_STANDARD,
        timestamp=int(now.timestamp()),
    )


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True)
