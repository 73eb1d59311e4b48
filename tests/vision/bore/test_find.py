from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.vision.bore.pictures import Blob, Scene, jpeg, take
from vision.bore import BoreFit, RadiusPrior, find_bore
from vision.geometry import PointPx


def found(frame: object, **options: object) -> BoreFit:
    fit = find_bore(frame, **options)  # type: ignore[arg-type]  # handed on as they are
    assert isinstance(fit, BoreFit), fit
    return fit


def miss_px(fit: BoreFit, scene: Scene) -> float:
    return float(np.hypot(fit.centre_px.u - scene.centre[0], fit.centre_px.v - scene.centre[1]))


@pytest.mark.parametrize(
    ("scene", "limit_px"),
    [
        # The bound of a clean disc is 0.002 to 0.01 px; five times that leaves no
        # room for a pixel that is counted from its corner (0.5 px).
        pytest.param(Scene(), 0.02, id="plain"),
        pytest.param(Scene(radius=10.5, land_radius=25), 0.03, id="smallest"),
        pytest.param(Scene(radius=155, land_radius=235, blur=1.5), 0.02, id="largest"),
        pytest.param(Scene(blur=4.0, noise=5.0), 0.06, id="soft"),
        pytest.param(Scene(noise=10.0), 0.08, id="noisy"),
        pytest.param(Scene(dark=3, land=22, around=8, noise=1.5), 0.1, id="dim"),
        pytest.param(Scene(size=(320, 240), centre=(150.2, 120.8)), 0.02, id="small-picture"),
        # Tilted by four degrees a circle is an ellipse of 0.998; pixels and wear do more.
        pytest.param(Scene(ellipticity=0.035, turn_rad=0.6), 0.03, id="oval"),
        pytest.param(Scene(ellipticity=0.0012, turn_rad=2.0), 0.02, id="tilted"),
        # Texture moves the centre by up to 0.04 px at 5 %; grooves and glints less.
        pytest.param(Scene(texture=0.05), 0.12, id="texture"),
        pytest.param(Scene(marks=0.1), 0.06, id="turning-marks"),
        pytest.param(Scene(glints=10), 0.06, id="glints"),
        pytest.param(Scene(drops=(Blob(away=34, direction_rad=0.5, radius=16),)), 0.03, id="drop"),
        pytest.param(
            Scene(drops=(Blob(away=36, direction_rad=2.0, radius=32),)),
            0.08,
            id="drop-over-a-third",
        ),
        # The crescent's inner end is the stronger edge; the rim is the outer one.
        # Its middle is off by 2.5 px; what is left is half the width of the outer step.
        pytest.param(Scene(chamfer=5, chamfer_levels=(0.4, 0.4)), 0.9, id="lit-crescent"),
        pytest.param(Scene(gradient=(0.3, 0.0)), 0.05, id="light-from-one-side"),
        # Plastic shrinks from the wall and leaves a thin dark gap.
        pytest.param(Scene(plastic=190.0), 0.06, id="bright-plastic"),
        pytest.param(Scene(plastic=40.0, gap=0.0), 0.03, id="dark-plastic"),
        pytest.param(Scene(chamfer=7, chamfer_levels=(0.4, 0.0)), 0.05, id="concentric-chamfer"),
    ],
)
def test_the_centre_is_found(scene: Scene, limit_px: float) -> None:
    fit = found(take(scene))
    assert miss_px(fit, scene) < limit_px
    assert fit.size_verified is False


def test_the_rim_is_found_at_its_radius_not_at_the_lands() -> None:
    fit = found(take(Scene(radius=34, land_radius=60)))
    # A blur s draws the rim in by s^2 / 2R = 0.02 px.
    assert fit.radius_px == pytest.approx(34.0, abs=0.1)


def test_what_is_reported_of_the_edge_is_true() -> None:
    fit = found(take(Scene(blur=2.0)))
    assert fit.blur_px == pytest.approx(2.0, abs=0.15)
    assert fit.contrast == pytest.approx(150 / 255, abs=0.03)
    assert fit.arc_covered > 0.95
    assert not fit.rim_px.flags.writeable
    radii = np.hypot(*(fit.rim_px - [fit.centre_px.u, fit.centre_px.v]).T)
    assert np.median(radii) == pytest.approx(34.0, abs=0.1)


def test_an_oval_bore_is_reported_with_its_axes() -> None:
    fit = found(take(Scene(ellipticity=0.03, turn_rad=0.6)))
    assert fit.semi_axes_px == pytest.approx((34 * 1.03, 34 * 0.97), abs=0.1)
    assert fit.angle_rad == pytest.approx(0.6, abs=0.05)


@pytest.mark.parametrize("quality", [50, 85])
def test_jpeg_leaves_the_centre_where_it_is(quality: int) -> None:
    scene = Scene()
    # At quality 50 blocks of 8 px leave some hundredths.
    assert miss_px(found(jpeg(take(scene), quality)), scene) < 0.06


@pytest.mark.parametrize("size", [(1280, 960), (1920, 1080), (3840, 2160)])
def test_large_frames_are_searched_too(size: tuple[int, int]) -> None:
    scene = Scene(size=size, centre=(size[0] * 0.6 + 0.3, size[1] * 0.4 + 0.2), radius=40)
    assert miss_px(found(take(scene)), scene) < 0.02


def test_a_right_prior_verifies_the_size() -> None:
    scene = Scene()
    fit = found(take(scene), radius_prior=RadiusPrior(radius_px=36.0))
    assert fit.size_verified
    assert miss_px(fit, scene) < 0.02


@pytest.mark.parametrize("off", [(0.0, 0.0), (9.0, -6.0), (200.0, 150.0)])
def test_tracking_gives_what_the_search_gives(off: tuple[float, float]) -> None:
    scene = Scene()
    frame = take(scene)
    near = PointPx(scene.centre[0] + off[0], scene.centre[1] + off[1])
    prior = RadiusPrior(radius_px=34.0)
    tracked = found(frame, near=near, radius_prior=prior)
    assert tracked.centre_px == pytest.approx(found(frame).centre_px, abs=0.003)


def test_sigma_grows_where_the_rim_is_hidden() -> None:
    whole = found(take(Scene(texture=0.02)))
    drop = Blob(away=36, direction_rad=2.0, radius=32)
    hidden = found(take(Scene(texture=0.02, drops=(drop,))))
    assert hidden.arc_covered < 0.8 < whole.arc_covered
    assert hidden.cov_px2.sigma_px > 1.3 * whole.cov_px2.sigma_px


def test_texture_is_static_and_noise_is_temporal() -> None:
    noisy = found(take(Scene(noise=8.0)))
    textured = found(take(Scene(noise=2.0, texture=0.05)))
    assert noisy.temporal_cov_px2.sigma_px > 2.5 * textured.temporal_cov_px2.sigma_px
    assert textured.static_cov_px2.sigma_px > 3 * textured.temporal_cov_px2.sigma_px


@pytest.mark.parametrize("blur", [0.8, 1.2, 2.0, 3.0, 4.0])
def test_the_blur_is_that_of_the_picture(blur: float) -> None:
    # It tells how well a tip is in focus; the pixel's own box adds a little.
    fit = found(take(Scene(blur=blur)))
    assert fit.blur_px == pytest.approx(blur, rel=0.2)


@pytest.mark.parametrize(
    ("sharp", "soft"),
    [
        ("brass-040-clean.png", "brass-040-soft.jpg"),
        ("brass-060-clean.jpg", "brass-060-softer.jpg"),
    ],
)
def test_a_rendered_tip_out_of_focus_is_more_blurred(sharp: str, soft: str) -> None:
    frames = Path(__file__).parents[3] / "sample_frames" / "frames"
    blurs = []
    for name in (sharp, soft):
        frame = cv2.imread(str(frames / name))
        assert frame is not None
        blurs.append(found(frame).blur_px)
    assert blurs[1] > 1.2 * blurs[0]
