"""Several frames of one view, made one centre."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from vision.bore.finder import find_bore
from vision.bore.result import BoreFit, BoreRefusal, BurstFit, RadiusPrior
from vision.bore.settings import FinderSettings
from vision.geometry import CovPx2, PointPx

_DEFAULTS = FinderSettings()

_FAR = 5.0
"""Sigma from the median past which a frame is left out."""


def fit_burst(
    frames: Iterable[object],
    *,
    radius_prior: RadiusPrior | None = None,
    near: PointPx | BoreFit | None = None,
    settings: FinderSettings = _DEFAULTS,
) -> BurstFit | BoreRefusal:
    """Find the bore in each frame and combine; each frame is looked at where the last had it."""
    fits: list[BoreFit | BoreRefusal] = []
    last: PointPx | BoreFit | None = near
    for frame in frames:
        fit = find_bore(frame, radius_prior=radius_prior, near=last, settings=settings)
        if isinstance(fit, BoreFit):
            last = fit
        fits.append(fit)
    return combine_burst(fits)


def combine_burst(fits: Sequence[BoreFit | BoreRefusal]) -> BurstFit | BoreRefusal:
    """Combine the fits of frames of one view.

    Frames that lie far from the median of all are left out. The temporal
    covariance is what the frames claim, or what they scatter by where that is
    more, over their number; the static covariance stays.

    Returns
    -------
    BurstFit or BoreRefusal
        The refusal that most frames share, where under half of them agree.

    Raises
    ------
    ValueError
        If there is no frame.
    """
    if not fits:
        raise ValueError("fits must hold at least one frame")
    good = [i for i, fit in enumerate(fits) if isinstance(fit, BoreFit)]
    used = _agreeing(fits, good)
    refusals = [fit for fit in fits if isinstance(fit, BoreRefusal)]
    if len(used) * 2 < len(fits) and refusals:
        return _most_frequent(refusals)
    return _mean(fits, used)


def _agreeing(fits: Sequence[BoreFit | BoreRefusal], good: list[int]) -> list[int]:
    if len(good) < 3:
        return good
    kept = [fit for i in good if isinstance(fit := fits[i], BoreFit)]
    points = np.array([fit.centre_px for fit in kept])
    radii = np.array([fit.radius_px for fit in kept])
    away = np.abs(points - np.median(points, axis=0)).max(axis=1)
    off = np.abs(radii - np.median(radii))
    claimed = float(np.median([fit.temporal_cov_px2.sigma_px for fit in kept]))
    limit = _FAR * max(claimed, 1.4826 * float(np.median(away)))
    radius_limit = _FAR * max(claimed, 1.4826 * float(np.median(off)))
    return [i for i, a, o in zip(good, away, off, strict=True) if a <= limit and o <= radius_limit]


def _most_frequent(refusals: list[BoreRefusal]) -> BoreRefusal:
    reasons = [refusal.reason for refusal in refusals]
    return max(refusals, key=lambda refusal: reasons.count(refusal.reason))


def _mean(fits: Sequence[BoreFit | BoreRefusal], used: list[int]) -> BurstFit:
    kept = [fit for i in used if isinstance(fit := fits[i], BoreFit)]
    points = np.array([fit.centre_px for fit in kept])
    mean = points.mean(axis=0)
    one = np.mean([fit.temporal_cov_px2.matrix() for fit in kept], axis=0)
    if len(kept) >= 5:
        scatter = np.cov(points.T, ddof=1)
        if np.trace(scatter) > np.trace(one):
            one = scatter
    temporal = one / len(kept)
    static = np.mean([fit.static_cov_px2.matrix() for fit in kept], axis=0)
    return BurstFit(
        centre_px=PointPx(float(mean[0]), float(mean[1])),
        cov_px2=CovPx2.from_matrix(temporal + static),
        temporal_cov_px2=CovPx2.from_matrix(temporal),
        static_cov_px2=CovPx2.from_matrix(static),
        radius_px=float(np.mean([fit.radius_px for fit in kept])),
        blur_px=float(np.mean([fit.blur_px for fit in kept])),
        frames_used=tuple(used),
        frames_dropped=tuple(i for i in range(len(fits)) if i not in used),
        fits=tuple(fits),
    )
