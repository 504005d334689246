"""Serving others: refused until it is safe, at which names, and what is printed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import loopwright.demo
from loopwright.store.certificate import certificate_path
from loopwright.store.file import StoreError
from loopwright.store.people import People
from loopwright.store.person import Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.web.lan import LAID_OPEN, Network, entrance_for, greeting, in_blocks, names_for, own_addresses
from loopwright.web.serve import UNUSABLE, serve


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    people = People(tmp_path / "people", note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1))
    people.add("Ada", Role.OFFICE, Secret("correct horse battery"), owner=True)
    return tmp_path / "people"


def test_nothing_is_served_to_others_until_somebody_may_come_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "job.yaml"
    job.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    nobody = Network(people=tmp_path / "people", host="127.0.0.1")
    assert serve(job, port=0, open_browser=False, history=False, network=nobody) == UNUSABLE
    assert capsys.readouterr().err.strip() == LAID_OPEN and not certificate_path(nobody.people).exists()
    for host in ("0.0.0.0", "192.0.2.1", "::"):
        assert serve(job, host=host, port=0, open_browser=False, history=False) == UNUSABLE
        assert "without people and TLS" in capsys.readouterr().err


def test_a_key_that_others_may_read_serves_nobody(kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job, network = tmp_path / "job.yaml", Network(people=kept, host="127.0.0.1")
    job.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    entrance_for(network, 8417)
    certificate_path(kept).chmod(0o644)
    assert serve(job, port=0, open_browser=False, history=False, network=network) == UNUSABLE
    assert "others may read it" in capsys.readouterr().err


def test_it_answers_to_the_names_and_addresses_of_this_machine() -> None:
    everywhere = names_for(Network(people=Path("people"), names=("Bench.Example",)))
    assert {"localhost", "127.0.0.1", "bench.example"} | own_addresses() <= everywhere
    assert "127.0.0.1" in own_addresses() and all(re.fullmatch(r"\d+(\.\d+){3}", each) for each in own_addresses())
    assert names_for(Network(people=Path("people"), host="127.0.0.1")) == {"127.0.0.1", "localhost"}
    assert names_for(Network(people=Path("people"), proxy="127.0.0.1", names=("bench.example",))) == {"bench.example"}


@pytest.mark.parametrize("name", ["", "a b", "https://bench", "bench:8417", "-x", "bench/", "x" * 300, "bénch"])
def test_what_is_no_name_of_a_machine_is_refused(name: str) -> None:
    with pytest.raises(StoreError, match="not the name of a machine"):
        names_for(Network(people=Path("people"), names=(name,)))


def test_what_is_printed_lets_the_certificate_be_known_again(kept: Path) -> None:
    entrance, why = entrance_for(Network(people=kept, host="127.0.0.1"), 8417)
    assert entrance.ways.certificate is not None
    words = greeting(entrance, why, drawn=True)
    assert "https://127.0.0.1:8417/" in words and entrance.ways.certificate.sha256 in words
    assert "made now: there was none yet" in words and "key=" not in words and in_blocks("https://127.0.0.1:8417/") in words
    again, why = entrance_for(Network(people=kept, host="127.0.0.1"), 8417)
    assert again.ways.certificate == entrance.ways.certificate and "made now" not in greeting(again, why, drawn=False)


def test_behind_a_proxy_no_certificate_is_made(kept: Path) -> None:
    entrance, _ = entrance_for(Network(people=kept, proxy="127.0.0.1", host="127.0.0.1", names=("bench.example",)), 8417)
    assert entrance.ways.certificate is None and not certificate_path(kept).exists()
    assert entrance.ways.addresses == ("https://bench.example/",) and "SHA-256" not in greeting(entrance, "", drawn=False)
