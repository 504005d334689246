"""The press: a template of this package and its contents in, a PDF out. The only place that typesets."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import Literal

import typst

# PDF/UA-1: tagged, titled, with words for every drawing. It refuses a paper that would leave a screen reader out.
_STANDARD: Literal["ua-1"] = "ua-1"
NO_PICTURES: Mapping[str, bytes] = MappingProxyType({})


def pressed(template: str, contents: Mapping[str, object], *, now: datetime, pictures: Mapping[str, bytes] = NO_PICTURES) -> bytes:
    """Return the PDF of a template filled with contents; the same contents and moment give the same bytes.

    Nothing is read but the template, no font but the typesetter's own, nothing from a network: the contents go in as one JSON text,
    so that no word of a job is ever taken for markup. ``pictures`` are JPEGs by the name the template asks for them by; the typesetter
    takes them from a folder only, which is theirs alone and gone afterwards.
    """
    text = files("loopwright.papers").joinpath("templates", template).read_bytes()
    with _folder({"paper.typ": text, **pictures}) as folder:
        return typst.compile(
            folder / "paper.typ",
            format="pdf",
            root=folder,
            font_paths=_fonts(),
            ignore_system_fonts=True,
            sys_inputs={"contents": json.dumps(contents, ensure_ascii=True, allow_nan=False)},
            pdf_standards=_STANDARD,
            timestamp=int(now.timestamp()),
        )


def printable(jpeg: bytes) -> bool:
    """Return whether the typesetter can read a picture; one that it cannot would keep a whole paper from being made."""
    try:
        with _folder({"it.typ": b'#image("/it.jpg", width: 10mm)', "it.jpg": jpeg}) as folder:
            typst.compile(folder / "it.typ", format="pdf", root=folder, font_paths=_fonts(), ignore_system_fonts=True)
    except typst.TypstError:
        return False
    return True


@contextmanager
def _folder(contents: Mapping[str, bytes]) -> Iterator[Path]:
    """Give a folder that holds these files and is gone afterwards."""
    with TemporaryDirectory(prefix="loopwright-") as folder:
        for name, content in contents.items():
            Path(folder, name).write_bytes(content)
        yield Path(folder)


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True)
