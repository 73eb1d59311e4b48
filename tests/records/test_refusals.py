"""What a person reads when the disk, the file or another program is in the way."""

from __future__ import annotations

import dataclasses
import os
import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np
import pytest

from app.errors import RecordsError
from app.job.interfaces import Picture, PictureKind
from app.records import Store
from tests.records.examples import EXPORTED, a_picture, a_sighting, a_start

on_posix = pytest.mark.skipif(sys.platform == "win32", reason="needs limits or rights of POSIX")


@contextmanager
def largest_file_bytes(limit: int) -> Iterator[None]:
    """Let no file grow past a size, as a full disk would."""
    import resource

    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, usual[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)


@contextmanager
def as_ordinary_user() -> Iterator[None]:
    """Have no more rights than anybody: root may write everywhere."""
    nobody = 65534
    was = os.geteuid()
    if was == 0:
        os.seteuid(nobody)
    try:
        yield
    finally:
        if was == 0:
            os.seteuid(was)


@pytest.fixture
def locked_away() -> Iterator[Path]:
    """A folder with records that anybody may read and nobody write."""
    folder = Path(tempfile.mkdtemp(prefix="tipwright-"))
    with Store(folder) as store:
        store.start_run(a_start())
    for path in folder.rglob("*"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    folder.chmod(0o555)
    yield folder
    folder.chmod(0o755)
    for path in folder.rglob("*"):
        path.chmod(0o755)
    shutil.rmtree(folder)


def big_picture() -> Picture:
    image = np.random.default_rng(1).integers(0, 256, size=(300, 400), dtype=np.uint8)
    return Picture(image=image, kind=PictureKind.FULL, origin_px=(0, 0), frame_id=1)


def records_error(call: Callable[[], object]) -> RecordsError:
    with pytest.raises(RecordsError) as caught:
        call()
    message = caught.value.message
    assert message.endswith(".")
    assert "\n" not in message
    assert "Traceback" not in message
    return caught.value


@on_posix
def test_a_picture_that_does_not_fit_on_the_disk_is_not_half_there(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        with largest_file_bytes(50_000):
            error = records_error(
                lambda: store.append(run_id, a_sighting(), [a_picture(), big_picture()])
            )

        assert error.code == "records-full"
        assert "Free some space" in error.message
        assert [path for path in tmp_path.rglob("*") if path.suffix in (".png", ".part")] == []
        assert len(store.entries(run_id)) == 1
        assert store.append(run_id, a_sighting(), [a_picture(), big_picture()]).number == 2
        assert len(store.pictures(run_id, 2)) == 2


@on_posix
def test_a_fact_that_does_not_fit_on_the_disk_can_be_appended_again(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        log = tmp_path / "records.sqlite-wal"
        with largest_file_bytes(log.stat().st_size):
            error = records_error(lambda: store.append(run_id, a_sighting(), [a_picture()]))

        assert error.code in ("records-full", "records-disk")
        assert len(store.entries(run_id)) == 1
        assert store.append(run_id, a_sighting(), [a_picture()]).number == 2
        assert len(store.pictures(run_id, 2)) == 1


def test_a_database_that_may_not_grow_says_that_room_is_wanting(tmp_path: Path) -> None:
    long = dataclasses.replace(EXPORTED, settings_text="x" * 300_000)
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        with store._database.reading() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count = 20")
        error = records_error(lambda: store.append(run_id, long, [a_picture()]))

        assert error.code == "records-full"
        assert not list(tmp_path.rglob("*.png"))
        assert store.append(run_id, a_sighting()).number == 2


@on_posix
def test_a_folder_that_may_not_be_written_to_is_named(locked_away: Path) -> None:
    with as_ordinary_user():
        error = records_error(lambda: Store(locked_away))

    assert error.code == "records-read-only"
    assert str(locked_away) in error.message
    assert "TIPWRIGHT_DATA" in error.message


@on_posix
def test_a_database_that_may_not_be_written_to_is_named(locked_away: Path) -> None:
    for path in (locked_away, locked_away / "incoming"):
        path.chmod(0o777)
    with as_ordinary_user():
        error = records_error(lambda: Store(locked_away))

    assert error.code == "records-read-only"
    assert "records.sqlite" in error.message


def test_a_file_in_place_of_the_folder_is_named(tmp_path: Path) -> None:
    file = tmp_path / "records"
    file.write_text("not a folder")

    error = records_error(lambda: Store(file))

    assert error.code == "records-disk"
    assert str(file) in error.message
    assert file.read_text() == "not a folder"


@pytest.mark.parametrize("content", [b"not a database at all" * 50, b"\x00" * 5000])
def test_a_file_that_is_no_database_is_refused_and_left_alone(
    tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "records.sqlite"
    path.write_bytes(content)

    error = records_error(lambda: Store(tmp_path))

    assert error.code == "records-damaged"
    assert path.read_bytes() == content


@pytest.mark.parametrize("harm", ["overwritten", "cut off"])
def test_a_damaged_database_is_refused_and_left_alone(tmp_path: Path, harm: str) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        for _ in range(60):
            store.append(run_id, a_sighting())
    path = tmp_path / "records.sqlite"
    content = path.read_bytes()
    half = len(content) // 2
    harmed = content[:half] + (b"\xa5" * (len(content) - half) if harm == "overwritten" else b"")
    path.write_bytes(harmed)

    error = records_error(lambda: Store(tmp_path))

    assert error.code == "records-damaged"
    assert "put a copy of it back" in error.message
    assert path.read_bytes() == harmed


def test_a_missing_or_altered_picture_is_named_and_the_rest_still_stands(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        for seed in range(3):
            store.append(run_id, a_sighting(), [a_picture(seed)])
        lost, changed, _ = sorted(tmp_path.rglob("*.png"))
        lost.unlink()
        changed.write_bytes(changed.read_bytes()[:-1] + b"?")

        missing = records_error(lambda: store.pictures(run_id, 2))
        altered = records_error(lambda: store.pictures(run_id, 3))

        assert (missing.code, missing.file) == ("picture-missing", str(lost))
        assert (altered.code, altered.file) == ("picture-altered", str(changed))
        assert len(store.entries(run_id)) == 4
        assert len(store.pictures(run_id, 4)) == 1


def test_a_program_that_does_not_let_go_is_waited_for_and_then_named(tmp_path: Path) -> None:
    with (
        Store(tmp_path, busy_timeout_s=0.05, on_network=False) as store,
        closing(sqlite3.connect(tmp_path / "records.sqlite", isolation_level=None)) as other,
    ):
        run_id = store.start_run(a_start())
        other.execute("BEGIN IMMEDIATE")

        error = records_error(lambda: store.append(run_id, a_sighting(), [a_picture()]))

        assert error.code == "records-locked"
        assert "nothing was written" in error.message
        assert len(store.entries(run_id)) == 1
        with Store(tmp_path, on_network=False) as second:
            assert second.entries(run_id)[0].fact == a_start()
        other.execute("ROLLBACK")
        assert store.append(run_id, a_sighting(), [a_picture()]).number == 2
    assert len(list(tmp_path.rglob("*.png"))) == 1


def test_a_second_store_sees_each_fact_as_soon_as_it_is_appended(tmp_path: Path) -> None:
    with Store(tmp_path) as writer, Store(tmp_path) as reader:
        run_id = writer.start_run(a_start())
        for number in range(2, 5):
            entry = writer.append(run_id, a_sighting())

            assert reader.entries(run_id)[-1] == entry
            assert entry.number == number


def test_a_fact_of_a_newer_program_is_named_with_its_run_and_number(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        run_id = store.start_run(a_start())
        with closing(sqlite3.connect(tmp_path / "records.sqlite")) as newer:
            newer.execute(
                "INSERT INTO facts VALUES (?, 2, '2026-11-25T11:30:00.000Z', 'warmed', 1, '{}')",
                (run_id,),
            )
            newer.commit()

        error = records_error(lambda: store.entries(run_id))

    assert f"Fact 2 of run {run_id}" in error.message
    assert (error.path, error.value) == ("kind", "warmed")
