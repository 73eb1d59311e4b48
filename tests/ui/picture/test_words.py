"""What is written over the picture."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from app.job.interfaces import CameraHealth, CameraState
from app.job.quality import Grade
from app.ui.picture.words import (
    age_word,
    camera_sentence,
    captions_of,
    length_words,
    picture_description,
    readout,
)
from tests.ui.states import LIVE, STATES
from vision.geometry import PointMm, PointPx


@pytest.mark.parametrize(
    ("age_s", "words", "grade"),
    [
        (0.02, "live", Grade.GOOD),
        (0.25, "live", Grade.GOOD),
        (0.26, "0.3 s late", Grade.FAIR),
        (0.94, "0.9 s late", Grade.FAIR),
        (0.97, "1 s old", Grade.POOR),
        (2.3, "2 s old", Grade.POOR),
        (180.0, "3 min old", Grade.POOR),
        (math.inf, "no picture yet", Grade.UNKNOWN),
    ],
)
def test_the_age_of_a_picture_has_a_word(age_s: float, words: str, grade: Grade) -> None:
    assert (age_word(age_s).words, age_word(age_s).grade) == (words, grade)


def test_a_fresh_picture_says_nothing_of_its_age() -> None:
    state = STATES["tool"]()
    assert captions_of(state).age is None
    late = replace(state, camera=replace(LIVE, frame_age_s=0.4))
    assert captions_of(late).age == age_word(0.4)


def test_the_readout_tells_pixels_and_millimetres_from_the_target() -> None:
    at = PointPx(312.44, 201.04)
    assert readout(at, None) == "u 312.4 v 201.0"
    assert readout(at, PointMm(0.1212, -0.0338)) == "u 312.4 v 201.0   X +0.121 Y -0.034 mm"
    assert readout(at, PointMm(-0.0001, 0.0)).endswith("X +0.000 Y +0.000 mm")


@pytest.mark.parametrize(
    ("length_mm", "words"), [(0.5, "0.5 mm"), (0.02, "0.02 mm"), (2.0, "2 mm"), (10.0, "10 mm")]
)
def test_round_lengths_are_written_short(length_mm: float, words: str) -> None:
    assert length_words(length_mm) == words


@pytest.mark.parametrize("state", [s for s in CameraState if s is not CameraState.LIVE])
def test_a_camera_that_is_not_live_always_has_a_sentence(state: CameraState) -> None:
    assert camera_sentence(CameraHealth(state=state, sentence="", frame_age_s=1.0, dropped=0))


def test_what_is_seen_is_told_in_words_too() -> None:
    assert "A bore is in view" in picture_description(STATES["tool"]())
    assert "simulated" in picture_description(STATES["tool"]())
    assert "top edge" in picture_description(STATES["part of a rim"]())
    assert "no new picture" in picture_description(STATES["lost camera"]())
