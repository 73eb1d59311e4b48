"""The focus curve against worked rows, certified fits, its bound and synthetic pictures."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.focus import (
    FocusPeak,
    FocusReason,
    FocusRefusal,
    FocusSettings,
    PeakShape,
    focus_peak,
    sharpness,
    three_point_peak,
)
from vision.geometry import PointPx

# NIST StRD, nonlinear regression, data set Eckerle4 (public domain).
ECKERLE4_X = np.concatenate(
    [np.arange(400.0, 436.0, 5.0), np.arange(436.5, 465.5, 1.5), np.arange(470.0, 501.0, 5.0)]
)
ECKERLE4_Y = np.array(
    [
        0.0001575, 0.0001699, 0.0002350, 0.0003102, 0.0004917, 0.0008710, 0.0017418, 0.0046400,
        0.0065895, 0.0097302, 0.0149002, 0.0237310, 0.0401683, 0.0712559, 0.1264458, 0.2073413,
        0.2902366, 0.3445623, 0.3698049, 0.3668534, 0.3106727, 0.2078154, 0.1164354, 0.0616764,
        0.0337200, 0.0194023, 0.0117831, 0.0074357, 0.0022732, 0.0008800, 0.0004579, 0.0002345,
        0.0001586, 0.0001143, 0.0000710,
    ]
)  # fmt: skip

GAUSS = FocusSettings(shape=PeakShape.GAUSS)


def _gauss(z: np.ndarray, peak: float, width: float, height: float, base: float) -> np.ndarray:
    return np.asarray(base + height * np.exp(-0.5 * ((z - peak) / width) ** 2))


def _lorentz(z: np.ndarray, peak: float, width: float, height: float, base: float) -> np.ndarray:
    return np.asarray(base + height / (1.0 + ((z - peak) / width) ** 2))


def _found(z: np.ndarray, f: np.ndarray, setup: FocusSettings | None = None) -> FocusPeak:
    result = focus_peak(z, f, settings=setup or FocusSettings())
    assert isinstance(result, FocusPeak), result
    return result


def _refused(z: np.ndarray, f: np.ndarray) -> FocusRefusal:
    result = focus_peak(z, f)
    assert isinstance(result, FocusRefusal), result
    assert result.message
    assert result.remedy
    return result


@pytest.mark.parametrize(
    ("z", "f", "peak", "width", "tolerance"),
    [
        # Nayar & Nakagawa 1994, three-point Gaussian; rows worked out from the formula.
        ([0.0, 0.5, 1.0], [93.210249, 96.923323, 68.194075], 0.3, 0.8, 1e-6),
        ([10.0, 12.0, 14.0], [83.90138, 99.573101, 92.032526], 12.37, 4.0, 1e-5),
        ([0.0, 1.0, 2.0], [50.0, 100.0, 80.0], 1.2564708, 1.0446802, 1e-7),
    ],
)
def test_three_points_give_the_gaussian_through_them(
    z: list[float], f: list[float], peak: float, width: float, tolerance: float
) -> None:
    assert three_point_peak(z, f) == pytest.approx((peak, width), abs=tolerance)


@given(peak=st.floats(-1.0, 1.0), width=st.floats(0.5, 3.0), gap=st.floats(0.2, 1.0))
def test_three_points_are_exact_at_any_spacing(peak: float, width: float, gap: float) -> None:
    z = np.array([-1.0, -1.0 + gap, 1.3])
    found = three_point_peak(z, _gauss(z, peak, width, 7.0, 0.0))
    assert found == pytest.approx((peak, width), abs=1e-6)


def test_three_points_that_bend_upwards_hold_no_peak() -> None:
    assert three_point_peak([0.0, 1.0, 2.0], [2.0, 1.0, 2.0]) is None
    assert three_point_peak([0.0, 1.0, 2.0], [1.0, 2.0, 4.0]) is None
    with pytest.raises(ValueError, match="positive"):
        three_point_peak([0.0, 1.0, 2.0], [0.0, 1.0, 0.5])
    with pytest.raises(ValueError, match="distinct"):
        three_point_peak([0.0, 1.0, 1.0], [1.0, 2.0, 1.0])


def test_eckerle4_reaches_the_certified_values() -> None:
    fit = _found(ECKERLE4_X, ECKERLE4_Y, FocusSettings(shape=PeakShape.GAUSS, base=0.0))
    assert fit.z_mm == pytest.approx(451.54121844, rel=1e-8)
    assert fit.width_mm == pytest.approx(4.0888321754, rel=1e-6)
    assert fit.height * fit.width_mm == pytest.approx(1.5543827178, rel=1e-6)
    assert fit.sigma_mm == pytest.approx(0.046800518816, rel=1e-4)
    assert fit.residual == pytest.approx(6.7629245447e-3, rel=1e-6)
    assert fit.dof == 32


@pytest.mark.parametrize(("width", "step"), [(1.0, 0.5), (5.0, 1.0), (2.0, 1.0)])
def test_scatter_of_the_peak_reaches_its_bound_and_is_stated(width: float, step: float) -> None:
    # Cramer-Rao bound of a sampled Gaussian: 1.0623 (sigma_F / A) sqrt(width step).
    noise, height, trials = 0.01, 1.0, 200
    bound = 1.0623 * noise / height * math.sqrt(width * step)
    z = np.arange(-5.0 * width, 5.0 * width + step / 2.0, step)
    rng = np.random.default_rng(11)
    misses, stated = [], []
    for _ in range(trials):
        peak = float(rng.uniform(-step / 2.0, step / 2.0))
        fit = _found(z, _gauss(z, peak, width, height, 0.2) + rng.normal(0, noise, len(z)), GAUSS)
        misses.append(fit.z_mm - peak)
        stated.append(fit.sigma_mm)
    # The sample's own sd is 4 % of it.
    assert np.std(misses) == pytest.approx(bound, rel=0.15)
    assert np.sqrt(np.mean(np.square(stated))) == pytest.approx(bound, rel=0.05)


@given(
    peak=st.floats(-0.25, 0.25),
    width=st.floats(0.08, 0.3),
    height=st.floats(1e-6, 1e4),
    base=st.floats(0.0, 2.0),
    offset=st.floats(-50.0, 300.0),
    shape=st.sampled_from(list(PeakShape)),
)
@settings(max_examples=60, deadline=None)
def test_any_clean_curve_comes_back(
    peak: float, width: float, height: float, base: float, offset: float, shape: PeakShape
) -> None:
    z = offset + np.linspace(-0.5, 0.5, 11)
    curve = _gauss if shape is PeakShape.GAUSS else _lorentz
    row = curve(z, offset + peak, width, height, base * height)
    fit = _found(z, row, FocusSettings(shape=shape))
    assert fit.z_mm == pytest.approx(offset + peak, abs=1e-6)
    assert fit.width_mm == pytest.approx(width, rel=1e-4)


def test_order_of_the_heights_and_unit_of_the_sharpness_do_not_matter() -> None:
    rng = np.random.default_rng(2)
    z = np.linspace(1.0, 2.0, 13)
    f = _lorentz(z, 1.43, 0.15, 1.0, 0.1) + rng.normal(0, 0.01, 13)
    order = rng.permutation(13)
    one, other = _found(z, f), _found(z[order], 1e5 * f[order])
    assert other.z_mm == pytest.approx(one.z_mm, abs=1e-9)
    assert other.sigma_mm == pytest.approx(one.sigma_mm, rel=1e-5)


def test_a_peak_at_an_end_says_which_way_to_shift() -> None:
    z = np.linspace(0.0, 1.0, 11)
    for peak, towards, word in ((1.2, 1, "upper"), (1.0, 1, "upper"), (-0.1, -1, "lower")):
        refusal = _refused(z, _lorentz(z, peak, 0.2, 1.0, 0.0))
        assert refusal.reason is FocusReason.AT_END
        assert refusal.towards == towards
        assert word in refusal.message


def test_a_straight_slope_lies_beyond_its_end() -> None:
    z = np.linspace(0.0, 1.0, 11)
    assert _refused(z, 1.0 + z).towards == 1
    assert _refused(z, 2.0 - z).towards == -1


def test_too_few_heights_are_refused() -> None:
    z = np.array([0.0, 0.0, 0.1, 0.2, 0.2, 0.3, 0.4])
    refusal = _refused(z, _lorentz(z, 0.2, 0.1, 1.0, 0.0))
    assert refusal.reason is FocusReason.TOO_FEW


def test_flat_and_noisy_sweeps_are_refused() -> None:
    z = np.linspace(0.0, 1.0, 11)
    assert _refused(z, np.full(11, 3.0)).reason is FocusReason.FLAT
    rng = np.random.default_rng(5)
    refused = [
        isinstance(focus_peak(z, 1.0 + rng.normal(0, 0.05, 11)), FocusRefusal) for _ in range(100)
    ]
    assert np.mean(refused) > 0.95


def test_numbers_that_are_none_are_refused_and_shapes_checked() -> None:
    z = np.linspace(0.0, 1.0, 11)
    f = _lorentz(z, 0.5, 0.1, 1.0, 0.0)
    f[3] = math.nan
    assert _refused(z, f).reason is FocusReason.NOT_FINITE
    with pytest.raises(ValueError, match="one length"):
        focus_peak(z, f[:5])


def _tip(blur_px: float, *, seed: int = 1) -> np.ndarray:
    """A bright land with a dark bore, blurred, with noise: enough for a measure of sharpness."""
    v, u = np.mgrid[0:160, 0:200]
    radius = np.hypot(u - 100.0, v - 80.0)
    scene = np.where((radius > 25.0) & (radius < 60.0), 180.0, 40.0).astype(np.float32)
    soft = cv2.GaussianBlur(scene, (0, 0), math.hypot(0.8, blur_px))
    noise = np.random.default_rng(seed).normal(0.0, 2.0, soft.shape)
    return np.asarray(np.clip(soft + noise, 0, 255).round(), dtype=np.uint8)


def test_sharpness_falls_with_blur() -> None:
    row = [
        sharpness(_tip(blur), centre_px=PointPx(100.0, 80.0), radius_px=40.0)
        for blur in (0.0, 0.5, 1.0, 2.0, 4.0)
    ]
    assert row == sorted(row, reverse=True)
    assert row[0] > 3.0 * row[-1]


def test_sharpness_does_not_hang_on_depth_colour_or_memory() -> None:
    grey = _tip(1.0)
    value = sharpness(grey)
    assert sharpness(grey.astype(np.uint16) * np.uint16(257)) == pytest.approx(value, rel=1e-5)
    assert sharpness(np.dstack([grey] * 3)) == pytest.approx(value, rel=1e-3)
    wide = np.zeros((320, 400), dtype=np.uint8)
    wide[::2, ::2] = grey
    assert sharpness(wide[::2, ::2]) == pytest.approx(value, rel=1e-12)
    # Turned by a quarter, the same picture is as sharp.
    assert sharpness(np.rot90(grey)) == pytest.approx(value, rel=1e-5)


def test_what_lies_outside_of_the_window_does_not_count() -> None:
    picture = _tip(1.0)
    centre, radius = PointPx(100.0, 80.0), 40.0
    value = sharpness(picture, centre_px=centre, radius_px=radius)
    picture[:20, :40] = 255
    assert sharpness(picture, centre_px=centre, radius_px=radius) == value


def test_a_window_at_the_edge_is_cut_and_one_outside_refused() -> None:
    picture = _tip(1.0)
    assert sharpness(picture, centre_px=PointPx(0.0, 0.0), radius_px=30.0) >= 0.0
    with pytest.raises(ValueError, match="outside"):
        sharpness(picture, centre_px=PointPx(-90.0, 10.0), radius_px=30.0)
    with pytest.raises(ValueError, match="outside"):
        sharpness(picture, centre_px=PointPx(10.0, 900.0), radius_px=30.0)


def test_what_is_no_picture_is_named() -> None:
    with pytest.raises(ValueError, match="uint8 or uint16"):
        sharpness(np.zeros((4, 4)))  # type: ignore[arg-type]  # the mistake under test
    with pytest.raises(ValueError, match="shape"):
        sharpness(np.zeros((4, 4, 4), dtype=np.uint8))
    with pytest.raises(ValueError, match="belong together"):
        sharpness(_tip(1.0), radius_px=3.0)
    with pytest.raises(ValueError, match="radius_px"):
        sharpness(_tip(1.0), centre_px=PointPx(5.0, 5.0), radius_px=0.0)
    with pytest.raises(ValueError, match="centre_px"):
        sharpness(_tip(1.0), centre_px=PointPx(math.nan, 5.0), radius_px=3.0)


def test_a_sweep_of_pictures_finds_the_focus_within_micrometres() -> None:
    # NA 0.06 and 6 um/px: the blur grows by some 3 px for each 0.3 mm off the focus.
    z = np.linspace(-0.35, 0.35, 11)
    misses = []
    for trial in range(8):
        focus = -0.04 + 0.01 * trial
        row = [
            sharpness(
                _tip(abs(height - focus) * 10.0, seed=100 * trial + i),
                centre_px=PointPx(100.0, 80.0),
                radius_px=45.0,
            )
            for i, height in enumerate(z)
        ]
        misses.append(1e3 * (_found(z, np.array(row)).z_mm - focus))
    # Published anchors for such sweeps: 0.7 to 1.8 um with a Lorentz fit.
    assert np.sqrt(np.mean(np.square(misses))) < 3.0
