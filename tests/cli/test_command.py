"""The command as a whole: help, version, the manual's page, terminals and pipes, and real cold starts."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from loopwright import __version__, demo
from loopwright.cli.command import VERBS
from loopwright.cli.manual import page
from loopwright.job.schema import json_schema

Run = Callable[..., Any]
ROOT = Path(__file__).resolve().parents[2]


def test_the_manual_page_is_current_and_plain() -> None:
    told = page()
    assert (ROOT / "docs" / "cli.md").read_text(encoding="utf-8") == told, "run tools/write-cli-page"
    assert "\x1b" not in told
    assert all(f"\n## {verb}\n" in told for verb in VERBS)


@pytest.mark.parametrize("verb", VERBS)
def test_each_verb_explains_itself_with_an_example(run: Run, verb: str) -> None:
    done = run(verb, "--help")
    assert done.status == 0
    assert f"Usage: loopwright {verb}" in done.out
    assert f"\n    loopwright {verb}" in done.out


def test_without_a_verb_the_help_is_shown(run: Run) -> None:
    assert run().out == run("--help").out
    assert all(f"\n  {verb}: " in run().out for verb in VERBS)


def test_version(run: Run) -> None:
    assert run("--version").out == f"{__version__}\n"


def test_the_schema_printed_is_one_and_fits_the_example(run: Run) -> None:
    schema = run("schema").data()
    assert schema == json.loads(json.dumps(json_schema()))
    jsonschema.Draft202012Validator.check_schema(schema)


def test_the_module_and_a_pipe(cold: Run) -> None:
    text = cold("demo", "business")
    assert text.out == demo.text("business")
    done = cold("check", "-", stdin=text.out.encode(), FORCE_COLOR="1")
    assert done.status in (0, 1)
    assert done.err == ""
    assert "\x1b" not in done.out
    assert " must, " in done.out.splitlines()[-1]


def test_a_terminal_that_knows_ascii_only(cold: Run, sample: str) -> None:
    done = cold("forecast", sample, PYTHONIOENCODING="ascii")
    assert done.status == 0
    assert "\\u03a9" in done.out
    text = cold("demo", "business", PYTHONIOENCODING="ascii")
    assert text.out == demo.text("business")


def test_help_imports_nothing_slow(cold: Run) -> None:
    code = "import sys, loopwright.cli as c; c.main(['check', '--help']); print(*sorted(sys.modules), file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=os.environ | {"PYTHONPATH": str(ROOT / "src")}, check=True
    )
    loaded = set(done.stderr.split())
    assert "cyclopts" in loaded
    assert not loaded & {"numpy", "scipy", "yaml", "typst", "fastapi", "uvicorn", "jinja2", "loopwright.job.document"}


def test_check_imports_nothing_it_does_not_need(cold: Run, sample: str) -> None:
    code = f"import sys, loopwright.cli as c; c.main(['check', {sample!r}]); print(*sorted(sys.modules), file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=os.environ | {"PYTHONPATH": str(ROOT / "src")}, check=True
    )
    loaded = set(done.stderr.split())
    assert "scipy.sparse.linalg" in loaded
    assert not loaded & {"scipy.special", "scipy.optimize", "scipy.stats", "typst", "fastapi", "uvicorn", "jinja2", "markdown_it"}
    assert not loaded & {"sqlalchemy", "alembic", "sqlite3", "psycopg"}


def on_a_terminal(*arguments: str, **environment: str) -> str:
    """Return what the command writes to a terminal."""
    leader, follower = pty.openpty()
    kept = {key: value for key, value in os.environ.items() if key not in ("FORCE_COLOR", "NO_COLOR", "COLUMNS")}
    with subprocess.Popen(
        [sys.executable, "-m", "loopwright", *arguments],
        stdin=follower,
        stdout=follower,
        stderr=follower,
        env=kept | {"PYTHONPATH": str(ROOT / "src"), "TERM": "xterm-256color"} | environment,
    ):
        os.close(follower)
        out = b""
        try:
            while part := os.read(leader, 65536):
                out += part
        except OSError:  # Linux says so when the last writer has gone
            pass
    os.close(leader)
    return out.decode("utf-8")


def test_colour_on_a_terminal_and_none_when_nobody_wants_it(sample: str) -> None:
    assert "\x1b[" in on_a_terminal("forecast", sample)
    assert "\x1b[" in on_a_terminal("check", sample)
    assert "\x1b" not in on_a_terminal("check", sample, NO_COLOR="1")
    assert "\x1b" not in on_a_terminal("forecast", sample, TERM="dumb")


def test_a_narrow_terminal_cuts_no_figure_and_no_name() -> None:
    file = ROOT / "src" / "loopwright" / "demo" / "business.yaml"
    narrow = on_a_terminal("forecast", str(file), COLUMNS="40", NO_COLOR="1")
    assert "…" not in narrow
    assert all(f"{name}." in narrow for name in ("sounder-press", "dual-press-east"))
