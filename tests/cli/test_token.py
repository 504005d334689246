"""The verb token: a token is shown once and alone on standard output, and every misuse is told in words."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from loopwright.store.api_token import ApiTokens, tokens_path
from loopwright.store.secret import Secret


@pytest.fixture
def job(sample: str, tmp_path: Path) -> str:
    return str(shutil.copy(sample, tmp_path / "shop.yaml"))


def test_made_listed_and_removed(run, job: str) -> None:  # type: ignore[no-untyped-def]
    made = run("token", job, "make", "stock", "--scope", "change", "--days", "2")
    assert made.status == 0 and made.out.startswith("lw_") and len(made.out.splitlines()) == 1
    assert "shown once" in made.err and made.out.strip() not in made.err
    found = ApiTokens(tokens_path(Path(job)), note=lambda act, subject: None).find(Secret(made.out.strip()), now=datetime.now(UTC))
    assert found is not None and found.scopes == {"change"} and (found.ends_at - found.made_at).days == 2
    listed = run("token", job, "list").out
    assert listed.startswith("stock: change, until ") and made.out.strip() not in listed
    assert run("token", job, "remove", "stock").out == "stock counts no more.\n"
    assert run("token", job, "list").out == ""
    told = run("token", job, "trail")
    assert told.status == 0 and "token made stock to change" in told.out and "token removed stock" in told.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("make",), "make needs the NAME"),
        (("list", "stock"), "list takes no NAME"),
        (("remove", "stock"), "no token called stock"),
        (("make", "stock", "--days", "0"), "lasts 1 to 3660 days"),
        (("make", "2nd"), "is a letter"),
        (("remove", "stock", "--scope", "read"), "said when a token is made"),
        (("make", "stock", "--scope", "everything"), "everything"),
    ],
)
def test_misuse_is_told(run, job: str, arguments: tuple[str, ...], words: str) -> None:  # type: ignore[no-untyped-def]
    done = run("token", job, *arguments)
    assert done.status == 2 and done.out == "" and words in done.err


def test_there_are_no_tokens_for_no_job(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    assert "no such file" in run("token", str(tmp_path / "none.yaml"), "make", "stock").err
    assert list(tmp_path.iterdir()) == []
