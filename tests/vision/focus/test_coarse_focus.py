"""Sharpness of a whole picture, made small first."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.bore.pictures import Scene, as_bytes, draw, take
from vision.coarse_focus import coarse_sharpness


def tip(blur: float, scale: float = 1.0, seed: int = 1) -> np.ndarray:
    """Return a tip, all of it `scale` times as large."""
    size = (int(640 * scale), int(480 * scale))
    return take(
        Scene(
            size=size,
            centre=(size[0] / 2 + 0.3, size[1] / 2 - 0.4),
            radius=34.0 * scale,
            land_radius=85.0 * scale,
            blur=blur * scale,
            seed=seed,
        )
    )


def test_it_falls_with_blur() -> None:
    values = [coarse_sharpness(tip(blur)) for blur in (1.0, 2.0, 3.0, 4.0, 6.0, 10.0)]
    assert values == sorted(values, reverse=True)
    assert values[0] > 1.5 * values[3] > 2.0 * values[5]


def test_noise_does_not_pass_for_sharpness() -> None:
    soft = draw(Scene(blur=6.0))
    noisy = soft + np.random.default_rng(5).normal(0.0, 6.0, soft.shape)
    assert coarse_sharpness(as_bytes(noisy)) < 1.15 * coarse_sharpness(as_bytes(soft))


def test_one_frame_after_the_other_gives_the_same() -> None:
    values = [coarse_sharpness(tip(1.5, seed=seed)) for seed in range(4)]
    assert max(values) < 1.02 * min(values)


def test_a_larger_picture_of_the_same_is_as_sharp() -> None:
    assert coarse_sharpness(tip(2.0, 2.0)) == pytest.approx(coarse_sharpness(tip(2.0)), rel=0.1)


def test_depth_colour_and_memory_do_not_matter() -> None:
    grey = tip(1.5)
    value = coarse_sharpness(grey)
    assert coarse_sharpness(grey.astype(np.uint16) * np.uint16(257)) == pytest.approx(
        value, rel=0.02
    )
    assert coarse_sharpness(np.dstack([grey] * 3)) == pytest.approx(value, rel=0.01)
    wide = np.zeros((960, 1280), np.uint8)
    wide[::2, ::2] = grey
    kept = wide.copy()
    assert coarse_sharpness(wide[::2, ::2]) == value
    np.testing.assert_array_equal(wide, kept)


@pytest.mark.parametrize("shape", [(1, 1), (3, 5), (1, 2000), (481, 643), (2000, 1)])
def test_odd_sizes_are_measured_too(shape: tuple[int, int]) -> None:
    assert coarse_sharpness(np.full(shape, 90, np.uint8)) == 0.0


@pytest.mark.parametrize(
    "frame", [np.zeros((4, 4)), np.zeros((4, 4, 4), np.uint8), np.zeros((0, 4), np.uint8)]
)
def test_what_is_no_picture_is_the_callers_mistake(frame: np.ndarray) -> None:
    with pytest.raises(ValueError, match="frame"):
        coarse_sharpness(frame)
