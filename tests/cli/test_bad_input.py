"""Whatever stands in a file or on the command line: exit status 2 and words, never a traceback."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from loopwright.cli import main
from often import often

Run = Callable[..., Any]
CLOSED = (">&-", "2>&-", "<&- >&- 2>&-")
READERS = (["check"], ["check", "--json"], ["forecast"], ["forecast", "--json"], ["papers", "--out", "x"])


@pytest.mark.parametrize("verb", READERS, ids=" ".join)
def test_a_file_that_is_not_there(run: Run, verb: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(*verb, "nothing.yaml")
    assert done.status == 2
    assert done.err.startswith("nothing.yaml: there is no such file.")
    assert not list(tmp_path.iterdir())
    if "--json" in verb:
        assert done.data()["problems"][0]["message"] in done.err


def test_a_folder(run: Run, tmp_path: Path) -> None:
    done = run("check", str(tmp_path))
    assert (done.status, done.err) == (2, f"{tmp_path}: is a folder, not a job document.\n")


def test_a_file_nobody_may_read(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied", "locked.yaml")

    # Whoever runs the tests may be allowed everything, so the refusal is played.
    monkeypatch.setattr("builtins.open", refuse)
    done = run("check", "locked.yaml")
    assert (done.status, done.err) == (2, "locked.yaml: cannot be read: Permission denied.\n")


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000, ""])
def test_a_name_that_cannot_be_one(run: Run, name: str) -> None:
    assert run("check", name).status == 2


def test_a_device_without_an_end(run: Run) -> None:
    done = run("check", "/dev/zero")
    assert done.status == 2
    assert "larger than 2 MB" in done.err


def test_each_problem_is_one_line_with_its_place(run: Run, sample: str, tmp_path: Path) -> None:
    text = Path(sample).read_text(encoding="utf-8")
    broken = tmp_path / "broken.yaml"
    broken.write_text(text.replace("topology: double", "topology: doubel", 1).replace("length_m: 18", "length_m: long"), encoding="utf-8")
    done = run("check", str(broken), "--json")
    problems = done.data()["problems"]
    assert done.status == 2
    assert [problem["path"] for problem in problems] == ["cables/W01/length_m", "circuits/c01/topology"]
    assert set(problems[0]) == {"file", "line", "column", "path", "message", "accepted"}
    lines = done.err.splitlines()
    assert len(lines) == 2
    for line, problem in zip(lines, problems, strict=True):
        assert line.startswith(f"{broken}:{problem['line']}:{problem['column']}: {problem['path']}: {problem['message']}")
        assert problem["accepted"] in line
    assert problems[1]["accepted"] == "none, single, double, triple, two-zones"


def test_standard_input_is_named_as_such(run: Run) -> None:
    done = run("check", "-", stdin=b"format: 1\ntitle: [\n")
    assert done.status == 2
    assert done.err.startswith("standard input:")


@settings(max_examples=often(60), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.one_of(st.binary(max_size=400), st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass"))))
@example(data=b"")
@example(data=b"\xff\xfe\x00")
@example(data=b"format: 1\n")
@example(data=b'format: 1\ntitle: "\\e[31m"\npremises: {name: x}\nregion: {country: GB, ruleset: \xff}\n')
@example(data=b"- " * 3000)
@example(data=b"a: &a [*a]")
@example(data="\u202e: 1\n\x1b: 2\n".encode())
def test_random_bytes_are_refused_in_words(data: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "any.yaml"
    file.write_bytes(data)
    assert main(["check", str(file)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.endswith("\n")
    assert "Traceback" not in err
    assert all(line.isprintable() for line in err.split("\n"))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nonsense"], "Unknown command"),
        (["check"], "FILE"),
        (["check", "--nope"], "no option --nope"),
        (["check", "a", "b"], "More than was asked for: b."),
        (["check", "a", "--jsno"], "--jsno"),
        (["serve", "--port", "many"], "--port"),
        (["serve", "--port", "70000"], "Accepted: 0 to 65535"),
        (["papers", "a"], "--out"),
        (["new", "x", "--synthetic", "0"], "Accepted: 1 to"),
        (["new", "x", "--demo", "castle"], "Accepted: business or dwelling"),
        (["new", "x", "--demo", "business", "--synthetic", "3"], "only one"),
        (["demo", "castle"], "Accepted: business or dwelling"),
        (["\x1b[31m"], "\\x1b[31m"),
    ],
)
def test_a_command_that_cannot_be_read(run: Run, arguments: list[str], words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(*arguments)
    assert done.status == 2
    assert words in done.err
    assert "\x1b" not in done.err
    assert done.out == ""
    assert not list(tmp_path.iterdir())


def test_a_fault_in_the_program_is_owned_up_to(run: Run, sample: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("a valve stuck")

    monkeypatch.setattr("loopwright.appraisal.appraise.appraise", fail)
    monkeypatch.delenv("LOOPWRIGHT_TRACEBACK", raising=False)
    done = run("check", sample)
    assert done.status == 3
    assert "RuntimeError: a valve stuck" in done.err
    monkeypatch.setenv("LOOPWRIGHT_TRACEBACK", "1")
    with pytest.raises(RuntimeError, match="a valve stuck"):
        main(["check", sample])


def _start(*arguments: str, **streams: Any) -> subprocess.Popen[bytes]:
    source = str(Path(__file__).resolve().parents[2] / "src")
    environment = os.environ | {"PYTHONPATH": source}
    return subprocess.Popen([sys.executable, "-m", "loopwright", *arguments], stderr=subprocess.PIPE, env=environment, **streams)


@pytest.mark.parametrize("arguments", [["forecast", "--json"], ["check"]], ids=" ".join)
def test_a_closed_pipe_is_quiet(sample: str, arguments: list[str]) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    with _start(*arguments, sample, stdout=writer) as process:
        os.close(writer)
        _, err = process.communicate(timeout=240)
    assert (process.returncode, err) == (141, b"")


def test_a_full_disk_is_told_in_words(sample: str) -> None:
    with open("/dev/full", "wb") as full, _start("forecast", sample, "--json", stdout=full) as process:
        _, err = process.communicate(timeout=240)
    assert process.returncode == 2
    assert err == b"loopwright: standard output: No space left on device.\n"


@pytest.mark.parametrize("closed", CLOSED)
def test_closed_streams_change_nothing_but_what_is_seen(sample: str, closed: str) -> None:
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).resolve().parents[2] / "src")}
    statuses = []
    for file in (sample, "-", "nothing.yaml") if closed == CLOSED[-1] else (sample,):
        line = f'exec "$0" -m loopwright check "$1" {closed}'
        done = subprocess.run(
            ["sh", "-c", line, sys.executable, file], stdin=subprocess.DEVNULL, capture_output=True, env=environment, check=False
        )
        assert b"Traceback" not in done.stderr
        statuses.append(done.returncode)
    assert statuses[0] in (0, 1)
    assert set(statuses[1:]) <= {2}


def test_control_c_stops_quietly() -> None:
    with _start("check", "-", stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin is not None
        process.stdin.write(b"#" * 100_000)  # more than a pipe holds: written once it is being read
        process.stdin.flush()
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=240)
    assert (process.returncode, out, err) == (130, b"", b"")
