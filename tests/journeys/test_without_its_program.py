"""Prove and On site where their program is gone: they open again, what is said waits through a reload, and nothing is lost or doubled."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from base64 import b64decode
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import loopwright
import loopwright.demo
from loopwright.prove.record import Record
from loopwright.store.photo_file import photo_path
from loopwright.store.proof_file import ProofFile, proof_path
from loopwright.store.visit import VisitFile, visit_path
from loopwright.web.app import create_app
from loopwright.web.serve import listen
from loopwright.web.session import Session

from .conftest import Serve
from .in_the_hand import PATIENCE_MS, PHONE, idle, kept_whole, opened

PICTURE = """() => {
  const made = document.createElement('canvas');
  [made.width, made.height] = [2400, 1800];
  const ink = made.getContext('2d');
  for (let at = 0; at < 4000; at += 1) {
    ink.fillStyle = `hsl(${(at * 137) % 360} 80% 50%)`;
    ink.fillRect((at * 7919) % 2400, (at * 104729) % 1800, 60, 40);
  }
  return made.toDataURL('image/jpeg', 0.95).split(',')[1];
}"""
LEFT = """() => new Promise((go) => {
  const asked = indexedDB.open('loopwright', 1);
  asked.onsuccess = () => {
    const all = asked.result.transaction('carried').objectStore('carried').count();
    all.onsuccess = () => go(all.result);
  };
})"""
WHERE = b"GPSLatitude 52.0907 N"


STARTED = """
import os, signal, sys
from pathlib import Path
from loopwright.cli import main
from loopwright.store.beside import Beside

change = Beside.change

def ends_where_it_is_told_to(self, act):
    made = change(self, act)
    if Path(sys.argv[-1]).exists():
        os.kill(os.getpid(), signal.SIGKILL)
    return made

Beside.change = ends_where_it_is_told_to
sys.exit(main(sys.argv[1:-1]))
"""
"""Starts the program; while there is a file of the name that comes last it is killed as soon as something said is on the disk."""


class Laptop:
    """The program as it is started on a laptop, always at one port, with a new key each time."""

    def __init__(self, folder: Path, port: int) -> None:
        self.job, self.port, self.end = folder / "job.yaml", port, folder / "end"
        self.job.write_text(loopwright.demo.text("business"), encoding="utf-8")
        self.start()

    def start(self) -> None:
        env = {name: value for name, value in os.environ.items() if name not in ("DISPLAY", "WAYLAND_DISPLAY")}
        env |= {"PYTHONPATH": str(Path(loopwright.__file__).parents[1]), "XDG_DATA_HOME": str(self.job.parent)}
        asked = [
            sys.executable,
            "-c",
            STARTED,
            "serve",
            str(self.job),
            "--port",
            str(self.port),
            "--no-browser",
            "--no-history",
            str(self.end),
        ]
        self.process = subprocess.Popen(asked, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=env)
        assert self.process.stdout is not None
        said = ""
        while "Ctrl-C" not in said:
            line = self.process.stdout.readline()
            assert line, said
            said += line
        found = re.search(r"http://127\.0\.0\.1:(\d+)/\?key=\S+", said)
        assert found is not None, said
        self.address, self.port = found[0], int(found[1])

    @property
    def record(self) -> Record:
        return ProofFile(proof_path(self.job)).load().record

    def is_killed_when_it_has_kept(self) -> None:
        """Have the program end at once, without a word, when the next thing said is on its disk: before it can answer."""
        self.end.touch()

    def is_gone(self) -> None:
        """Wait until it has ended so."""
        assert self.process.wait(PATIENCE_MS / 1000) == -signal.SIGKILL
        self.end.unlink()

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    made = Laptop(tmp_path, 0)
    yield made
    made.kill()


def test_nothing_is_lost_or_doubled_though_the_program_is_killed_and_the_room_closed(browser: Any, laptop: Laptop) -> None:
    room = f"http://127.0.0.1:{laptop.port}/prove"
    with opened(browser, laptop.address, PHONE) as page:
        page.locator("#page").wait_for()
        page.goto(f"{room}?part=supplies")
        page.locator("#tool-name").fill("meter 2")
        page.locator("#tool-serial").fill("HM-2207")
        page.locator("#tool-calibrated_on").fill("2026-01-20")
        page.get_by_role("button", name="Read with it").click()
        page.get_by_text("Read with meter 2").wait_for()
        kept_whole(page, "prove")
        # Received, stored, and killed before the answer.
        laptop.is_killed_when_it_has_kept()
        page.locator('[id="thing:float:control"] input').fill("13.62")
        page.locator('[id="thing:float:control"] input').press("Enter")
        laptop.is_gone()
        assert len(laptop.record.entries) == 1
        page.locator('[id="thing:minute:control"] input').fill("12.88")
        page.locator('[id="thing:minute:control"]').get_by_role("button", name="Note").click()
        page.get_by_text("2 kept here, not sent yet").wait_for()
        page.close()
        # The room is opened anew, at another part, and left by reload; then a photograph is taken.
        page = browser.contexts[-1].new_page()
        page.goto(room)
        page.get_by_text("cannot be reached").wait_for()
        page.get_by_role("link", name="Supplies and sounders").click()
        page.locator("#supplies").wait_for()
        page.locator("#unsent", has_text="12.88").wait_for()
        page.reload()
        page.locator('[id="thing:hold-off:sounder-street"]').get_by_role("button", name="Yes").click()
        page.get_by_role("link", name="The walk").click()
        page.locator('[id="device:dual-press-east"]').wait_for(state="attached")
        device = page.locator('[id="device:dual-press-east"]')
        device.evaluate("(each) => { each.closest('details').open = true; }")
        raw = b64decode(page.evaluate(PICTURE))
        taken = raw[:2] + b"\xff\xe1" + (len(WHERE) + 8).to_bytes(2, "big") + b"Exif\0\0" + WHERE + raw[2:]
        device.locator("input[type=file]").set_input_files({"name": "it.jpg", "mimeType": "image/jpeg", "buffer": taken})
        page.get_by_text("4 kept here, not sent yet").wait_for()
        page.reload()
        page.get_by_text("4 kept here, not sent yet").wait_for()
        # Started anew it has another key: who has not got it is not let in, and loses nothing.
        laptop.start()
        page.get_by_text("Open the address that Loopwright printed").wait_for()
        assert len(laptop.record.entries) == 1
        other = browser.contexts[-1].new_page()
        other.goto(laptop.address)
        other.locator("#page").wait_for()
        idle(page)
        page.locator('[id="device:dual-press-east"] .photo img').wait_for(state="attached")
        kept = laptop.record.entries
        assert [(each.key, each.reading or each.answer) for each in kept] == [
            ("float:control", "13.62 V"), ("minute:control", "12.88 V"), ("hold-off:sounder-street", "yes"),
            ("photo:dual-press-east", "yes"),
        ]  # fmt: skip
        assert sorted(kept, key=lambda each: each.at) == list(kept), "said in this order, whenever it was sent"
        photos = photo_path(laptop.job).read_bytes()
        assert kept[-1].photo in photos.decode("ascii") and len(photos) < 250_000 < len(taken)
        assert not page.evaluate(LEFT), "what waited beside the list is gone with it"


def test_on_site_opens_again_in_the_cellar_with_every_circuit_for_half_a_day(browser: Any, session: Session, serve: Serve) -> None:
    app = create_app(session, token=None)
    with serve(app) as port:
        room = f"http://127.0.0.1:{port}/on-site"
        opening = opened(browser, f"{room}?circuit=c01", PHONE)
        page = opening.__enter__()
        kept_whole(page, "on-site")
    page.locator('[id="box:c01:"] input').fill("2.70")
    page.locator('[id="box:c01:"] input').press("Enter")
    page.get_by_text("is kept on this telephone").wait_for()
    page.close()
    # The room is opened anew without its program, at a circuit that was not looked at while there was one.
    page = browser.contexts[-1].new_page()
    page.goto(room)
    page.get_by_text("The program cannot be reached; this is how it stood at").wait_for()
    page.locator("#unsent", has_text="1 kept here, not sent yet: ").wait_for()
    page.locator("#circuit").select_option("c05")
    page.locator('[id="box:c05:"] input').fill("9.5")
    page.locator('[id="box:c05:"]').get_by_role("button", name="Note").click()
    page.locator("#unsent", has_text="9.5").wait_for()
    page.reload()
    page.locator("#unsent", has_text="2 kept here, not sent yet").wait_for()
    page.locator('[id="box:c05:"]').wait_for()
    with serve(app, on=listen("127.0.0.1", port)):
        idle(page)
        page.get_by_text("Understood: 9.5 kΩ").wait_for()
        page.wait_for_function("() => !document.getElementById('unsent').textContent")
    kept = VisitFile(visit_path(session.file.path)).load().entries
    assert [(each.where, each.reading) for each in kept] == [("c01", "2.70 kΩ"), ("c05", "9.5 kΩ")]
    # What was seen longer ago than anybody is let in without a password is shown no more.
    put = "(await caches.open(name)).put(`${location.pathname}/seen`, new Response('1'))"
    page.evaluate(f"async () => {{ for (const name of await caches.keys()) await {put}; }}")
    with pytest.raises(Exception, match="ERR_"):
        page.reload()
    opening.__exit__(None, None, None)
