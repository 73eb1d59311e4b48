from __future__ import annotations

import dataclasses
import math
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.errors import InputError
from app.job.profile import Profile, Tool
from app.records import profiles as profile_files
from app.records.profiles import read_profile, write_profile
from tests.records.examples import HERON
from tests.strategies import profiles


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(profiles())
def test_a_profile_comes_back_from_its_file_as_it_was(tmp_path: Path, profile: Profile) -> None:
    path = tmp_path / "machine.toml"

    write_profile(profile, path)

    assert read_profile(path) == profile


@given(st.text(min_size=1).filter(str.strip))
def test_any_name_can_stand_in_a_file(name: str) -> None:
    profile = dataclasses.replace(HERON, name=name)
    import tomllib

    assert tomllib.loads(profile_files.profile_text(profile))["name"] == name


def test_the_file_explains_each_field(tmp_path: Path) -> None:
    path = tmp_path / "heron.toml"

    write_profile(HERON, path)

    text = path.read_text("utf-8")
    for field in (*dataclasses.fields(Profile), *dataclasses.fields(Tool)):
        assert profile_files.COMMENTS[field.name] in text
    assert 'name = "Heron"' in text
    assert "stored_raw = [0.1, -0.25, 0.3333333333333333]" in text


def test_what_is_not_known_stands_there_as_a_comment(tmp_path: Path) -> None:
    path = tmp_path / "heron.toml"
    write_profile(dataclasses.replace(HERON, reversal_um=None, travel_mm=None), path)

    assert "# reversal_um =" in path.read_text("utf-8")
    assert read_profile(path).reversal_um is None
    assert read_profile(path).travel_mm is None


def test_a_mark_that_some_editors_put_in_front_does_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "heron.toml"
    write_profile(HERON, path)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))

    assert read_profile(path) == HERON


@pytest.mark.parametrize(
    ("content", "at", "words"),
    [
        (b'name = "Heron"\nlayout fixed\n', "line 2", "line 2, column 8 cannot be read"),
        (b'name = "Heron"\n\nname = "Plover"\n', "line 3", "line 3"),
        (b'name = "Heron"\ntools = [', "line 2", "ends too early"),
        (b'name = "Heron"\nx = "\xff"\n', "line 2", "line 2 is no UTF-8 text"),
        (b"x = " + b"[" * 20_000, None, "beyond all measure"),
        (b"x = " + b"9" * 5_000, None, "beyond all measure"),
    ],
    ids=["no equals sign", "twice", "cut off", "no UTF-8", "brackets", "digits"],
)
def test_a_file_that_is_no_toml_is_refused_with_its_line(
    tmp_path: Path, content: bytes, at: str | None, words: str
) -> None:
    path = tmp_path / "heron.toml"
    path.write_bytes(content)

    with pytest.raises(InputError, match=words) as caught:
        read_profile(path)

    assert caught.value.code == "bad-toml"
    assert caught.value.file == str(path)
    assert caught.value.path == at
    assert caught.value.message.startswith(str(path))


def test_a_field_that_does_not_fit_is_refused_with_file_and_field(tmp_path: Path) -> None:
    path = tmp_path / "heron.toml"
    write_profile(HERON, path)
    path.write_text(path.read_text("utf-8").replace("bore_mm = 0.4", "bore_mm = -0.4", 1), "utf-8")

    with pytest.raises(InputError, match="bore_mm") as caught:
        read_profile(path)

    assert caught.value.file == str(path)
    assert caught.value.path == "tools[0].bore_mm"


def test_a_file_that_is_not_there_or_a_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"heron\.toml is not there|is not there") as missing:
        read_profile(tmp_path / "heron.toml")
    with pytest.raises(InputError, match="cannot be read") as folder:
        read_profile(tmp_path)

    assert missing.value.code == "file-missing"
    assert folder.value.code == "file-unreadable"


def test_a_profile_that_cannot_be_written_leaves_the_old_file_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "heron.toml"
    write_profile(HERON, path)
    before = path.read_bytes()

    with pytest.raises(ValueError, match="JSON"):
        write_profile(dataclasses.replace(HERON, tolerance_mm=math.nan), path)

    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["heron.toml"]


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit of POSIX")
def test_a_full_disk_leaves_the_old_file_as_it_was(tmp_path: Path) -> None:
    from tests.records.test_refusals import largest_file_bytes

    path = tmp_path / "heron.toml"
    write_profile(HERON, path)
    before = path.read_bytes()

    with largest_file_bytes(100), pytest.raises(InputError, match="cannot be written"):
        write_profile(dataclasses.replace(HERON, name="Plover"), path)

    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["heron.toml"]


def test_a_folder_that_is_not_there_is_named_when_writing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written") as caught:
        write_profile(HERON, tmp_path / "nowhere" / "heron.toml")

    assert caught.value.code == "file-not-written"
