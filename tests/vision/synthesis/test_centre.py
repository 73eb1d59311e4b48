"""The bore's centre is where the picture's truth says, found by other ways."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.vision.synthesis.conftest import EVEN_LIGHT, SCALE, Shot
from tests.vision.synthesis.measure import (
    contour_ellipse,
    darkness,
    moment_centre,
    supersampled_bore,
    turned,
)
from vision.geometry import PointPx
from vision.synthesis import (
    Drop,
    Light,
    Optics,
    Oval,
    Sensor,
    Tip,
    TipTexture,
    distort_point,
    expose,
    prepare_tip,
    undistort_point,
)

FLAT_SENSOR = Sensor(full_well_e=1e9, read_noise_e=0.0, gamma=1.0, bayer=False)

MATRICES = {
    "straight": SCALE * np.eye(2),
    "turned": turned(0.7, SCALE),
    "mirrored": turned(-0.3, SCALE) @ np.diag([-1.0, 1.0]),
    "skewed": np.array([[SCALE, 22.0], [-9.0, 0.93 * SCALE]]),
    "larger": turned(2.0, 1.4 * SCALE),
    "smaller": turned(-2.0, 0.6 * SCALE),
}


@pytest.mark.parametrize("name", MATRICES)
@pytest.mark.parametrize("centre", [(99.5, 89.5), (100.0, 90.0), (97.13, 88.71), (101.99, 91.26)])
def test_the_darkness_has_its_centroid_at_the_truth(
    shot: Shot, name: str, centre: tuple[float, float]
) -> None:
    matrix = MATRICES[name]
    picture = shot(centre_px=PointPx(*centre), matrix_px_per_mm=matrix)
    # Between rim (0.2 mm) and the land's edge (0.5 mm) at any skew.
    found = moment_centre(picture, (99.5, 89.5), 0.33 * np.sqrt(abs(np.linalg.det(matrix))))
    assert found == pytest.approx(centre, abs=0.01)


@pytest.mark.parametrize("name", ["straight", "mirrored", "skewed"])
def test_the_bore_is_the_one_that_counting_samples_gives(shot: Shot, name: str) -> None:
    centre, matrix = (98.63, 91.2), MATRICES[name]
    picture = shot(centre_px=PointPx(*centre), matrix_px_per_mm=matrix)
    truth = cv2.GaussianBlur(
        supersampled_bore((200, 180), centre, matrix, 0.2), (0, 0), Optics().base_blur_px
    )
    around = np.abs(truth - 0.5) < 0.45
    # Linear interpolation blurs by 0 to 1/4 px^2 as its phase goes: up to 0.04 of the step.
    wrong = darkness(picture) - truth
    assert np.abs(wrong)[around].max() < 0.045
    # Radius within 0.02 px: this much of the rim's length in area.
    rim_px = 2.0 * np.sqrt(np.pi * truth.sum())
    assert abs(float(wrong[around].sum())) < 0.02 * rim_px


@pytest.mark.parametrize("defocus_mm", [-0.3, -0.1, 0.1, 0.3])
def test_a_rim_out_of_focus_keeps_its_centre(shot: Shot, defocus_mm: float) -> None:
    centre = (98.3, 90.6)
    picture = shot(centre_px=PointPx(*centre), defocus_mm=defocus_mm)
    assert moment_centre(picture, centre, 0.35 * SCALE) == pytest.approx(centre, abs=0.02)


def test_a_wide_blur_keeps_the_centre_too(shot: Shot) -> None:
    # So wide that the picture is made smaller and larger again on the way.
    picture = shot(
        centre_px=PointPx(98.3, 90.6), defocus_mm=2.0, optics=Optics(vignetting=0.0, na=0.06)
    )
    weight = darkness(picture)
    reflected = weight[::-1, ::-1]
    # Point reflection about the truth: 2 c - (size - 1) px.
    shift = (2 * 98.3 - 199.0, 2 * 90.6 - 179.0)
    move = np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]]])
    back = cv2.warpAffine(reflected, move, (200, 180), flags=cv2.INTER_CUBIC)
    assert np.abs(back - weight)[30:150, 30:170].max() < 0.01


@pytest.mark.parametrize("bayer", [False, True])
@pytest.mark.parametrize("name", ["straight", "turned", "mirrored"])
def test_a_contour_and_an_ellipse_find_the_centre_of_a_clean_picture(
    shot: Shot, name: str, bayer: bool
) -> None:
    centre = (97.4, 91.3)
    picture = shot(centre_px=PointPx(*centre), matrix_px_per_mm=MATRICES[name])
    clean = Sensor(full_well_e=1e9, read_noise_e=0.0, bayer=bayer)
    found, axes = contour_ellipse(expose(picture, clean, np.random.default_rng(0)), centre)
    # Whole-pixel contours of a finely lit rim: 0.1 px is what they can give.
    assert found == pytest.approx(centre, abs=0.1)
    assert axes[1] / axes[0] == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("tilt_rad", [(0.07, 0.0), (0.0, -0.07), (0.3, 0.2)])
def test_tilt_shortens_the_rim_about_its_true_centre(
    shot: Shot, tilt_rad: tuple[float, float]
) -> None:
    centre = (98.8, 90.1)
    picture = shot(centre_px=PointPx(*centre), tilt_rad=tilt_rad)
    found, axes = contour_ellipse(expose(picture, FLAT_SENSOR, np.random.default_rng(0)), centre)
    # The wall that comes into view at a steep tilt is darker than the land, so it only blurs.
    assert found == pytest.approx(centre, abs=0.15 if np.hypot(*tilt_rad) < 0.1 else 0.6)
    assert axes[0] / axes[1] == pytest.approx(np.cos(np.hypot(*tilt_rad)), abs=0.02)


def test_an_oval_bore_has_the_stated_axes(shot: Shot) -> None:
    tip = Tip(
        oval=Oval(axis_ratio=0.8, angle_rad=0.5),
        grain=0.0,
        stains=0.0,
        scratches=0,
        turning_marks=0.0,
        edge_break_mm=0.0,
    )
    centre = (99.1, 90.4)
    picture = shot(prepare_tip(tip, um_per_px=6.0), centre_px=PointPx(*centre))
    found, axes = contour_ellipse(expose(picture, FLAT_SENSOR, np.random.default_rng(0)), centre)
    assert found == pytest.approx(centre, abs=0.1)
    assert axes[0] / axes[1] == pytest.approx(0.8, abs=0.015)


@pytest.mark.parametrize("k1", [-0.1, 0.08])
def test_distortion_shows_the_centre_at_the_distorted_point(shot: Shot, k1: float) -> None:
    optics = Optics(k1=k1, vignetting=0.0)
    ideal = PointPx(440.0, 330.0)
    shown = distort_point(ideal, optics, (640, 480))
    picture = shot(size_px=(640, 480), centre_px=ideal, optics=optics)
    found = moment_centre(picture, shown, 0.35 * SCALE)
    plain = moment_centre(shot(size_px=(640, 480), centre_px=ideal), ideal, 0.35 * SCALE)
    assert np.hypot(*np.subtract(shown, ideal)) > 1.5
    # A disc in a bent picture has its centroid a little off its centre: take the centroid
    # of the polygon of its rim, bent point by point.
    bent = _bent_rim_centroid(ideal, optics)
    assert np.hypot(*np.subtract(bent, shown)) < 0.4
    assert found == pytest.approx(bent, abs=0.01)
    assert plain == pytest.approx(tuple(ideal), abs=0.01)


def _bent_rim_centroid(centre: PointPx, optics: Optics) -> tuple[float, float]:
    turn = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    ring = [
        distort_point(
            PointPx(centre.u + 0.2 * SCALE * np.cos(t), centre.v + 0.2 * SCALE * np.sin(t)),
            optics,
            (640, 480),
        )
        for t in turn
    ]
    u, v = np.array(ring).T
    cross = u * np.roll(v, -1) - np.roll(u, -1) * v
    area = 3.0 * cross.sum()
    return (
        float(((u + np.roll(u, -1)) * cross).sum() / area),
        float(((v + np.roll(v, -1)) * cross).sum() / area),
    )


@pytest.mark.parametrize("k1", [-0.14, -0.05, 0.0, 0.2])
def test_undistort_takes_distort_back(k1: float) -> None:
    optics = Optics(k1=k1)
    for point in (PointPx(0.0, 0.0), PointPx(639.0, 12.0), PointPx(319.5, 239.5)):
        there = distort_point(point, optics, (640, 480))
        assert undistort_point(there, optics, (640, 480)) == pytest.approx(point, abs=1e-6)


def test_a_tip_far_outside_leaves_only_background(shot: Shot, used_texture: TipTexture) -> None:
    picture = shot(used_texture, centre_px=PointPx(3000.0, -2500.0), light=Light())
    assert picture.min() > 0.0
    assert picture.max() < 0.06


@pytest.mark.parametrize(
    "centre", [(0.0, 0.0), (-60.0, 40.0), (199.4, 90.0), (120.0, 230.0), (-95.0, -95.0)]
)
def test_a_tip_cut_by_the_edge_is_the_same_tip(
    shot: Shot, used_texture: TipTexture, centre: tuple[float, float]
) -> None:
    whole = shot(
        used_texture, size_px=(600, 580), centre_px=PointPx(centre[0] + 200, centre[1] + 200)
    )
    cut = shot(used_texture, centre_px=PointPx(*centre))
    near = np.abs(cut - whole[200:380, 200:400])
    # The coarse far layer may differ by how its grid falls; bore and land may not.
    assert near.max() < 0.05
    assert float(np.median(near)) < 0.003


def test_a_drop_hides_about_the_stated_share_of_the_rim() -> None:
    for extent in (0.1, 0.25, 0.4):
        tip = Tip(drop=Drop(extent=extent, angle_rad=1.0))
        texture = prepare_tip(tip, um_per_px=4.0)
        assert texture.drop is not None
        assert _hidden_share(texture) == pytest.approx(extent, abs=0.05)


def _hidden_share(texture: TipTexture) -> float:
    drop = texture.drop
    assert drop is not None
    cover: NDArray[np.float32] = np.zeros_like(texture.bore)
    middle = cover.shape[0] // 2
    rows = slice(drop.rows.start + middle, drop.rows.stop + middle)
    columns = slice(drop.columns.start + middle, drop.columns.stop + middle)
    cover[rows, columns] = drop.cover
    phi = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    rim = 0.5 * texture.tip.bore_mm / texture.near.texel_mm
    u, v = middle + rim * np.cos(phi), middle + rim * np.sin(phi)
    return float((cover[np.rint(v).astype(int), np.rint(u).astype(int)] > 0.5).mean())


def test_even_light_is_even(shot: Shot) -> None:
    picture = shot(light=EVEN_LIGHT)
    land = picture[89, 40:60, 1]
    assert float(np.ptp(land)) < 1e-3 * float(land.mean())
