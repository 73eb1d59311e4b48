from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.geometry import EllipseFit, FitReason, FitRefusal, fit_ellipse

# Gander, Golub & Strebel 1994, BIT 34, 558-578.
GGS8 = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7), (6, 2), (8, 4)], dtype=np.float64)


def fitted(points: np.ndarray, **options: object) -> EllipseFit:
    fit = fit_ellipse(points, **options)  # type: ignore[arg-type]  # handed on as they are
    assert isinstance(fit, EllipseFit)
    return fit


def oval(count: int, a: float, b: float, turn: float, u: float, v: float) -> np.ndarray:
    t = np.arange(count) * 2 * np.pi / count
    x, y = a * np.cos(t), b * np.sin(t)
    return np.column_stack(
        [u + x * np.cos(turn) - y * np.sin(turn), v + x * np.sin(turn) + y * np.cos(turn)]
    )


def test_gander_golub_strebel_eight_points_give_the_printed_ellipse() -> None:
    fit = fitted(GGS8)
    assert fit.centre_px == pytest.approx((2.699613, 3.815957), abs=1e-5)
    assert fit.semi_axes_px == pytest.approx((6.518722, 3.031886), abs=1e-5)
    assert fit.angle_rad == pytest.approx(0.3596243, abs=1e-5)
    assert float((fit.residuals_px**2).sum()) == pytest.approx(1.3733055, abs=1e-6)


@pytest.mark.parametrize(
    ("turn", "u", "v", "scale"), [(0.0, 300.0, -200.0, 1.0), (2.0, 7.0, 5.0, 8.0)]
)
def test_the_ellipse_of_the_eight_points_moves_turns_and_grows_with_them(
    turn: float, u: float, v: float, scale: float
) -> None:
    cos, sin = np.cos(turn), np.sin(turn)
    matrix = scale * np.array([[cos, -sin], [sin, cos]])
    fit = fitted((GGS8 @ matrix.T + [u, v])[::-1])
    expected = matrix @ np.array([2.699613, 3.815957]) + [u, v]
    assert fit.centre_px == pytest.approx(tuple(expected), abs=1e-5 * scale)
    assert fit.semi_axes_px == pytest.approx((6.518722 * scale, 3.031886 * scale), abs=1e-5 * scale)
    # A direction, not an arrow.
    off = fit.angle_rad - 0.3596243 - turn
    assert np.sin(off) == pytest.approx(0.0, abs=1e-5)


def test_the_flat_optimum_of_the_eight_points_has_a_wide_covariance() -> None:
    # Linearised problem, computed once with SciPy: 7.3 and 3.6 units.
    sd = np.sqrt(np.diag(fitted(GGS8).covariance_px2))
    assert sd == pytest.approx([7.3, 3.6], abs=0.05)


def test_points_on_an_ellipse_give_it_back() -> None:
    fit = fitted(oval(60, 34.0, 31.0, 0.7, 320.25, 240.75))
    assert fit.centre_px == pytest.approx((320.25, 240.75), abs=1e-8)
    assert fit.semi_axes_px == pytest.approx((34.0, 31.0), abs=1e-8)
    assert fit.angle_rad == pytest.approx(0.7, abs=1e-8)


def test_a_circle_is_an_ellipse_of_any_direction() -> None:
    fit = fitted(oval(60, 34.0, 34.0, 0.0, 1.0, 2.0))
    assert fit.centre_px == pytest.approx((1.0, 2.0), abs=1e-8)
    assert fit.semi_axes_px == pytest.approx((34.0, 34.0), abs=1e-8)


def test_clean_points_give_what_opencv_gives() -> None:
    rng = np.random.default_rng(3)
    points = oval(200, 40.0, 36.0, 0.4, 100.0, 90.0) + rng.normal(0, 0.02, (200, 2))
    centre, _, _ = cv2.fitEllipse(points.astype(np.float32))
    # Theirs is algebraic and in single precision.
    assert fitted(points).centre_px == pytest.approx(tuple(centre), abs=5e-3)


def test_covariance_covers_the_scatter_of_the_centre() -> None:
    rng = np.random.default_rng(11)
    clean = oval(80, 40.0, 36.0, 0.4, 0.0, 0.0)
    fits = [fitted(clean + rng.normal(0, 0.05, clean.shape)) for _ in range(80)]
    scatter = np.std([fit.centre_px for fit in fits], axis=0)
    claimed = np.sqrt(np.mean([np.diag(fit.covariance_px2) for fit in fits], axis=0))
    # 80 trials determine a standard deviation to 8 %: three of those.
    assert scatter == pytest.approx(claimed, rel=0.25)


def test_a_robust_loss_keeps_outliers_out() -> None:
    rng = np.random.default_rng(5)
    points = oval(120, 40.0, 36.0, 0.4, 10.0, 20.0) + rng.normal(0, 0.05, (120, 2))
    points[::9] += 5.0
    fit = fitted(points, loss="tukey")
    assert np.hypot(fit.centre_px.u - 10, fit.centre_px.v - 20) < 0.05


def test_points_on_a_line_and_too_few_points_are_refused() -> None:
    line = fit_ellipse([(t, 2 * t) for t in range(8)])
    few = fit_ellipse([(0, 0), (1, 0), (1, 1), (0, 1)])
    assert isinstance(line, FitRefusal)
    assert line.reason is FitReason.COLLINEAR
    assert isinstance(few, FitRefusal)
    assert few.reason is FitReason.TOO_FEW
