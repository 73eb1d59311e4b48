"""The pixel scale is right, its covariance is true, and it comes back from any camera."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.transform import AffineTransform, EuclideanTransform, SimilarityTransform

from tests.vision.pixel_scale.made_jogs import (
    GRID9,
    PENTAGON5,
    SIGMA_MM,
    START_MM,
    learnt,
    matrix,
    seen,
    sightings,
)
from vision.geometry import CovMm2, CovPx2, PointMm, PointPx
from vision.pixel_scale import JogSighting, PixelScale, ScaleRefusal, learn_scale
from vision.uncertainty import coverage_factor


def _exact(M: np.ndarray) -> PixelScale:
    read = START_MM + GRID9
    return learnt(read, seen(read, M, None))


def test_an_affine_map_decomposes_as_worked_out() -> None:
    scale = _exact(np.array([[98.0, 3.0], [-2.5, -101.0]]))
    assert np.linalg.det(scale.matrix_px_per_mm) == pytest.approx(-9890.5)
    assert scale.mirrored
    assert scale.axis_px_per_mm == pytest.approx((98.0319, 101.0445), abs=5e-5)
    assert scale.rotation_deg == pytest.approx(-1.4613, abs=5e-5)
    assert scale.skew_deg == pytest.approx(3.1627, abs=5e-5)
    assert scale.um_per_px == pytest.approx(1000.0 / math.sqrt(9890.5))
    x_px, y_px = PointPx(1.0, 0.0), PointPx(0.0, 1.0)
    assert scale.to_mm(x_px) == pytest.approx((0.01021182, -0.00025277), abs=5e-9)
    assert scale.to_mm(y_px) == pytest.approx((0.00030332, -0.00990850), abs=5e-9)


def test_sd_of_the_matrix_is_that_of_a_grid() -> None:
    # 3 x 3 grid of step d: sd of each entry = sigma / (d sqrt 6): 0.0408 px/mm here.
    read = START_MM + 0.5 * GRID9
    scale = learnt(read, seen(read, matrix(10.0), None), sigma_mm=0.0)
    u = np.sqrt(np.diag(scale.covariance_px2_per_mm2))
    np.testing.assert_allclose(u, 0.05 / (0.5 * math.sqrt(6.0)), rtol=1e-4)
    np.testing.assert_allclose(u, 0.0408, atol=5e-5)


@given(
    um_per_px=st.floats(2.5, 12.0),
    turn=st.floats(-180.0, 180.0),
    skew=st.floats(-10.0, 10.0),
    flip=st.booleans(),
    step=st.tuples(st.floats(-300.0, 300.0), st.floats(-300.0, 300.0)),
)
@settings(max_examples=60, deadline=None)
def test_any_camera_comes_back(
    um_per_px: float, turn: float, skew: float, flip: bool, step: tuple[float, float]
) -> None:
    M = matrix(um_per_px, turn_deg=turn, skew_deg=skew, flip=flip)
    scale = _exact(M)
    np.testing.assert_allclose(scale.matrix_px_per_mm, M, atol=1e-8)
    assert scale.mirrored is flip
    assert math.remainder(scale.rotation_deg - turn, 360.0) == pytest.approx(0.0, abs=1e-6)
    assert abs(scale.skew_deg) == pytest.approx(abs(skew), abs=1e-5)
    back = scale.to_px(scale.to_mm(PointPx(*step)))
    assert back == pytest.approx(step, abs=1e-8)
    np.testing.assert_allclose(scale.residuals_um, 0.0, atol=1e-6)


def test_an_unmirrored_camera_that_looks_up_has_a_positive_determinant() -> None:
    # u right, v down; seen from below, +X right and +Y down.
    assert not _exact(np.diag([160.0, 160.0])).mirrored
    assert _exact(np.diag([160.0, -160.0])).mirrored


def test_equal_weights_agree_with_numpy_and_scikit_image() -> None:
    rng = np.random.default_rng(2)
    read = START_MM + GRID9
    centres = seen(read, matrix(skew_deg=2.0), rng)
    scale = learnt(read, centres)
    design = np.column_stack([np.ones(9), read - START_MM])
    by_numpy = np.linalg.lstsq(design, centres)[0][1:].T
    np.testing.assert_allclose(scale.matrix_px_per_mm, by_numpy, rtol=1e-9, atol=1e-9)
    by_skimage = AffineTransform.from_estimate(read - START_MM, centres)  # type: ignore[no-untyped-call]  # brings no types
    # Its cost is algebraic and homogeneous, so it agrees to the noise only squared.
    np.testing.assert_allclose(
        scale.matrix_px_per_mm, by_skimage.params[:2, :2], rtol=1e-3, atol=0.05
    )


def test_a_turned_and_scaled_camera_agrees_with_narrower_models() -> None:
    read = START_MM + PENTAGON5
    centres = seen(read, matrix(6.0, turn_deg=31.0), None)
    scale = learnt(read, centres)
    similar = SimilarityTransform.from_estimate(read - START_MM, centres)
    assert scale.um_per_px == pytest.approx(1000.0 / similar.scale, rel=1e-9)
    assert scale.rotation_deg == pytest.approx(math.degrees(similar.rotation), abs=1e-9)
    rigid = EuclideanTransform.from_estimate((read - START_MM) * 1000.0 / 6.0, centres)
    assert scale.rotation_deg == pytest.approx(math.degrees(rigid.rotation), abs=1e-9)


def test_unequal_covariances_give_the_generalised_least_squares() -> None:
    rng = np.random.default_rng(3)
    read = START_MM + PENTAGON5
    M = matrix(6.0, turn_deg=20.0)
    centres = seen(read, M, rng)
    covs = [CovPx2(0.04 * (i + 1), 0.01, 0.3) for i in range(5)]
    jogs = [
        JogSighting(
            position_mm=PointMm(*map(float, r)), centre_px=PointPx(*map(float, c)), cov_px2=v
        )
        for r, c, v in zip(read, centres, covs, strict=True)
    ]
    position = CovMm2(3e-5, 1e-5, 2e-5)
    scale = learn_scale(jogs, position_cov_mm2=position)
    assert isinstance(scale, PixelScale)
    # The same by normal equations, weights taken at the answer.
    N, right = np.zeros((6, 6)), np.zeros(6)
    at = scale.matrix_px_per_mm
    for r, c, v in zip(read, centres, covs, strict=True):
        offset = r - START_MM
        rows = np.array([[1.0, 0, *offset, 0, 0], [0, 1.0, 0, 0, *offset]])
        weight = np.linalg.inv(v.matrix() + at @ position.matrix() @ at.T)
        N += rows.T @ weight @ rows
        right += rows.T @ weight @ c
    np.testing.assert_allclose(at.ravel(), np.linalg.solve(N, right)[2:], rtol=1e-6, atol=1e-6)
    expected = np.linalg.inv(N)[2:, 2:] * (scale.chi2 / 4.0 if scale.widened else 1.0)
    np.testing.assert_allclose(scale.covariance_px2_per_mm2, expected, rtol=1e-5)


@pytest.mark.parametrize(("layout", "name"), [(PENTAGON5, "five"), (GRID9, "nine")])
def test_the_covariance_covers_the_truth(layout: np.ndarray, name: str) -> None:
    # Seeded; 95.45 % intervals of 4 entries in 250 runs, sd of the share about 0.8 %.
    rng = np.random.default_rng(len(name))
    M = matrix(5.0, turn_deg=12.0, skew_deg=1.0)
    read = START_MM + layout
    inside = []
    for _ in range(250):
        scale = learnt(read, seen(read, M, rng))
        u = np.sqrt(np.diag(scale.covariance_px2_per_mm2))
        inside.append(np.abs(scale.matrix_px_per_mm - M).ravel() < coverage_factor(scale.dof) * u)
    assert np.mean(inside) == pytest.approx(0.9545, abs=0.025)


def test_a_machine_worse_than_stated_is_noticed_and_widens_the_result() -> None:
    rng = np.random.default_rng(6)
    M = matrix(5.0)
    read = START_MM + GRID9
    widened, inside = [], []
    for _ in range(150):
        scale = learnt(read, seen(read, M, rng, sigma_mm=0.012), sigma_mm=0.004)
        widened.append(scale.widened)
        assert scale.dof == (12.0 if scale.widened else math.inf)
        u = np.sqrt(np.diag(scale.covariance_px2_per_mm2))
        inside.append(np.abs(scale.matrix_px_per_mm - M).ravel() < coverage_factor(scale.dof) * u)
    assert np.mean(widened) > 0.99
    assert np.mean(inside) == pytest.approx(0.9545, abs=0.03)


def test_a_machine_as_stated_is_rarely_accused() -> None:
    rng = np.random.default_rng(7)
    read = START_MM + GRID9
    scales = [learnt(read, seen(read, matrix(), rng)) for _ in range(250)]
    assert np.mean([scale.widened for scale in scales]) == pytest.approx(0.05, abs=0.04)
    assert not any(scale.doubtful for scale in scales)


def test_residuals_are_what_the_picture_says_minus_what_was_entered() -> None:
    read = START_MM + GRID9
    moved = read.copy()
    moved[4, 0] += 0.018
    scale = learnt(read, seen(moved, matrix(6.0, turn_deg=90.0), None))
    # The centre of the grid has leverage 1/9.
    assert scale.residuals_um[4] == pytest.approx([18.0 * 8.0 / 9.0, 0.0], abs=0.01)
    rms = np.sqrt(np.mean(scale.residuals_um**2, axis=0))
    assert scale.rms_um == pytest.approx(tuple(rms))


def test_the_jacobian_is_the_derivative_and_gives_the_step_covariance() -> None:
    read = START_MM + PENTAGON5
    scale = learnt(read, seen(read, matrix(skew_deg=3.0), np.random.default_rng(1)))
    step = PointPx(70.0, -45.0)
    jacobian = scale.scale_jacobian_mm(step)
    for entry in range(4):
        tweak = np.zeros(4)
        tweak[entry] = 1e-4
        high = np.linalg.solve(scale.matrix_px_per_mm + tweak.reshape(2, 2), step)
        low = np.linalg.solve(scale.matrix_px_per_mm - tweak.reshape(2, 2), step)
        np.testing.assert_allclose(jacobian[:, entry], (high - low) / 2e-4, rtol=1e-6)
    expected = jacobian @ scale.covariance_px2_per_mm2 @ jacobian.T
    np.testing.assert_allclose(scale.step_cov_mm2(step).matrix(), expected, rtol=1e-9)


def test_the_scale_contributes_half_a_micrometre_at_a_third_of_a_millimetre() -> None:
    # Known figure: nine points over +-1 mm, 5 um of machine noise: .15 to .2 % of scale.
    read = START_MM + GRID9
    scale = learnt(read, seen(read, matrix(), None))
    step = scale.to_px(PointMm(0.3, 0.0))
    assert 1e3 * math.sqrt(scale.step_cov_mm2(step).xx) == pytest.approx(0.62, abs=0.05)
    assert scale.relative_u == pytest.approx((SIGMA_MM / math.sqrt(6.0),) * 2, rel=0.01)


@given(order=st.permutations(range(5)))
@settings(max_examples=20, deadline=None)
def test_the_order_of_the_jogs_does_not_matter(order: list[int]) -> None:
    read = START_MM + PENTAGON5
    centres = seen(read, matrix(), np.random.default_rng(9))
    one, other = learnt(read, centres), learnt(read[order], centres[order])
    np.testing.assert_allclose(other.matrix_px_per_mm, one.matrix_px_per_mm, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(other.covariance_px2_per_mm2, one.covariance_px2_per_mm2, rtol=1e-6)
    np.testing.assert_allclose(other.residuals_um, one.residuals_um[order], atol=1e-6)


def test_far_from_the_machine_s_zero_nothing_is_lost() -> None:
    M = matrix()
    near = START_MM + PENTAGON5
    centres = seen(near, M, np.random.default_rng(4))
    one, other = learnt(near, centres), learnt(near + 1e5, centres)
    np.testing.assert_allclose(other.matrix_px_per_mm, one.matrix_px_per_mm, rtol=1e-8, atol=1e-6)


def test_three_jogs_give_a_scale_without_a_check() -> None:
    read = START_MM + PENTAGON5[:3]
    scale = learnt(read, seen(read, matrix(), np.random.default_rng(5)))
    assert not scale.widened
    assert scale.doubtful == ()
    np.testing.assert_allclose(scale.residuals_um, 0.0, atol=1e-6)


def test_perfect_centres_and_positions_do_no_harm() -> None:
    read = START_MM + PENTAGON5
    jogs = sightings(read, seen(read, matrix(), None), sigma_px=0.0)
    assert isinstance(learn_scale(jogs, position_cov_mm2=CovMm2(0.0, 0.0, 0.0)), PixelScale)


def test_arrays_of_the_scale_are_read_only() -> None:
    scale = _exact(matrix())
    for array in (scale.matrix_px_per_mm, scale.covariance_px2_per_mm2, scale.residuals_um):
        assert not array.flags.writeable


def test_what_is_no_covariance_is_a_caller_s_mistake() -> None:
    read = START_MM + PENTAGON5
    centres = seen(read, matrix(), None)
    with pytest.raises(ValueError, match="position_cov_mm2"):
        learn_scale(sightings(read, centres), position_cov_mm2=CovMm2(-1.0, 0.0, 1.0))
    jogs = sightings(read, centres)
    jogs[2] = JogSighting(
        position_mm=jogs[2].position_mm, centre_px=jogs[2].centre_px, cov_px2=CovPx2(1.0, 2.0, 1.0)
    )
    result: PixelScale | ScaleRefusal | None = None
    with pytest.raises(ValueError, match="cov_px2"):
        result = learn_scale(jogs, position_cov_mm2=CovMm2(1e-6, 0.0, 1e-6))
    assert result is None
