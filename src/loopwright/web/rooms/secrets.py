"""Secrets: the sheet itself holds none, and nothing of the vault; what may be seen of it is asked for apart, by who may see it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loopwright.web.page import Page


def view(page: Page) -> Mapping[str, Any]:
    """Return what the sheet shows besides the frame: nothing."""
    return {}
