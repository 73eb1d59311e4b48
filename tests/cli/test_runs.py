"""`tipwright runs`: what was recorded, and records that are no use."""

from __future__ import annotations

import csv
import io
import sqlite3
import sys
from pathlib import Path

import pytest

from app.records import Store
from tests.cli.conftest import Command, Recorded


def test_runs_are_listed_the_newest_first(tipwright: Command, recorded: Recorded) -> None:
    told = tipwright("runs", "list", "--json")
    assert told.status == 0
    assert [(run["run"], run["finished"]) for run in told.objects] == [
        (recorded.begun, False),
        (recorded.finished, True),
    ]
    lines = tipwright("runs", "list").out.splitlines()
    assert lines[0].startswith(recorded.begun)
    assert "open" in lines[0]
    assert "finished" in lines[1]
    assert "(bench)" in lines[1]


def test_a_run_that_was_begun_says_what_is_next(tipwright: Command, recorded: Recorded) -> None:
    told = tipwright("runs", "show", "last")
    assert told.status == 0
    assert told.out.splitlines()[-1].startswith("next: Jog ")


def test_a_finished_run_shows_its_sightings_and_offsets(
    tipwright: Command, recorded: Recorded
) -> None:
    (shown,) = tipwright("runs", "show", recorded.finished, "--json").objects
    sightings = shown["sightings"]
    assert isinstance(sightings, list)
    assert [s["tool"] for s in sightings] == [0] * 6 + [0, 1, 2, 0]
    assert shown["finished"] is True
    offsets = shown["offsets"]
    assert isinstance(offsets, dict)
    assert offsets["simulated"] is True
    assert "-0.3400" in tipwright("runs", "show", recorded.finished).out


def test_the_three_formats_hold_the_numbers_that_were_exported(
    tipwright: Command, recorded: Recorded, data: Path
) -> None:
    with Store(data) as store:
        fact = store.entries(recorded.finished)[-1].fact
    exported = {tool.tool: tool.nozzle_vector_mm for tool in fact.tools}  # type: ignore[union-attr]
    text = tipwright("runs", "export", recorded.finished)
    assert text.status == 0
    assert fact.settings_text.strip() in text.out  # type: ignore[union-attr]
    (whole,) = tipwright("runs", "export", recorded.finished, "--json").objects
    assert {t["tool"]: tuple(t["nozzle_vector_mm"]) for t in whole["tools"]} == {  # type: ignore[attr-defined]
        tool: tuple(vector) for tool, vector in exported.items()
    }
    table = tipwright("runs", "export", recorded.finished, "--format", "csv").out
    rows = list(csv.DictReader(io.StringIO(table.lstrip("\ufeff"))))
    assert [row["vector X (mm)"] for row in rows] == [
        f"{exported[int(row['tool'])].x:.4f}" for row in rows
    ]


@pytest.mark.parametrize("kind", ["text", "csv", "json"])
def test_a_file_gets_what_would_be_printed(
    tipwright: Command, recorded: Recorded, tmp_path: Path, kind: str
) -> None:
    file = tmp_path / "offsets"
    printed = tipwright("runs", "export", recorded.finished, "--format", kind).out
    told = tipwright("runs", "export", recorded.finished, "--format", kind, "--to", file)
    assert (told.status, told.out) == (0, "")
    assert file.read_text(encoding="utf-8").splitlines() == printed.splitlines()


def test_a_file_that_cannot_be_written_is_named(
    tipwright: Command, recorded: Recorded, tmp_path: Path
) -> None:
    for file in (tmp_path / "nowhere" / "offsets.csv", tmp_path):
        told = tipwright("runs", "export", recorded.finished, "--to", file, "--json")
        assert told.status == 2
        assert told.error["file"] == str(file)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["data"]


def test_a_run_without_offsets_says_what_is_missing(tipwright: Command, recorded: Recorded) -> None:
    told = tipwright("runs", "export", recorded.begun, "--json")
    assert told.status == 2
    assert told.error["code"] == "no-offsets"
    assert "Jog " in told.err


def test_an_unknown_run_is_named_and_where_to_look(tipwright: Command, recorded: Recorded) -> None:
    for verb in ("show", "export"):
        told = tipwright("runs", verb, "20261125-000000-heron-0000", "--json")
        assert told.status == 2
        assert told.error["value"] == "20261125-000000-heron-0000"
        assert "runs list" in told.err


def test_nothing_recorded_yet_is_no_error_and_makes_nothing(tipwright: Command, data: Path) -> None:
    told = tipwright("runs", "list")
    assert (told.status, told.out) == (0, "")
    assert "No run" in told.err
    assert not data.exists()
    assert tipwright("runs", "show", "last").status == 2


def test_a_mistyped_folder_is_named_and_not_made(tipwright: Command, tmp_path: Path) -> None:
    folder = tmp_path / "recrods"
    told = tipwright("runs", "list", "--records", folder, "--json")
    assert told.status == 2
    assert told.error["file"] == str(folder)
    assert not folder.exists()


def test_a_file_in_place_of_the_folder_is_told(tipwright: Command, tmp_path: Path) -> None:
    file = tmp_path / "records"
    file.write_text("")
    told = tipwright("runs", "list", "--records", file, "--json")
    assert told.status == 3
    assert str(file) in told.err


@pytest.mark.parametrize("damage", ["words", "torn"])
def test_a_damaged_database_is_named_and_left_as_it_is(
    tipwright: Command, recorded: Recorded, data: Path, damage: str
) -> None:
    file = data / "records.sqlite"
    if damage == "words":
        file.write_bytes(b"this is no database at all" * 100)
    else:
        sqlite3.connect(file).execute("PRAGMA wal_checkpoint(TRUNCATE)").connection.close()
        whole = bytearray(file.read_bytes())
        whole[100:4096] = b"\xff" * 3996
        file.write_bytes(whole)
    before = file.read_bytes()
    told = tipwright("runs", "list", "--json")
    assert told.status == 3
    assert told.error["code"] == "records-damaged"
    assert told.error["file"] == str(file)
    assert file.read_bytes() == before


@pytest.mark.skipif(sys.platform != "linux", reason="needs a folder where nobody may write")
def test_a_folder_that_cannot_be_written_to_is_named(tipwright: Command) -> None:
    told = tipwright("demo", "--machine", "heron", "--records", "/proc/tipwright", "--json")
    assert told.status == 3
    assert "/proc/tipwright" in told.err
    assert str(told.error["code"]).startswith("records-")
