"""What must hold whatever is in the picture: it moves, turns and grows, the answer follows."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.vision.bore.pictures import Scene, draw, take
from vision.bore import BoreFit, find_bore
from vision.geometry import PointPx

SMALL = Scene(size=(240, 200), centre=(118.3, 97.8), radius=22.0, land_radius=55.0, texture=0.03)


def centre(frame: object, **options: object) -> PointPx:
    fit = find_bore(frame, **options)  # type: ignore[arg-type]  # handed on as they are
    assert isinstance(fit, BoreFit), fit
    return fit.centre_px


@settings(max_examples=10, deadline=None)
@given(du=st.integers(-40, 40), dv=st.integers(-25, 25))
def test_a_shifted_picture_shifts_the_centre(du: int, dv: int) -> None:
    frame = take(SMALL)
    moved = np.roll(frame, (dv, du), axis=(0, 1))
    u, v = centre(frame)
    # Not exact: the search starts elsewhere, and the rounds end within thousandths.
    assert centre(moved) == pytest.approx((u + du, v + dv), abs=0.01)


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10_000), radius=st.floats(12.0, 40.0), blur=st.floats(0.7, 2.5))
def test_mirrored_and_transposed_pictures_give_mirrored_centres(
    seed: int, radius: float, blur: float
) -> None:
    scene = Scene(
        size=(240, 200),
        centre=(118.3, 97.8),
        radius=radius,
        land_radius=2.2 * radius,
        blur=blur,
        seed=seed,
    )
    frame = take(scene)
    u, v = centre(frame)
    # The rays lie otherwise on the pixels, which moves the answer by thousandths.
    assert centre(np.fliplr(frame)) == pytest.approx((239 - u, v), abs=0.01)
    assert centre(np.flipud(frame)) == pytest.approx((u, 199 - v), abs=0.01)
    assert centre(frame.T) == pytest.approx((v, u), abs=0.01)


@pytest.mark.parametrize("factor", [2, 3])
def test_an_enlarged_picture_enlarges_the_centre(factor: int) -> None:
    frame = take(SMALL)
    large = np.repeat(np.repeat(frame, factor, axis=0), factor, axis=1)
    u, v = centre(frame)
    # Pixel i becomes pixels whose middle is at factor * i + (factor - 1) / 2: a pixel
    # counted from its corner would be off by that half. The window follows the blur,
    # which is not enlarged alike, so the land's texture pulls a little otherwise.
    half = (factor - 1) / 2
    assert centre(large) == pytest.approx((factor * u + half, factor * v + half), abs=0.05 * factor)


@settings(max_examples=6, deadline=None)
@given(gain=st.floats(0.3, 1.4))
def test_brightness_does_not_move_the_centre(gain: float) -> None:
    light = draw(SMALL)
    plain = centre((light / 400).astype(np.float32))
    assert centre((light * gain / 400).astype(np.float32)) == pytest.approx(plain, abs=0.005)


def test_all_kinds_of_pixels_give_one_answer() -> None:
    frame = take(SMALL)
    plain = centre(frame)
    assert centre(frame.astype(np.uint16) * 257) == pytest.approx(plain, abs=1e-4)
    assert centre(frame.astype(np.float32) / 255) == pytest.approx(plain, abs=1e-4)
    assert centre(frame.astype(np.float64)) == pytest.approx(plain, abs=1e-4)
    assert centre(cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR)) == pytest.approx(plain, abs=1e-4)
    assert centre(frame[:, :, None]) == pytest.approx(plain, abs=1e-9)


def test_strides_do_not_matter() -> None:
    frame = take(SMALL)
    plain = centre(frame)
    wide = np.zeros((200, 480), np.uint8)
    wide[:, ::2] = frame
    colour = cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR)
    assert centre(wide[:, ::2]) == plain
    assert centre(np.asfortranarray(frame)) == plain
    assert centre(np.fliplr(np.fliplr(frame).copy())) == plain
    assert centre(colour[:, :, ::-1]) == pytest.approx(plain, abs=1e-4)


def test_the_picture_is_not_altered() -> None:
    frame = take(SMALL)
    before = frame.copy()
    frame.setflags(write=False)
    centre(frame)
    centre(frame, near=PointPx(118.0, 98.0))
    assert (frame == before).all()


def test_eight_threads_give_what_one_gives() -> None:
    frames = [
        take(Scene(size=(240, 200), centre=(118.3, 97.8), seed=seed, land_radius=60))
        for seed in range(8)
    ]
    one = [centre(frame) for frame in frames]
    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(centre, frames)) == one
