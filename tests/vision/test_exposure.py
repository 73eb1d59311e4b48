"""The light of a picture: known greys, known shares, every form a frame may have."""

from __future__ import annotations

import time

import numpy as np
import pytest

from vision.exposure import exposure_of

SIZE = (480, 640)


def tip(*, dark: int = 20, land: int = 200, burnt: int = 255) -> np.ndarray:
    """A dark picture with a bright tenth and a burnt fiftieth of its columns."""
    image = np.full(SIZE, dark, dtype=np.uint8)
    image[:, :64] = land
    image[:, 64:77] = burnt
    return image


def test_an_even_picture_has_one_brightness() -> None:
    light = exposure_of(np.full(SIZE, 51, dtype=np.uint8))

    assert light.mean == pytest.approx(0.2, abs=1e-12)
    assert light.bright == pytest.approx(0.2, abs=1e-12)
    assert light.burnt_share == 0.0


def test_shares_are_those_of_the_picture() -> None:
    light = exposure_of(tip())

    # The grid takes every third column of 640: one of 213 more or less is the most it is off.
    assert light.burnt_share == pytest.approx(13 / 640, abs=1 / 213)
    assert light.bright == pytest.approx(200 / 255, abs=1e-12)
    assert light.mean == pytest.approx(float(tip().mean()) / 255, abs=0.004)


@pytest.mark.parametrize("level", [254, 255])
def test_at_and_next_to_full_scale_is_burnt(level: int) -> None:
    assert exposure_of(np.full(SIZE, level, dtype=np.uint8)).burnt_share == 1.0


def test_two_levels_below_full_scale_is_not_burnt() -> None:
    assert exposure_of(np.full(SIZE, 253, dtype=np.uint8)).burnt_share == 0.0


def test_16_bits_say_what_8_bits_say() -> None:
    image = tip()
    deep = exposure_of(image.astype(np.uint16) * 257)
    usual = exposure_of(image)

    assert deep.mean == pytest.approx(usual.mean, abs=1e-9)
    assert deep.bright == pytest.approx(usual.bright, abs=1e-9)
    assert deep.burnt_share == usual.burnt_share


def test_a_grey_picture_in_three_planes_says_the_same() -> None:
    image = tip()

    assert exposure_of(np.repeat(image[:, :, None], 3, axis=2)) == exposure_of(image)


def test_any_strides_serve_and_nothing_is_altered() -> None:
    image = tip()
    wide = np.repeat(image, 2, axis=1)[:, ::2]
    turned = image[::-1, ::-1]
    kept = wide.copy()
    wide.flags.writeable = False

    assert exposure_of(wide) == exposure_of(image)
    assert exposure_of(turned).mean == pytest.approx(exposure_of(image).mean, abs=0.004)
    assert exposure_of(np.asfortranarray(image)) == exposure_of(image)
    np.testing.assert_array_equal(wide, kept)


def test_one_pixel_is_a_picture_too() -> None:
    light = exposure_of(np.array([[255]], dtype=np.uint8))

    assert (light.mean, light.bright, light.burnt_share) == (1.0, 1.0, 1.0)


@pytest.mark.parametrize(
    "frame",
    [
        np.zeros((0, 4), dtype=np.uint8),
        np.zeros((4, 4, 4), dtype=np.uint8),
        np.zeros(4, dtype=np.uint8),
        np.zeros((4, 4), dtype=np.float32),
    ],
)
def test_what_is_no_picture_is_refused(frame: np.ndarray) -> None:
    with pytest.raises(ValueError, match="frame must"):
        exposure_of(frame)


def test_it_is_cheap_enough_for_every_frame() -> None:
    bgr = np.repeat(tip()[:, :, None], 3, axis=2)
    took_s = []
    for _ in range(20):
        began = time.thread_time()
        exposure_of(bgr)
        took_s.append(time.thread_time() - began)

    # Measured 0.2 ms on one core; a full pass over the picture takes several.
    assert min(took_s) < 1e-3
