from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
from contextlib import closing, suppress
from pathlib import Path

import pytest

from app.job.facts import Sighted
from app.records import Store
from tests.records.examples import a_start, same_picture
from tests.records.writer import fact_centre, fact_pictures

ROOT = Path(__file__).parents[2]


def start_writer(folder: Path, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.records.writer", str(folder), *arguments],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )


def write_until_killed(folder: Path, n_facts: int, delay_s: float, *arguments: str) -> list[int]:
    """Let the writer confirm some facts, kill it at any point, return what it confirmed."""
    with start_writer(folder, *arguments) as child:
        assert child.stdout is not None
        lines = [child.stdout.readline() for _ in range(n_facts)]
        with suppress(subprocess.TimeoutExpired):
            child.wait(timeout=delay_s)
        child.kill()
        lines += child.stdout.readlines()
    return [int(line) for line in lines if line.endswith("\n")]


def assert_whole(folder: Path, confirmed: list[int]) -> None:
    with closing(sqlite3.connect(folder / "records.sqlite")) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    with Store(folder) as store:
        (run,) = store.runs()
        entries = store.entries(run.run_id)
        # No gap, no half fact: all that is there can be read and has its pictures.
        assert [entry.number for entry in entries] == list(range(1, len(entries) + 1))
        assert set(confirmed) <= {entry.number for entry in entries}
        for entry in entries[1:]:
            assert isinstance(entry.fact, Sighted)
            assert entry.fact.centre_px == fact_centre(entry.number)
            found = store.pictures(run.run_id, entry.number)
            wanted = fact_pictures(entry.number)
            assert all(same_picture(a, b) for a, b in zip(found, wanted, strict=True))


@pytest.mark.parametrize(("arguments", "rounds"), [((), 5), (("--rollback",), 2)])
def test_nothing_confirmed_is_lost_when_the_program_is_killed(
    tmp_path: Path, arguments: tuple[str, ...], rounds: int
) -> None:
    draw = random.Random(20261125)
    confirmed: list[int] = []
    for _ in range(rounds):
        n_facts, delay_s = draw.randint(1, 12), draw.uniform(0.0, 0.02)
        new = write_until_killed(tmp_path, n_facts, delay_s, *arguments)

        assert len(new) >= n_facts
        # A fact may have been committed and its number not yet said.
        assert not confirmed or new[0] - confirmed[-1] in (1, 2)
        confirmed += new
        assert_whole(tmp_path, confirmed)


def test_two_programs_write_into_one_run_in_turn(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
    with (
        start_writer(tmp_path, "--limit", "15") as one,
        start_writer(tmp_path, "--limit", "15") as other,
    ):
        first, _ = one.communicate(timeout=60.0)
        second, _ = other.communicate(timeout=60.0)

    assert (one.returncode, other.returncode) == (0, 0)
    numbers = [int(line) for line in (first + second).split()]
    assert sorted(numbers) == list(range(2, 32))
    with Store(tmp_path) as store:
        assert [entry.number for entry in store.entries(run_id)] == list(range(1, 32))
        assert all(len(store.pictures(run_id, number)) == 2 for number in numbers)


def test_programs_that_open_a_new_folder_at_once_do_not_trip_over_each_other(
    tmp_path: Path,
) -> None:
    children = [start_writer(tmp_path, "--limit", "1") for _ in range(3)]
    for child in children:
        child.communicate(timeout=60.0)

    assert [child.returncode for child in children] == [0, 0, 0]
    with Store(tmp_path) as store:
        n_runs = len(store.runs())
        assert sum(run.n_facts for run in store.runs()) == 3 + n_runs
