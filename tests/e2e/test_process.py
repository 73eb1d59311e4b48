"""What only a process of its own shows: streams, signals, ports, the console script."""

from __future__ import annotations

import json
import shutil
import signal
import socket
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from app.records import Store
from tests.e2e.program import command, environment, run, served_bench

on_posix = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_the_help_loads_no_numeric_library(tmp_path: Path) -> None:
    listed = (
        "import sys; from app.cli import run_command; run_command(['--help'], open_window=print); "
        "print(sorted({'cv2', 'scipy', 'numpy', 'sqlalchemy', 'serial'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", listed],
        capture_output=True,
        text=True,
        env=environment(tmp_path),
        check=True,
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_console_script_does_the_same(tmp_path: Path) -> None:
    script = shutil.which("tipwright", path=str(Path(sys.executable).parent))
    if script is None:
        pytest.skip("Tipwright is not installed here, only checked out")
    for words in (["--help"], ["measure", "missing.png", "--json"], ["offsets"]):
        ours = run(words, tmp_path)
        theirs = subprocess.run(
            [script, *words],
            capture_output=True,
            text=True,
            env=environment(tmp_path),
            cwd=tmp_path,
            check=False,
        )
        assert (theirs.returncode, theirs.stdout, theirs.stderr) == (
            ours.returncode,
            ours.stdout,
            ours.stderr,
        )


def hear_ctrl_c() -> None:
    """Undo what a shell does to programs in its background: they start deaf to Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@on_posix
def test_ctrl_c_stops_the_demonstration_and_keeps_the_run(tmp_path: Path) -> None:
    with subprocess.Popen(
        command("demo", "--machine", "heron", "--json"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(tmp_path),
        preexec_fn=hear_ctrl_c,
    ) as process:
        assert process.stderr is not None
        # The first sentence comes when the run has been opened.
        assert process.stderr.readline().startswith("Heron: ")
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60.0)
    assert process.returncode == 4, err
    assert "Traceback" not in err
    assert json.loads(out)["error"]["code"] == "stopped"
    with closing(Store(tmp_path)) as store:
        (kept,) = store.runs()
    assert not kept.finished


@on_posix
def test_whoever_stops_reading_hears_no_complaint(tmp_path: Path) -> None:
    with subprocess.Popen(
        command("measure", *["missing.png"] * 2000),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(tmp_path),
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        err = process.stderr.read()
    assert err == ""
    assert process.returncode == 4


def test_a_port_in_use_is_named(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = run(["bench", "--serve", "--http-port", str(port), "--json"], tmp_path)
    error = json.loads(done.stdout)["error"]
    assert done.returncode == 3
    assert error["value"] == port
    assert str(port) in done.stderr
    assert "Traceback" not in done.stderr


@on_posix
def test_a_served_bench_ends_well_when_told_to(tmp_path: Path) -> None:
    for told in (signal.SIGINT, signal.SIGTERM):
        with served_bench(tmp_path, "--machine", "avocet") as bench:
            bench.process.send_signal(told)
            assert bench.process.wait(timeout=30.0) == 0


def test_a_bench_that_is_not_there_is_named(tmp_path: Path) -> None:
    camera = f"http://127.0.0.1:{free_port()}/"
    words = ["demo", "--machine", "plover", "--json", "--camera", camera]
    done = run([*words, "--link", f"socket://127.0.0.1:{free_port()}"], tmp_path)
    error = json.loads(done.stdout)["error"]
    assert done.returncode == 3
    assert camera in error["message"]
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("camera", "link"),
    [
        ("ftp://127.0.0.1/", "socket://127.0.0.1:1"),
        ("127.0.0.1:8631", "socket://127.0.0.1:1"),
        ("http://", "socket://127.0.0.1:1"),
    ],
)
def test_an_address_that_cannot_be_one_is_named(tmp_path: Path, camera: str, link: str) -> None:
    words = ["demo", "--machine", "plover", "--json", "--camera", camera, "--link", link]
    done = run(words, tmp_path)
    assert done.returncode == 2
    assert camera in json.loads(done.stdout)["error"]["message"]
