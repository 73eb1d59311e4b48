from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.measure import CircleModel

from vision.geometry import CircleFit, FitReason, FitRefusal, fit_circle

# Gander, Golub & Strebel 1994, BIT 34, 558-578.
GGS6 = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], dtype=np.float64)
# Pratt 1987, Computer Graphics 21, 145-152.
PRATT4 = np.array([(-1, 0), (-0.3, -0.06), (0.3, 0.1), (1, 0)])
# Coope 1993, J. Optim. Theory Appl. 76, 381-388.
COOPE8 = np.array(
    [
        (0.7, 4.0),
        (3.3, 4.7),
        (5.6, 4.0),
        (7.5, 1.3),
        (6.4, -1.1),
        (4.4, -3.0),
        (0.3, -2.5),
        (-1.1, 1.3),
    ]
)


def fitted(points: np.ndarray, **options: object) -> CircleFit:
    fit = fit_circle(points, **options)  # type: ignore[arg-type]  # handed on as they are
    assert isinstance(fit, CircleFit)
    return fit


def ring(
    count: int,
    *,
    arc_rad: float = 2 * np.pi,
    centre: tuple[float, float] = (0.0, 0.0),
    radius: float = 1.0,
) -> np.ndarray:
    t = (np.arange(count) + 0.5) / count * arc_rad - arc_rad / 2
    return np.column_stack([centre[0] + radius * np.cos(t), centre[1] + radius * np.sin(t)])


def test_gander_golub_strebel_six_points_give_the_printed_circle() -> None:
    fit = fitted(GGS6)
    assert fit.centre_px == pytest.approx((4.7397824, 2.9835327), abs=1e-6)
    assert fit.radius_px == pytest.approx(4.7142260, abs=1e-6)
    assert float((fit.residuals_px**2).sum()) == pytest.approx(1.22759908, abs=1e-7)


def test_covariance_of_the_six_points_is_that_of_the_linearised_problem() -> None:
    # Computed once with SciPy from the Jacobian of the distances; divisor n - 3.
    fit = fitted(GGS6)
    sd = np.sqrt(np.diag(fit.covariance_px2))
    assert fit.sigma_px == pytest.approx(0.6396872, abs=1e-6)
    assert sd == pytest.approx([0.4775931, 1.5429129, 1.2243191], abs=1e-5)
    assert fit.covariance_px2[1, 2] / (sd[1] * sd[2]) == pytest.approx(-0.97682, abs=1e-5)


def test_a_shallow_arc_is_not_taken_for_a_small_circle() -> None:
    # The plain algebraic fit gives a radius of 1.04 here. Where the gradient of the sum of
    # squares is zero, computed once by Newton's method with 50 digits; the objective is so
    # flat that a search which looks at its height alone stops some 0.0006 away.
    fit = fitted(PRATT4)
    assert fit.centre_px == pytest.approx((0.4993327258, -22.5353396750), rel=1e-6)
    assert fit.radius_px == pytest.approx(22.5629572619, rel=1e-6)


def test_coope_eight_points_give_the_printed_circle() -> None:
    fit = fitted(COOPE8)
    assert fit.centre_px == pytest.approx((3.0432383, 0.7456783), abs=1e-6)
    assert fit.radius_px == pytest.approx(4.1058558, abs=1e-6)
    assert float((fit.residuals_px**2).sum()) == pytest.approx(0.29594844, abs=1e-7)


@pytest.mark.parametrize(
    ("arc_deg", "along", "across", "radius"),
    # Cramer-Rao factors of sigma / sqrt(N), from the information of points on an arc.
    [(360, 1.4142, 1.4142, 1.0), (180, 3.2493, 1.4142, 2.2976), (90, 11.366, 2.3460, 10.282)],
)
def test_scatter_of_the_fit_meets_the_cramer_rao_bound(
    arc_deg: float, along: float, across: float, radius: float
) -> None:
    rng = np.random.default_rng(7)
    count, sigma, trials = 200, 1e-4, 400
    points = ring(count, arc_rad=np.radians(arc_deg))
    found = []
    for _ in range(trials):
        fit = fitted(points * (1.0 + rng.normal(0, sigma, (count, 1))))
        found.append([*fit.centre_px, fit.radius_px])
    sd = np.std(found, axis=0) * np.sqrt(count) / sigma
    # 400 trials determine a standard deviation to 3.5 %: three of those.
    assert sd == pytest.approx([along, across, radius], rel=0.11)


@pytest.mark.parametrize(
    ("arc_deg", "along", "across", "radius"),
    [
        (360, 1.4142, 1.4142, 1.0000),
        (270, 1.8142, 1.2845, 1.1386),
        (180, 3.2493, 1.4142, 2.2976),
        (120, 6.6183, 1.8466, 5.5639),
        (90, 11.366, 2.3460, 10.282),
        (60, 24.953, 3.4000, 23.849),
        (45, 43.982, 4.4792, 42.872),
        (30, 98.355, 6.6615, 97.240),
    ],
)
def test_the_covariance_of_an_arc_is_the_cramer_rao_bound(
    arc_deg: float, along: float, across: float, radius: float
) -> None:
    # Factors of sigma / sqrt(N) for many points, from the information of points on an arc.
    count, rng = 4000, np.random.default_rng(1)
    points = ring(count, arc_rad=np.radians(arc_deg))
    fit = fitted(points * (1.0 + rng.normal(0, 1e-6, (count, 1))))
    sd = np.sqrt(np.diag(fit.covariance_px2) * count) / fit.sigma_px
    assert sd == pytest.approx([along, across, radius], rel=5e-5)


def test_radii_of_half_circles_are_those_of_the_published_geometric_fit() -> None:
    # Al-Sharadqah & Chernov 2009, Electron. J. Statist. 3, 886-911, section 9 (from memory):
    # 100 points on a half circle of radius 1, sigma 0.05 both ways. The mean square error of a
    # geometric fit is 1.2952e-4; its bias sigma^2 / 2R, half that of Taubin's fit.
    rng, sigma = np.random.default_rng(2), 0.05
    points = ring(100, arc_rad=np.pi)
    off = np.array(
        [fitted(points + rng.normal(0, sigma, points.shape)).radius_px - 1.0 for _ in range(800)]
    )
    # 800 fits determine the mean to 0.0004 and the mean square to 5 %.
    assert off.mean() == pytest.approx(sigma**2 / 2, abs=0.0009)
    assert np.mean(off**2) == pytest.approx(1.2952e-4, rel=0.15)


def test_a_short_arc_does_not_draw_the_centre_to_itself() -> None:
    # The plain algebraic fit moves the centre by 0.045 of the radius here, towards the arc.
    rng = np.random.default_rng(2)
    points = ring(400, arc_rad=np.radians(45))
    off = [fitted(points + rng.normal(0, 0.005, points.shape)).centre_px.u for _ in range(40)]
    # One fit scatters by 0.011 (see the factors above).
    assert np.mean(off) == pytest.approx(0.0, abs=0.006)


def test_clean_points_give_what_scikit_image_gives() -> None:
    rng = np.random.default_rng(3)
    points = ring(100, centre=(50, 40), radius=30) + rng.normal(0, 0.05, (100, 2))
    theirs = CircleModel.from_estimate(points)  # type: ignore[no-untyped-call]  # brings no types
    # Theirs is algebraic: the two differ by sigma^2 / R.
    assert fitted(points).centre_px == pytest.approx(tuple(theirs.center), abs=1e-3)
    assert fitted(points).radius_px == pytest.approx(theirs.radius, abs=1e-3)


@given(
    u=st.floats(-1e4, 1e4), v=st.floats(-1e4, 1e4), scale=st.floats(0.01, 1e3), turn=st.floats(0, 6)
)
def test_the_circle_moves_turns_and_grows_with_its_points(
    u: float, v: float, scale: float, turn: float
) -> None:
    cos, sin = np.cos(turn), np.sin(turn)
    matrix = scale * np.array([[cos, -sin], [sin, cos]])
    before, after = fitted(COOPE8), fitted(COOPE8 @ matrix.T + [u, v])
    expected = matrix @ np.array(before.centre_px) + [u, v]
    assert after.centre_px == pytest.approx(tuple(expected), abs=1e-6 * scale + 1e-8)
    assert after.radius_px == pytest.approx(before.radius_px * scale, rel=1e-6)


def test_a_robust_loss_keeps_outliers_out() -> None:
    rng = np.random.default_rng(5)
    points = ring(100, centre=(10, 20), radius=30) + rng.normal(0, 0.05, (100, 2))
    points[:15] += 6.0
    for loss in ("huber", "tukey"):
        fit = fitted(points, loss=loss)
        limit = 0.2 if loss == "huber" else 0.03
        assert np.hypot(fit.centre_px.u - 10, fit.centre_px.v - 20) < limit
    assert np.hypot(*(np.array(fitted(points).centre_px) - [10, 20])) > 0.5


def test_a_point_of_weight_zero_does_not_count() -> None:
    with_outlier = np.vstack([COOPE8, [100.0, 100.0]])
    fit = fitted(with_outlier, weights=np.array([1.0] * 8 + [0.0]))
    assert fit.centre_px == pytest.approx(fitted(COOPE8).centre_px, abs=1e-9)


def test_points_on_a_line_and_too_few_points_are_refused() -> None:
    line = fit_circle([(0, 0), (1, 1), (2, 2), (5, 5)])
    few = fit_circle([(0, 0), (1, 1)])
    same = fit_circle([(3, 3)] * 4)
    assert isinstance(line, FitRefusal)
    assert line.reason is FitReason.COLLINEAR
    assert isinstance(few, FitRefusal)
    assert few.reason is FitReason.TOO_FEW
    assert isinstance(same, FitRefusal)
    assert same.reason is FitReason.COLLINEAR


def test_wrong_shapes_are_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match="points must have shape"):
        fit_circle([1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="points must be finite"):
        fit_circle([(0, 0), (1, np.nan), (2, 1)])
    with pytest.raises(ValueError, match="weights must have shape"):
        fit_circle(COOPE8, weights=[1.0])


def test_flat_points_get_the_circle_on_the_lower_side() -> None:
    # Chernov 2010, "Circular and Linear Regression", section 5.13: algebraic fits
    # land on the other side.
    fit = fitted(np.array([(0, 2), (1, -1.001), (-1, -1.001), (10, 0.001), (-10, 0.001)]))
    assert fit.centre_px.u == pytest.approx(0.0, abs=1e-3)
    assert fit.centre_px.v == pytest.approx(-3283.290, rel=1e-5)
    assert fit.radius_px == pytest.approx(3283.296, rel=1e-5)
    assert np.sqrt(np.mean(fit.residuals_px**2)) == pytest.approx(1.0957855, abs=1e-6)
