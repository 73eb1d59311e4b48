"""Fast enough to be live, and safe to be shared."""

import time

import numpy as np

from tests.vision.synthesis.conftest import SCALE, Shot
from vision.geometry import PointPx
from vision.synthesis import Light, Sensor, TipTexture, expose


def test_a_frame_takes_a_small_part_of_a_frame_period(shot: Shot, used_texture: TipTexture) -> None:
    rng = np.random.default_rng(0)
    best_s = float("inf")
    for _ in range(5):
        start_s = time.process_time()
        picture = shot(
            used_texture, size_px=(640, 480), centre_px=PointPx(321.0, 238.0), light=Light()
        )
        expose(picture, Sensor(), rng)
        best_s = min(best_s, time.process_time() - start_s)
    # 14 ms on an idle machine; the rest is room for a busy one (OpenCV may use all cores).
    assert best_s < 0.080


def test_a_picture_depends_on_nothing_but_what_is_passed(
    shot: Shot, used_texture: TipTexture
) -> None:
    place = PointPx(90.2, 80.4)
    first = shot(used_texture, light=Light(), centre_px=place, defocus_mm=0.1)
    shot(used_texture, light=Light(one_sided=0.9), matrix_px_per_mm=2.0 * SCALE * np.eye(2))
    again = shot(used_texture, light=Light(), centre_px=place, defocus_mm=0.1)
    assert np.array_equal(first, again)
