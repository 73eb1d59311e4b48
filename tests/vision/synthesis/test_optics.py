"""Blur, light and what moves with what."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.vision.synthesis.conftest import SCALE, Shot
from tests.vision.synthesis.measure import rise_10_90
from vision.geometry import PointPx
from vision.synthesis import (
    BRIGHT_PLASTIC,
    Light,
    Optics,
    Tip,
    TipTexture,
    prepare_tip,
    ring_of_lamps,
)
from vision.synthesis.optics import blurred


def _rim_profile(picture: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return the green level from inside the bore outwards, averaged over 2 rows."""
    return np.asarray(picture[89:91, 110:150, 1].mean(axis=0), dtype=np.float64)


@pytest.mark.parametrize("sigma_px", [1.5, 2.0, 3.0])
def test_an_edge_rises_as_a_gaussian_blur_says(shot: Shot, sigma_px: float) -> None:
    # 10 to 90 % of a Gaussian edge: 2.5631 sigma; the pixel's own box adds 1/12.
    picture = shot(optics=Optics(base_blur_px=sigma_px, vignetting=0.0))
    rise = rise_10_90(_rim_profile(picture))
    assert rise == pytest.approx(2.5631 * np.sqrt(sigma_px**2 + 1.0 / 12.0), rel=0.06)


@pytest.mark.parametrize("sigma_px", [1.0, 2.0, 3.0, 5.0, 9.0, 20.0])
def test_a_blurred_point_has_the_stated_variance_and_stays(sigma_px: float) -> None:
    picture = np.zeros((257, 261, 3), dtype=np.float32)
    picture[120:130, 124:140] = 1.0
    out = blurred(picture, sigma_px)[..., 1].astype(np.float64)
    u = np.arange(261)
    across = out.sum(axis=0) / out.sum()
    mean = float((across * u).sum())
    assert mean == pytest.approx(131.5, abs=0.002)
    own = (16.0**2 - 1.0) / 12.0
    sigma = np.sqrt(float((across * (u - mean) ** 2).sum()) - own)
    assert sigma == pytest.approx(sigma_px, rel=0.03)


@pytest.mark.parametrize(
    ("sigma_px", "mtf50"),
    # Frequency at which a Gaussian passes half: sqrt(2 ln 2) / (2 pi sigma), cycles per px.
    [(1.0, 0.1874), (1.5, 0.1249), (2.0, 0.0937), (3.0, 0.0625)],
)
def test_the_blur_passes_half_of_the_contrast_at_mtf50(sigma_px: float, mtf50: float) -> None:
    u = np.arange(512, dtype=np.float64)
    wave = (0.5 + 0.5 * np.cos(2.0 * np.pi * mtf50 * u)).astype(np.float32)
    picture = np.repeat(np.repeat(wave[None, :, None], 16, axis=0), 3, axis=2)
    middle = blurred(picture, sigma_px)[8, 64:-64, 0].astype(np.float64)
    phase = np.exp(-2.0j * np.pi * mtf50 * u[64:-64]) * np.hanning(middle.size)
    before = abs((wave[64:-64] - 0.5) @ phase)
    after = abs((middle - middle.mean()) @ phase)
    assert after / before == pytest.approx(0.5, abs=0.01)


def test_blur_grows_with_defocus_alike_on_both_sides(shot: Shot) -> None:
    optics = Optics(na=0.06, vignetting=0.0)
    rises = {
        z: rise_10_90(_rim_profile(shot(defocus_mm=z, optics=optics)))
        for z in (-0.4, -0.2, 0.0, 0.2, 0.4)
    }
    assert rises[0.0] < rises[0.2] < rises[0.4]
    assert rises[-0.2] == pytest.approx(rises[0.2], rel=1e-3)
    assert rises[-0.4] == pytest.approx(rises[0.4], rel=1e-3)


def test_the_blur_of_defocus_follows_the_aperture() -> None:
    # A disc of radius na z has the variance of a Gaussian of na z / 2 on each axis.
    optics = Optics(na=0.08, base_blur_px=0.6)
    assert optics.blur_px(0.5, SCALE) == pytest.approx(np.hypot(0.6, 0.5 * 0.08 * 0.5 * SCALE))
    assert optics.blur_px(-0.5, SCALE) == optics.blur_px(0.5, SCALE)


def test_one_sided_light_leaves_the_other_side_darker(shot: Shot, used_texture: TipTexture) -> None:
    light = Light(one_sided=0.9, one_sided_rad=0.0, glint_sharpness=0.0)
    cone = shot(used_texture, light=light)[..., 1]
    assert cone[60:120, 185:].mean() > 1.2 * cone[60:120, :15].mean()


def test_the_wall_opposite_to_the_lamps_is_lit(shot: Shot) -> None:
    light = Light(one_sided=1.0, one_sided_rad=0.0, glint_sharpness=0.0)
    empty = prepare_tip(Tip(grain=0.0, stains=0.0, edge_break_mm=0.0), um_per_px=6.0)
    bore = shot(empty, light=light)[..., 1]
    left, right = bore[80:99, 70:76].mean(), bore[80:99, 123:129].mean()
    assert left > 1.5 * right


def test_lamps_stay_in_the_picture_when_the_tip_is_turned(
    shot: Shot, plain_texture: TipTexture
) -> None:
    # A plain tip looks the same however it is turned; only the lamps mark a direction.
    light = Light(one_sided=0.7, one_sided_rad=0.4)
    straight = shot(plain_texture, light=light)
    cos, sin = np.cos(1.1), np.sin(1.1)
    turned = shot(
        plain_texture, light=light, matrix_px_per_mm=SCALE * np.array([[cos, -sin], [sin, cos]])
    )
    mirrored = shot(plain_texture, light=light, matrix_px_per_mm=SCALE * np.diag([-1.0, 1.0]))
    scale = float(straight[..., 1].max())
    for other in (turned, mirrored):
        assert float(np.median(np.abs(other - straight))) < 0.01 * scale
        assert float(np.abs(other - straight).mean()) < 0.02 * scale


def test_glints_move_less_than_the_tip_and_vanish_on_a_matt_land(
    shot: Shot, plain_texture: TipTexture
) -> None:
    lamp = ring_of_lamps(1, radius_mm=6.0, first_rad=0.0)

    def glint_u(du_px: float) -> float:
        place = {"centre_px": PointPx(99.5 + du_px, 89.5)}
        matt = shot(plain_texture, light=Light(lamps=lamp, glint_sharpness=0.0), **place)
        shiny = shot(plain_texture, light=Light(lamps=lamp, glint_sharpness=1.0), **place)
        extra = (shiny - matt)[..., 1].astype(np.float64)
        assert extra.max() > 0.1
        return float((extra * np.arange(200)).sum() / extra.sum())

    moved = glint_u(20.0) - glint_u(0.0)
    assert 8.0 < moved < 19.0


def test_plastic_in_the_bore_is_brighter_than_the_land_behind_a_dark_gap(shot: Shot) -> None:
    tip = Tip(bore_fill=BRIGHT_PLASTIC, grain=0.0, stains=0.0, scratches=0)
    profile = shot(prepare_tip(tip, um_per_px=6.0))[89, 99:150, 0]
    plastic, gap, land = profile[5:20].mean(), profile[26:36].min(), profile[45:].mean()
    assert plastic > land
    assert gap < 0.5 * land


def test_vignetting_takes_light_from_the_corners(shot: Shot) -> None:
    even = shot()
    dim = shot(optics=Optics(vignetting=0.3))
    assert dim[0, 0, 1] / even[0, 0, 1] == pytest.approx(0.7, abs=0.03)
    assert dim[89, 99, 1] / even[89, 99, 1] == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize(
    "changes",
    [
        {"size_px": (0, 10)},
        {"centre_px": PointPx(float("nan"), 0.0)},
        {"matrix_px_per_mm": np.zeros((2, 2))},
        {"matrix_px_per_mm": np.eye(3)},
        {"defocus_mm": float("inf")},
        {"tilt_rad": (0.7, 0.0)},
    ],
)
def test_render_names_the_argument_it_cannot_use(shot: Shot, changes: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=next(iter(changes))):
        shot(**changes)


@pytest.mark.parametrize("changes", [{"k1": 0.5}, {"na": -1.0}, {"vignetting": 2.0}])
def test_optics_are_checked(changes: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(changes))):
        Optics(**changes)


def test_the_picture_is_linear_float_of_the_stated_size(shot: Shot) -> None:
    picture = shot(size_px=(33, 57), centre_px=PointPx(10.0, 20.0))
    assert picture.shape == (57, 33, 3)
    assert picture.dtype == np.float32
    assert np.isfinite(picture).all()
