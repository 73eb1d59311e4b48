"""A result saved as a file: read back, never over another one, a sentence when it cannot be."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from app.errors import InputError
from app.export import paste_text
from app.job.run import Run
from app.job.sheet import EnterOffsets
from app.job.stored import StoredOffsets, stored_of
from app.wiring.saving import file_name, save_result
from tests.ui.states import _until

Save = Callable[..., Path]

SNAPSHOT = _until(EnterOffsets)


@pytest.fixture(scope="module")
def stored() -> StoredOffsets:
    assert SNAPSHOT.solution is not None
    return stored_of(SNAPSHOT.run.profile, SNAPSHOT.solution)


@pytest.fixture
def save(stored: StoredOffsets) -> Save:
    def call(where: Path, kind: str = "text", *, over: bool = False) -> Path:
        assert SNAPSHOT.solution is not None
        return save_result(
            where,
            kind,
            run=SNAPSHOT.run,
            solution=SNAPSHOT.solution,
            findings=SNAPSHOT.findings,
            stored=stored,
            simulated=True,
            replace=over,
        )

    return call


def named(name: str) -> Run:
    started = SNAPSHOT.run.started
    return replace(
        SNAPSHOT.run, started=replace(started, profile=replace(started.profile, name=name))
    )


def test_a_file_in_a_folder_is_named_after_machine_and_day(save: Save, tmp_path: Path) -> None:
    assert save(tmp_path) == tmp_path / "plover-20261125-offsets.txt"


@pytest.mark.parametrize(
    ("name", "begins"),
    [("Heron 2 / left", "heron-2-left-2"), ("../..", "machine-2"), ("M" * 80, "m" * 40 + "-2")],
)
def test_a_machines_name_makes_a_plain_file_name(name: str, begins: str) -> None:
    assert file_name("csv", named(name)).startswith(begins)


def test_the_text_is_what_is_pasted(save: Save, stored: StoredOffsets, tmp_path: Path) -> None:
    written = save(tmp_path / "offsets.txt").read_text(encoding="utf-8")
    assert written == paste_text(stored.text, SNAPSHOT.findings, simulated=True)


def test_the_table_is_read_by_a_stranger(save: Save, stored: StoredOffsets, tmp_path: Path) -> None:
    written = save(tmp_path, "csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(written)))
    assert [row["tool"] for row in rows] == ["0", "1", "2", "3", "4"]
    assert float(rows[2]["new stored X"]) == pytest.approx(stored.new[2].x, abs=5e-5)
    assert {row["simulated"] for row in rows} == {"yes"}


def test_the_object_is_read_by_a_stranger(
    save: Save, stored: StoredOffsets, tmp_path: Path
) -> None:
    whole = json.loads(save(tmp_path, "json").read_text(encoding="utf-8"))
    assert whole["schema"] == 1
    assert whole["simulated"] is True
    assert whole["tools"][3]["new_stored"] == pytest.approx(list(stored.new[3]))


def test_a_name_that_is_taken_gets_a_number(save: Save, tmp_path: Path) -> None:
    first = tmp_path / "offsets.txt"
    first.write_text("mine", encoding="utf-8")
    assert [save(first).name, save(first).name] == ["offsets-2.txt", "offsets-3.txt"]
    assert first.read_text(encoding="utf-8") == "mine"


def test_a_file_is_replaced_only_when_told(save: Save, tmp_path: Path) -> None:
    first = tmp_path / "offsets.txt"
    first.write_text("old", encoding="utf-8")
    assert save(first, over=True) == first
    assert first.read_text(encoding="utf-8") != "old"


def test_a_name_without_an_ending_gets_the_kinds_own(save: Save, tmp_path: Path) -> None:
    assert save(tmp_path / "mine", "json").name == "mine.json"


def test_a_folder_that_is_not_there_is_named(save: Save, tmp_path: Path) -> None:
    missing = tmp_path / "none"
    with pytest.raises(InputError, match="is not there") as refused:
        save(missing / "offsets.txt")
    assert str(missing) in refused.value.message
    assert not missing.exists()


@pytest.mark.parametrize("name", ["a\0b.txt", "x" * 300 + ".txt"])
def test_a_name_that_no_file_can_have_is_refused(save: Save, tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError):
        save(tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_another_kind_is_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match="kind"):
        file_name("pdf", SNAPSHOT.run)
