"""The rules of the house that no linter holds: a pure core, registered sources, plain file names, a short tail."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "src" / "loopwright"

# Hatches and front doors meet the world; every other room is the core, the ones not built yet included.
OUTSIDE = {"papers", "store", "receiver", "web", "cli", "sites"}
PURE = {
    "__future__", "abc", "bisect", "cmath", "collections", "contextlib", "copy", "csv", "dataclasses", "datetime", "decimal",
    "difflib", "enum", "fractions", "functools", "graphlib", "hashlib", "heapq", "importlib.resources", "io.StringIO", "ipaddress",
    "itertools", "json", "keyword", "math", "numbers", "operator", "random.Random", "re", "statistics", "string", "struct", "textwrap",
    "tomllib", "types", "typing", "unicodedata",
    "loopwright", "numpy", "scipy",
}  # fmt: skip
PURE_HERE = {"job": {"yaml"}, "signalling": {"fastcrc"}}
BANNED_CALLS = {"open", "print", "input", "eval", "exec", "compile", "__import__", "breakpoint"}
BANNED_METHODS = {
    "open", "write_text", "write_bytes", "now", "utcnow", "today", "monotonic", "perf_counter",
    "savetxt", "loadtxt", "genfromtxt", "fromfile", "tofile", "memmap",
}  # fmt: skip
# With no argument these draw on the machine's entropy; with a seed they are a function of it.
SEEDED = {"Random", "default_rng", "SeedSequence"}
POOR_NAMES = {"util", "utils", "helper", "helpers", "manager", "managers", "handler", "handlers", "base", "bases", "misc"}
LONGEST_FUNCTION = 60
LONGEST_FILE = 500


def sources_of(folder: Path) -> list[Path]:
    """Return the Python files under a folder, in order."""
    return sorted(folder.rglob("*.py"))


def core_files() -> list[Path]:
    """Return the Python files of the core."""
    return [path for path in sources_of(PACKAGE) if path.relative_to(PACKAGE).parts[0] not in OUTSIDE | {"__main__.py"}]


def imported_names(node: ast.AST) -> list[str]:
    """Return what an import statement names, dotted in full; nothing for another node."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        return [f"{'.' * node.level}{node.module or ''}.{alias.name}" for alias in node.names]
    return []


def is_pure(name: str, allowed: set[str]) -> bool:
    """Return whether a dotted name is on the list, or lies inside something that is."""
    parts = name.split(".")
    return any(".".join(parts[:length]) in allowed for length in range(1, len(parts) + 1))


def called(node: ast.Call) -> str:
    """Return the last name of what is called: ``now`` for ``datetime.now()``."""
    return node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id if isinstance(node.func, ast.Name) else ""


def names_within(node: ast.Attribute) -> str:
    """Return what the last name of a dotted one is looked up in: ``np.random`` for ``np.random.normal``."""
    within = node.value
    return f"{within.value.id}.{within.attr}" if isinstance(within, ast.Attribute) and isinstance(within.value, ast.Name) else ""


def impurities(text: str, room: str) -> Iterator[tuple[int, str]]:
    """Yield line and reason for everything in a core file that reaches outside the program."""
    allowed = PURE | PURE_HERE.get(room, set())
    for node in ast.walk(ast.parse(text)):
        for name in imported_names(node):
            if not is_pure(name, allowed):
                yield node.lineno, f"imports {name}"  # type: ignore[attr-defined]
        if not isinstance(node, ast.Call):
            continue
        name = called(node)
        if name in (BANNED_METHODS if isinstance(node.func, ast.Attribute) else BANNED_CALLS):
            yield node.lineno, f"calls {name}()"
        if name in SEEDED and not node.args and not node.keywords:
            yield node.lineno, f"calls {name}() without a seed"
        if isinstance(node.func, ast.Attribute) and name not in SEEDED and names_within(node.func) in ("np.random", "numpy.random"):
            yield node.lineno, f"draws from numpy's shared generator: {name}()"


def source_keys(text: str) -> Iterator[tuple[int, str]]:
    """Yield line and key for each source named by a string: ``source="..."`` and ``source("...")``."""
    for node in ast.walk(ast.parse(text)) if "source" in text else ():
        if not isinstance(node, ast.Call):
            continue
        named = [keyword.value for keyword in node.keywords if keyword.arg == "source"]
        if called(node) == "source":
            named += node.args[:1]
        for value in named:
            # `source="a" if seen else "b"` names two keys.
            for choice in (value.body, value.orelse) if isinstance(value, ast.IfExp) else (value,):
                if isinstance(choice, ast.Constant) and isinstance(choice.value, str):
                    yield choice.lineno, choice.value


def long_functions(text: str) -> Iterator[tuple[str, int]]:
    """Yield name and length [lines] of each function over the limit; its docstring is not counted."""
    for node in ast.walk(ast.parse(text)):
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        length = (node.end_lineno or node.lineno) - node.lineno + 1
        if ast.get_docstring(node) is not None:
            length -= (node.body[0].end_lineno or 0) - node.body[0].lineno + 1
        if length > LONGEST_FUNCTION:
            yield node.name, length


def is_poorly_named(path: Path) -> bool:
    """Return whether a file or one of its folders has a name that says nothing of the trade."""
    words = {word for part in path.with_suffix("").parts for word in re.split(r"[^a-z]+", part.lower())}
    return bool(words & POOR_NAMES)


def shown(path: Path) -> str:
    """Return a path as it is written in the repository."""
    return path.relative_to(ROOT).as_posix()


def test_the_core_reaches_nothing_outside_the_program() -> None:
    found = [
        f"{shown(path)}:{line}: {reason}"
        for path in core_files()
        for line, reason in impurities(path.read_text(encoding="utf-8"), path.relative_to(PACKAGE).parts[0])
    ]
    assert not found, "\n".join(found)


def test_every_source_named_in_code_is_registered() -> None:
    registered = tomllib.loads((PACKAGE / "values" / "sources.toml").read_text(encoding="utf-8"))
    found = [
        f"{shown(path)}:{line}: source {key!r} is not in values/sources.toml"
        for path in sources_of(PACKAGE)
        for line, key in source_keys(path.read_text(encoding="utf-8"))
        if key not in registered
    ]
    assert not found, "\n".join(found)


def test_file_names_are_words_of_the_trade() -> None:
    files = [path for folder in ("src", "tests", "bench") for path in sources_of(ROOT / folder)]
    found = [shown(path) for path in files if is_poorly_named(path.relative_to(ROOT))]
    assert not found, "\n".join(found)


def test_no_function_and_no_file_outgrows_its_idea() -> None:
    found = []
    for path in sources_of(ROOT / "src"):
        text = path.read_text(encoding="utf-8")
        lines = text.count("\n")
        if lines > LONGEST_FILE:
            found.append(f"{shown(path)}: {lines} lines, over {LONGEST_FILE}")
        found += [f"{shown(path)}: {name}() has {length} lines, over {LONGEST_FUNCTION}" for name, length in long_functions(text)]
    assert not found, "\n".join(found)


# A gate that cannot fail is worse than none: each one above is shown something it must refuse, and something it must let pass.


@pytest.mark.parametrize(
    "text",
    [
        "import os",
        "import pathlib",
        "from pathlib import Path",
        "import importlib",
        "from importlib import import_module",
        "import io",
        "import random",
        "from random import choice",
        "import yaml",
        "import time",
        "from . import sibling",
        "open('a')",
        "path.open()",
        "print('a')",
        "datetime.now()",
        "datetime.datetime.now(tz)",
        "date.today()",
        "Random()",
        "np.random.default_rng()",
        "np.random.normal(0, 1)",
    ],
)
def test_an_impure_line_is_refused(text: str) -> None:
    assert list(impurities(text, "netlist"))


@pytest.mark.parametrize(
    ("text", "room"),
    [
        ("import yaml", "job"),
        ("from yaml.nodes import Node", "job"),
        ("import numpy as np", "netlist"),
        ("from scipy.sparse.linalg import splu", "netlist"),
        ("from importlib.resources import files", "netlist"),
        ("from io import StringIO", "netlist"),
        ("from random import Random", "demo"),
        ("Random(7)", "demo"),
        ("np.random.default_rng(7)", "demo"),
        ("from loopwright.values.figure import Figure", "job"),
        ("re.compile('a')", "job"),
        ("from datetime import datetime", "job"),
    ],
)
def test_a_pure_line_passes(text: str, room: str) -> None:
    assert not list(impurities(text, room))


def test_source_keys_are_seen_in_every_form() -> None:
    text = 'Working(formula="a", source="one")\nsource("two")\nFinding(source="three" if seen else "four")\nsource(key)'
    assert [key for _, key in source_keys(text)] == ["one", "two", "three", "four"]


def test_a_long_function_is_refused_and_its_docstring_is_not_counted() -> None:
    body = "    x = 1\n"
    assert list(long_functions("def f():\n" + body * LONGEST_FUNCTION)) == [("f", LONGEST_FUNCTION + 1)]
    assert not list(long_functions("def f():\n" + '    """' + "\n" * 30 + '    """\n' + body * (LONGEST_FUNCTION - 1)))


@pytest.mark.parametrize(("name", "poor"), [("cli/helpers.py", True), ("web/event_handler.py", True), ("store/database.py", False)])
def test_poor_names_are_seen(name: str, poor: bool) -> None:
    assert is_poorly_named(Path(name)) is poor
