from __future__ import annotations

from pathlib import Path

import pytest

from app.job.facts import PositionMode
from app.ui.look.colours import Appearance
from app.ui.preferences import FILE, Preferences


def test_what_was_set_is_there_at_the_next_start(tmp_path: Path) -> None:
    first = Preferences(tmp_path / "data")
    first.appearance = Appearance.DARK
    first.geometry = b"\x01\x00\xffgeometry"
    first.machine = "known/Größe, 40 = ünicode; \\ and %20"
    first.camera, first.camera_name = "file:C:\\a b\\c.mp4", "Camera, the second"
    first.mode = PositionMode.JOGS_ONLY
    first.left_run = "20261125-113000-heron-3fa9"
    first.speech, first.tone = True, False
    again = Preferences(tmp_path / "data")
    assert again.appearance is Appearance.DARK
    assert again.geometry == b"\x01\x00\xffgeometry"
    assert again.machine == first.machine == "known/Größe, 40 = ünicode; \\ and %20"
    assert (again.camera, again.camera_name) == ("file:C:\\a b\\c.mp4", "Camera, the second")
    assert again.mode is PositionMode.JOGS_ONLY
    assert again.left_run == "20261125-113000-heron-3fa9"
    assert (again.speech, again.tone) == (True, False)


def as_new(preferences: Preferences) -> bool:
    return (
        preferences.appearance is Appearance.SYSTEM
        and preferences.geometry == b""
        and preferences.machine == preferences.camera == preferences.camera_name == ""
        and preferences.mode is PositionMode.SHOWN
        and not preferences.speech
        and not preferences.tone
    )


def test_a_first_start_has_defaults(tmp_path: Path) -> None:
    assert as_new(Preferences(tmp_path))


@pytest.mark.parametrize(
    "content",
    [
        b"\x00\xff\xfe garbage [[[ = = =\n\n%%%",
        b"[General]\nappearance=purple\ngeometry=###\nmode=@Variant(\\0\\0)\nspeech=2\n",
        b"[General]\nmachine=a, b, c\ncamera=@Point(1 2)\n",
    ],
    ids=["garbage", "unknown words", "other kinds"],
)
def test_a_damaged_file_counts_as_empty_and_can_be_written_again(
    tmp_path: Path, content: bytes
) -> None:
    (tmp_path / FILE).write_bytes(content)
    preferences = Preferences(tmp_path)
    assert as_new(preferences)
    preferences.tone = True
    assert Preferences(tmp_path).tone


def test_a_file_that_cannot_be_written_is_no_error(tmp_path: Path) -> None:
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("", encoding="utf-8")
    preferences = Preferences(blocked)
    preferences.machine = "known/Dunlin"
    assert preferences.machine == "known/Dunlin"
    assert Preferences(blocked).machine in ("", "known/Dunlin")


def test_a_folder_in_the_place_of_the_file_is_no_error(tmp_path: Path) -> None:
    (tmp_path / FILE).mkdir()
    preferences = Preferences(tmp_path)
    preferences.appearance = Appearance.LIGHT
    assert preferences.appearance is Appearance.LIGHT
