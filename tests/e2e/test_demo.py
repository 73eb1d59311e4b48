"""`tipwright demo` on one machine, and `tipwright runs` on what it recorded."""

from __future__ import annotations

import csv
import io
import json
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.e2e.program import run

pytestmark = pytest.mark.slow

Done = subprocess.CompletedProcess[str]


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("data")


@pytest.fixture(scope="module")
def demo(data: Path) -> Done:
    return run(["demo", "--machine", "heron", "--seed", "1"], data, timeout_s=400.0)


@pytest.fixture(scope="module")
def exported(demo: Done, data: Path) -> dict[str, Any]:
    """The run as `runs export` gives it for programs."""
    assert demo.returncode == 0, demo.stderr
    result: dict[str, Any] = json.loads(run(["runs", "export", "last", "--json"], data).stdout)
    return result


def rows(demo: Done) -> list[list[str]]:
    """The lines of the table: tool, axis, found, true, off, U."""
    lines = [line.split() for line in demo.stdout.splitlines()]
    return [line for line in lines if len(line) >= 6 and line[0].isdigit()]


def test_found_and_true_offsets_agree(demo: Done) -> None:
    assert demo.returncode == 0, demo.stdout + demo.stderr
    assert [(row[0], row[1]) for row in rows(demo)] == [("1", "X"), ("1", "Y")]
    for row in rows(demo):
        found, true, off_um, u_um = map(float, row[2:6])
        assert (found - true) * 1e3 == pytest.approx(off_um, abs=0.11)
        assert abs(off_um) <= u_um <= 25.0


def test_the_text_to_paste_is_given_and_marked_as_simulated(demo: Done) -> None:
    assert "M218 T1 X" in demo.stdout
    assert "Do not enter these numbers anywhere" in demo.stdout


def test_the_steps_are_told_on_standard_error(demo: Done) -> None:
    assert "Heron: Jog X" in demo.stderr
    assert "axes outside their uncertainty" in demo.stderr


def test_the_run_is_listed_as_finished_on_the_bench(demo: Done, data: Path) -> None:
    (listed,) = [
        json.loads(line) for line in run(["runs", "list", "--json"], data).stdout.splitlines()
    ]
    assert listed["machine"] == "Heron"
    assert listed["finished"] is True
    assert listed["simulated"] is True
    assert listed["run"] in demo.stdout


def test_the_run_shows_sightings_and_offsets(exported: dict[str, Any], data: Path) -> None:
    shown = json.loads(run(["runs", "show", "last", "--json"], data).stdout)
    assert shown["offsets"] == exported
    assert {s["purpose"] for s in shown["sightings"]} == {"scale", "tool"}


def test_text_and_table_hold_the_same_numbers(
    demo: Done, exported: dict[str, Any], data: Path
) -> None:
    text = run(["runs", "export", "last"], data).stdout
    assert text.strip() in demo.stdout
    table = run(["runs", "export", "last", "--format", "csv"], data).stdout
    rows = list(csv.DictReader(io.StringIO(table.lstrip("\ufeff"))))
    for row, tool in zip(rows, exported["tools"], strict=True):
        x, y, _ = tool["nozzle_vector_mm"]
        assert (row["vector X (mm)"], row["vector Y (mm)"]) == (f"{x:.4f}", f"{y:.4f}")
        assert row["simulated"] == "yes"
