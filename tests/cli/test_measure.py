"""`tipwright measure`: one line a frame, whatever the frame is."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.cli.conftest import Command

KEYS = ["schema", "frame", "found", "center_px", "radius_px", "sigma_px", "cov_px2", "reason"]


def test_a_bore_is_found_where_it_is(tipwright: Command, picture: Path) -> None:
    told = tipwright("measure", picture, "--json")
    (found,) = told.objects
    assert told.status == 0
    assert list(found) == KEYS
    assert found["frame"] == str(picture)
    assert found["found"] is True
    assert found["reason"] is None
    # Analytic picture; its noise alone moves a centre by some hundredths of a pixel.
    assert found["center_px"] == pytest.approx([320.3, 240.6], abs=0.1)
    assert found["radius_px"] == pytest.approx(34.0, abs=0.5)


def test_sigma_is_the_root_of_half_the_trace(tipwright: Command, picture: Path) -> None:
    (found,) = tipwright("measure", picture, "--json").objects
    cov = found["cov_px2"]
    assert isinstance(cov, list)
    assert cov[0][1] == cov[1][0]
    assert found["sigma_px"] == pytest.approx(math.sqrt((cov[0][0] + cov[1][1]) / 2.0))


def test_a_picture_without_a_bore_is_an_answer(tipwright: Command, tmp_path: Path) -> None:
    file = tmp_path / "grey.png"
    cv2.imwrite(str(file), np.full((480, 640), 90, np.uint8))
    told = tipwright("measure", file, "--json")
    (answer,) = told.objects
    assert told.status == 0
    assert list(answer) == KEYS
    assert answer["found"] is False
    assert answer["center_px"] is None
    assert answer["reason"]


def test_what_cannot_be_read_is_said_in_its_place_and_the_rest_is_measured(
    tipwright: Command, picture: Path, tmp_path: Path
) -> None:
    empty, words, cut = tmp_path / "empty.png", tmp_path / "words.png", tmp_path / "cut.png"
    empty.touch()
    words.write_text("no picture")
    cut.write_bytes(picture.read_bytes()[:-200])
    names = [tmp_path / "missing.png", tmp_path, empty, words, cut, picture]
    told = tipwright("measure", *names, "--json")
    assert told.status == 2
    assert [line["frame"] for line in told.objects] == [str(name) for name in names]
    assert [line["found"] for line in told.objects] == [False] * 5 + [True]
    for line, name in zip(told.objects[:5], names, strict=False):
        assert str(name) in str(line["reason"])
        assert list(line) == KEYS


def test_a_name_that_is_no_text_is_kept(tipwright: Command, tmp_path: Path) -> None:
    name = f"{tmp_path}/tip-\udcff-µ.png"
    told = tipwright("measure", name, "--json")
    assert told.objects[0]["frame"] == name
    assert told.out.isascii()
    assert tipwright("measure", name).status == 2


def test_people_read_centre_uncertainty_and_radius(tipwright: Command, picture: Path) -> None:
    told = tipwright("measure", picture)
    assert told.status == 0
    assert told.out.startswith(f"{picture}: centre 320.")
    assert "(k = 2)" in told.out
    assert "size not verified" in told.out


def test_both_priors_verify_the_size(tipwright: Command, picture: Path) -> None:
    # 0.4 mm across at 0.4 / 68 mm a pixel is a radius of 34 px.
    told = tipwright("measure", picture, "--bore-mm", "0.4", "--um-per-px", "5.882")
    assert "size not verified" not in told.out
    assert "the bore measures 0.3" in told.err


@pytest.mark.parametrize("bore_mm", ["0.8", "0.2"])
def test_a_bore_of_another_size_is_refused_with_both_sizes(
    tipwright: Command, picture: Path, bore_mm: str
) -> None:
    told = tipwright("measure", picture, "--bore-mm", bore_mm, "--um-per-px", "5.882", "--json")
    (answer,) = told.objects
    assert told.status == 0
    assert list(answer) == KEYS
    assert answer["found"] is False
    reason = str(answer["reason"])
    assert "34.0 px" in reason
    assert ("68.0 px" if bore_mm == "0.8" else "17.0 px") in reason
    assert "leave them out" in reason


def test_a_worn_or_another_nozzle_is_told_on_standard_error(
    tipwright: Command, picture: Path
) -> None:
    told = tipwright("measure", picture, "--bore-mm", "0.4", "--um-per-px", "7.0", "--json")
    assert told.objects[0]["found"] is True
    assert list(told.objects[0]) == KEYS
    assert "mm, 0.40 mm is expected: a worn or another nozzle." in told.err


def test_one_prior_alone_is_said_to_tell_nothing(tipwright: Command, picture: Path) -> None:
    told = tipwright("measure", picture, "--bore-mm", "0.4")
    assert told.status == 0
    assert "together" in told.err
