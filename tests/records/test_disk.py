from __future__ import annotations

import os
import sys
from pathlib import Path, PurePosixPath

import pytest

from app.records import Store, default_folder, disk
from tests.records.examples import a_picture, a_sighting, a_start

MOUNTS = """\
/dev/vda / ext4 rw 0 0
proc /proc proc rw 0 0
server:/home /home/shared\\040files nfs4 rw 0 0
/dev/vdb /home/shared\\040files/local xfs rw 0 0
//nas/cam /media/nas cifs rw 0 0
broken
"""

# This layer of SQLite locks with a file and has no shared memory, as a network
# drive may not have (SQLite documentation, "The OS Backend", section 2.1).
NO_SHARED_MEMORY = "unix-dotfile"

on_posix = pytest.mark.skipif(sys.platform == "win32", reason="a layer that only POSIX has")


@pytest.mark.parametrize(
    ("folder", "is_network"),
    [
        ("/", False),
        ("/home/mira/records", False),
        ("/home/shared files/records", True),
        ("/home/shared files/local/records", False),
        ("/home/shared files", True),
        ("/media/nas", True),
        ("/media/nasty", False),
    ],
)
def test_a_network_drive_is_known_by_the_mount_that_holds_the_folder(
    folder: str, is_network: bool
) -> None:
    assert disk.is_network_mount(PurePosixPath(folder), MOUNTS) == is_network


def test_the_later_of_two_mounts_on_one_place_counts() -> None:
    mounts = "/dev/a /data ext4 rw 0 0\nnas:/x /data nfs rw 0 0\n"

    assert disk.is_network_mount(PurePosixPath("/data/x"), mounts)


def test_records_lie_in_the_users_data_folder_unless_another_is_named() -> None:
    assert default_folder({}).name == "Tipwright"
    assert default_folder({"TIPWRIGHT_DATA": ""}) == default_folder({})
    assert default_folder({"TIPWRIGHT_DATA": "/srv/tips"}) == Path("/srv/tips")
    assert default_folder({"TIPWRIGHT_DATA": "~/tips"}) == Path.home() / "tips"


def test_on_a_network_drive_records_do_without_the_log_and_say_so_once(tmp_path: Path) -> None:
    for _ in range(2):
        with Store(tmp_path, on_network=True) as store:
            assert store.journal == "delete"
            assert [event.code for event in store.events()] == ["journal-fallback"]
            run_id = store.start_run(a_start())
            store.append(run_id, a_sighting(), [a_picture()])

            assert len(store.pictures(run_id, 2)) == 1
            assert not (tmp_path / "records.sqlite-wal").exists()


@on_posix
def test_where_the_log_cannot_be_had_records_fall_back(tmp_path: Path) -> None:
    with Store(tmp_path, on_network=False, vfs=NO_SHARED_MEMORY) as store:
        assert store.journal == "delete"
        assert store.events()[0].code == "journal-fallback"
        run_id = store.start_run(a_start())

        assert store.append(run_id, a_sighting(), [a_picture()]).number == 2


@on_posix
def test_records_that_moved_to_such_a_drive_can_still_be_read_and_written(tmp_path: Path) -> None:
    with Store(tmp_path, on_network=False) as store:
        run_id = store.start_run(a_start())
        assert store.journal == "wal"
    with Store(tmp_path, on_network=False, vfs=NO_SHARED_MEMORY) as store:
        assert store.journal == "delete"
        assert store.append(run_id, a_sighting()).number == 2
    with Store(tmp_path, on_network=False) as store:
        assert store.journal == "wal"
        assert len(store.entries(run_id)) == 2


def test_a_folder_that_is_not_there_is_made(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "b" / "ünïcode folder"
    with Store(folder) as store:
        run_id = store.start_run(a_start())
        store.append(run_id, a_sighting(), [a_picture()])

        assert len(store.pictures(run_id, 2)) == 1
    assert (folder / "records.sqlite").exists()


def test_a_kept_file_replaces_the_old_one_and_leaves_no_part(tmp_path: Path) -> None:
    target, part = tmp_path / "name", tmp_path / "name.part"
    target.write_bytes(b"old")
    disk.write_part(part, b"new")
    assert target.read_bytes() == b"old"

    disk.keep(part, target)

    assert target.read_bytes() == b"new"
    assert not part.exists()


def test_what_a_killed_program_had_begun_is_swept_once_it_is_old(tmp_path: Path) -> None:
    Store(tmp_path).close()
    old, young = (tmp_path / "incoming" / name for name in ("old.part", "young.part"))
    for part in (old, young):
        part.write_bytes(b"half a picture")
    os.utime(old, (0.0, young.stat().st_mtime - 4000.0))

    Store(tmp_path).close()

    assert list((tmp_path / "incoming").iterdir()) == [young]
