"""A text written to a file: whole or not at all, nothing beside it, the usual mode."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from app.errors import InputError
from app.wiring.files import write_text


@contextmanager
def umask(mask: int) -> Iterator[None]:
    before = os.umask(mask)
    try:
        yield
    finally:
        os.umask(before)


@contextmanager
def files_no_longer_than(size: int) -> Iterator[None]:
    """Let the system refuse to write more than this to any file, as a full disk would."""
    resource = pytest.importorskip("resource", reason="the system knows no such limit")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_the_text_stands_in_the_file_as_it_was_and_nothing_beside_it(tmp_path: Path) -> None:
    file = tmp_path / "offsets.txt"
    write_text(file, "old\n")
    write_text(file, "X +0.340\r\nµ\n")
    assert file.read_bytes() == "X +0.340\r\nµ\n".encode()
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.skipif(os.name == "nt", reason="modes are a matter of POSIX systems")
@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o027, 0o640), (0o077, 0o600)])
def test_a_file_gets_the_mode_that_the_umask_leaves(tmp_path: Path, mask: int, mode: int) -> None:
    file = tmp_path / "offsets.txt"
    with umask(mask):
        write_text(file, "X +0.340\n")
    assert stat.S_IMODE(file.stat().st_mode) == mode


def test_a_write_that_fails_leaves_the_old_file_and_no_part(tmp_path: Path) -> None:
    file = tmp_path / "offsets.txt"
    write_text(file, "old\n")
    with files_no_longer_than(1000), pytest.raises(InputError) as refused:
        write_text(file, "x" * 100_000)
    assert refused.value.code == "file-not-written"
    assert list(tmp_path.iterdir()) == [file]
    assert file.read_text(encoding="utf-8") == "old\n"


def test_a_text_that_cannot_be_encoded_leaves_no_part(tmp_path: Path) -> None:
    with pytest.raises(UnicodeEncodeError):
        write_text(tmp_path / "offsets.txt", "half a pair: \ud800")
    assert list(tmp_path.iterdir()) == []


def test_a_replace_that_fails_leaves_no_part(tmp_path: Path) -> None:
    folder = tmp_path / "offsets.txt"
    folder.mkdir()
    with pytest.raises(InputError) as refused:
        write_text(folder, "X +0.340\n")
    assert refused.value.file == str(folder)
    assert list(tmp_path.iterdir()) == [folder]
    assert list(folder.iterdir()) == []


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written: No such file"):
        write_text(tmp_path / "none" / "offsets.txt", "X +0.340\n")
    assert list(tmp_path.iterdir()) == []
