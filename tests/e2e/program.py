"""The program as a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]


def command(*words: str | Path) -> list[str]:
    """Return a command line of the program."""
    return [sys.executable, "-m", "app", *map(str, words)]


def environment(data: Path) -> dict[str, str]:
    """Return an environment in which the program keeps its data in this folder."""
    ours = {"TIPWRIGHT_DATA": str(data), "PYTHONPATH": str(CHECKOUT), "PYTHONUTF8": "1"}
    return {name: value for name, value in os.environ.items() if name != "TIPWRIGHT_LOG"} | ours


def run(
    words: Sequence[str | Path], data: Path, *, timeout_s: float = 120.0
) -> subprocess.CompletedProcess[str]:
    """Run the program to its end."""
    return subprocess.run(
        command(*words),
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment(data),
        cwd=data,
        timeout=timeout_s,
        check=False,
    )


@dataclass(frozen=True)
class ServedBench:
    """A bench in another process."""

    process: subprocess.Popen[str]
    camera: str
    link: str


@contextmanager
def served_bench(data: Path, *words: str) -> Iterator[ServedBench]:
    """Serve a bench on free ports until the context ends."""
    with subprocess.Popen(
        command("bench", "--serve", "--http-port", "0", "--machine-port", "0", "--json", *words),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=environment(data),
        cwd=data,
    ) as process:
        try:
            assert process.stdout is not None
            addresses = json.loads(process.stdout.readline())
            yield ServedBench(process=process, camera=addresses["camera"], link=addresses["link"])
        finally:
            process.kill()
