from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.bore.pictures import Scene, take
from vision.bore import (
    BoreFit,
    BoreRefusal,
    BurstFit,
    Reason,
    combine_burst,
    find_bore,
    fit_burst,
)
from vision.geometry import CovPx2, PointPx


def fit_at(u: float, v: float, temporal: float = 1e-4, static: float = 4e-4) -> BoreFit:
    return BoreFit(
        centre_px=PointPx(u, v),
        temporal_cov_px2=CovPx2(temporal, 0.0, temporal),
        static_cov_px2=CovPx2(static, 0.0, static),
        radius_px=34.0,
        semi_axes_px=(34.0, 34.0),
        angle_rad=0.0,
        rim_px=np.zeros((0, 2)),
        arc_covered=1.0,
        contrast=0.5,
        blur_px=1.2,
        residual_px=0.05,
        size_verified=False,
    )


Answers = list[BoreFit | BoreRefusal]


def refusal(reason: Reason) -> BoreRefusal:
    return BoreRefusal(reason=reason, message="No.", remedy="Do.")


def scattered(count: int, sd: float = 0.01) -> list[BoreFit]:
    rng = np.random.default_rng(9)
    return [fit_at(*(np.array([100.0, 50.0]) + rng.normal(0, sd, 2))) for _ in range(count)]


def test_temporal_part_shrinks_with_frames_and_static_part_does_not() -> None:
    four, sixteen = combine_burst([fit_at(1, 2)] * 4), combine_burst([fit_at(1, 2)] * 16)
    assert isinstance(four, BurstFit)
    assert isinstance(sixteen, BurstFit)
    assert four.temporal_cov_px2.uu == pytest.approx(1e-4 / 4)
    assert sixteen.temporal_cov_px2.uu == pytest.approx(1e-4 / 16)
    assert four.static_cov_px2 == pytest.approx(sixteen.static_cov_px2, rel=1e-12)
    assert sixteen.cov_px2.uu == pytest.approx(1e-4 / 16 + 4e-4)


def test_the_centre_is_the_mean_of_the_frames() -> None:
    fits = scattered(8)
    burst = combine_burst(fits)
    assert isinstance(burst, BurstFit)
    assert burst.centre_px == pytest.approx(
        tuple(np.mean([fit.centre_px for fit in fits], axis=0)), abs=1e-12
    )
    assert burst.frames_used == tuple(range(8))


def test_frames_that_scatter_more_than_they_claim_are_believed_less() -> None:
    burst = combine_burst(scattered(20, sd=0.1))
    assert isinstance(burst, BurstFit)
    # Twenty frames determine a variance to a third: three of those.
    assert 0.3 * 0.01 / 20 < burst.temporal_cov_px2.uu < 2.0 * 0.01 / 20


def test_a_frame_that_disagrees_is_left_out() -> None:
    fits = [*scattered(7), fit_at(101.5, 50.0)]
    burst = combine_burst(fits)
    assert isinstance(burst, BurstFit)
    assert burst.frames_dropped == (7,)
    assert burst.centre_px == pytest.approx((100, 50), abs=0.02)


def test_a_frame_of_another_radius_is_left_out() -> None:
    fits = [*scattered(7), replace(fit_at(100.0, 50.0), radius_px=39.0)]
    burst = combine_burst(fits)
    assert isinstance(burst, BurstFit)
    assert burst.frames_dropped == (7,)


def test_a_refused_frame_is_left_out_and_kept_in_the_record() -> None:
    fits: Answers = [*scattered(5), refusal(Reason.TOO_DARK)]
    burst = combine_burst(fits)
    assert isinstance(burst, BurstFit)
    assert burst.frames_dropped == (5,)
    assert burst.fits == tuple(fits)


def test_mostly_refused_frames_are_refused_for_their_commonest_reason() -> None:
    refusals = [refusal(Reason.COVERED), refusal(Reason.OUT_OF_FOCUS), refusal(Reason.COVERED)]
    answer = combine_burst([fit_at(1, 2), *refusals])
    assert isinstance(answer, BoreRefusal)
    assert answer.reason is Reason.COVERED


def test_no_frames_are_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match="fits"):
        combine_burst([])


def test_a_burst_of_pictures_is_closer_than_its_frames() -> None:
    scene = Scene(noise=8.0, texture=0.0)
    frames = [take(replace(scene, seed=seed)) for seed in range(12)]
    burst = fit_burst(frames)
    single = find_bore(frames[0])
    assert isinstance(burst, BurstFit)
    assert isinstance(single, BoreFit)
    assert burst.temporal_cov_px2.sigma_px < 0.4 * single.temporal_cov_px2.sigma_px
    # Three sigma of the mean.
    miss = np.hypot(burst.centre_px.u - scene.centre[0], burst.centre_px.v - scene.centre[1])
    assert miss < 3 * np.sqrt(2) * burst.cov_px2.sigma_px


def test_frames_claim_the_scatter_that_they_have() -> None:
    scene = Scene(noise=6.0)
    fits = [find_bore(take(replace(scene, seed=seed))) for seed in range(30)]
    good = [fit for fit in fits if isinstance(fit, BoreFit)]
    scatter = np.std([fit.centre_px for fit in good], axis=0, ddof=1).mean()
    claimed = np.mean([fit.temporal_cov_px2.sigma_px for fit in good])
    # Thirty frames, two axes: a standard deviation to 9 %.
    assert len(good) == 30
    assert 0.7 < scatter / claimed < 1.35
