from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from app.cameras import read_image
from app.cameras.opencv import cv2
from app.errors import InputError
from tests.cameras.fakes import noise


@pytest.mark.parametrize("suffix", [".png", ".tiff", ".bmp"])
@pytest.mark.parametrize("shape", [(48, 64), (48, 64, 3)])
def test_a_picture_comes_back_as_it_was_saved(
    tmp_path: Path, suffix: str, shape: tuple[int, ...]
) -> None:
    cv2.imwrite(str(tmp_path / f"tip{suffix}"), noise(1, shape))
    assert np.array_equal(read_image(tmp_path / f"tip{suffix}"), noise(1, shape))


@pytest.mark.parametrize("suffix", [".png", ".tiff"])
@pytest.mark.parametrize("shape", [(48, 64), (48, 64, 3)])
def test_sixteen_bits_are_kept(tmp_path: Path, suffix: str, shape: tuple[int, ...]) -> None:
    deep = noise(1, shape).astype(np.uint16) * 257
    cv2.imwrite(str(tmp_path / f"tip{suffix}"), deep)
    assert np.array_equal(read_image(tmp_path / f"tip{suffix}"), deep)


def test_transparency_is_left_out(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "tip.png"), noise(1, (48, 64, 4)))
    assert read_image(tmp_path / "tip.png").shape == (48, 64, 3)


def test_a_name_with_umlauts_is_read(tmp_path: Path) -> None:
    file = tmp_path / "Düse №1.png"
    file.write_bytes(cv2.imencode(".png", noise(1))[1].tobytes())
    assert np.array_equal(read_image(file), noise(1))


@pytest.mark.parametrize("suffix", [".png", ".jpg", ".tiff", ".bmp"])
@pytest.mark.parametrize("part", [0.02, 0.5, 0.9])
def test_a_file_cut_short_is_refused(tmp_path: Path, suffix: str, part: float) -> None:
    data = cv2.imencode(suffix, noise(1))[1].tobytes()
    file = tmp_path / f"tip{suffix}"
    file.write_bytes(data[: int(len(data) * part)])
    with pytest.raises(InputError, match=r"cut short|no picture"):
        read_image(file)


@pytest.mark.parametrize(("data", "code"), [(b"", "file-empty"), (b"no picture", "not-a-picture")])
def test_what_is_no_picture_is_refused(tmp_path: Path, data: bytes, code: str) -> None:
    file = tmp_path / "tip.png"
    file.write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_image(file)
    assert (caught.value.code, caught.value.file) == (code, str(file))


def test_a_missing_file_and_a_folder_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_image(tmp_path / "none.png")
    with pytest.raises(InputError, match="is a folder"):
        read_image(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        read_image("a\0b.png")


def test_pixels_of_another_type_are_refused(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "tip.tiff"), noise(1).astype(np.float32))
    with pytest.raises(InputError, match="8 or 16 bits"):
        read_image(tmp_path / "tip.tiff")
