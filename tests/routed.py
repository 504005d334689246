"""What FastAPI works out about an address is worked out once: hundreds of tests build an application of the same forty.

An endpoint is a new function in each application; what is asked of it stands in its code, which is the same. ``tests/web/test_routed.py``
holds an application that was built so against one that was not.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from fastapi import routing

OWN: dict[str, Callable[..., Any]] = {
    name: getattr(routing, name)
    for name in ("get_dependant", "get_parameterless_sub_dependant", "_get_body_field")
    if hasattr(routing, name)  # of two of them nobody promised that they stay
}
"""What is stood in for, as FastAPI has it."""
_known: dict[tuple[object, ...], tuple[Any, object]] = {}
"""What was worked out, and what it came from, held so that no other takes its place."""


def _once(key: tuple[object, ...], source: object, work: Callable[[], Any]) -> Any:
    if key not in _known:
        _known[key] = work(), source
    return _known[key][0]


def _dependant(*, path: str, call: Callable[..., Any], **more: Any) -> Any:
    """Return what an endpoint asks for, with the endpoint of this application."""
    inner = inspect.unwrap(call)
    if not inspect.isfunction(call) or not inspect.isfunction(inner):
        return OWN["get_dependant"](path=path, call=call, **more)
    key = ("dependant", path, call.__code__, inner.__code__, inner.__defaults__, repr(more))
    known = _once(key, inner, lambda: OWN["get_dependant"](path=path, call=call, **more))
    return replace(known, call=call, dependencies=list(known.dependencies))


def _sub(*, depends: Any, path: str) -> Any:
    own = OWN["get_parameterless_sub_dependant"]
    return _once(("sub", depends.dependency, path), depends, lambda: own(depends=depends, path=path))


def _body(*, body_params: list[Any], name: str, embed_body_fields: bool) -> Any:
    """Return the field of a body; the parameters it is made of are the same objects where the endpoint's code is the same."""
    own = OWN["_get_body_field"]
    key = ("body", name, embed_body_fields, *map(id, body_params))
    return _once(key, body_params, lambda: own(body_params=body_params, name=name, embed_body_fields=embed_body_fields))


STANDS_FOR: dict[str, Callable[..., Any]] = {
    name: stand_in
    for name, stand_in in (("get_dependant", _dependant), ("get_parameterless_sub_dependant", _sub), ("_get_body_field", _body))
    if name in OWN
}
