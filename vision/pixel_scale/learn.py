"""Learn the pixel scale from known jogs, or say why it cannot be learnt."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2 as chi_square

from vision.geometry import CovMm2, PointMm, PointPx
from vision.pixel_scale.affine import AffineFit, Jogs, extents, fit_affine
from vision.pixel_scale.doubtful import find_doubtful
from vision.pixel_scale.values import (
    DoubtfulEntry,
    JogSighting,
    PixelScale,
    ScaleReason,
    ScaleRefusal,
    ScaleSettings,
    axis_relative_u,
)
from vision.pixel_scale.words import doubtful_sentence
from vision.uncertainty import SingularDesign

Matrix = NDArray[np.float64]

DEFAULT_SETTINGS = ScaleSettings()

ONE_LINE_CONDITION = 10.0
"""Ratio of the axes in the picture above which it moved along one line."""


def learn_scale(
    jogs: Sequence[JogSighting],
    *,
    position_cov_mm2: CovMm2,
    settings: ScaleSettings = DEFAULT_SETTINGS,
    decimals: int = 2,
) -> PixelScale | ScaleRefusal:
    """Learn what a pixel is worth and how the picture is turned.

    Parameters
    ----------
    jogs
        At least three places of one tool, not on a line; four or more show when
        one of them is wrong.
    position_cov_mm2
        Covariance of each machine position, positive semi-definite.
    settings
        Limits of what is believed.
    decimals
        Places that the machine's display shows; for what is said of a wrong entry.

    Returns
    -------
    PixelScale or ScaleRefusal
        The refusal says what is wrong with the jogs and what to do about it.

    Raises
    ------
    ValueError
        When a covariance is not one (of a position or of a centre).

    Notes
    -----
    Least squares weighted by M Sigma_C M' + Sigma_p. The covariance is that of
    the stated figures; where a chi-square test does not believe them, it is
    multiplied by chi2 / dof and carries those degrees of freedom.
    """
    refusal = _unfit(jogs)
    if refusal is not None:
        return refusal
    arrays = _checked(Jogs.of(jogs, position_cov_mm2))
    refusal = _motionless(arrays)
    if refusal is not None:
        return refusal
    doubtful = find_doubtful(arrays, settings, decimals)
    refusal = _stopped_by_entry(arrays, doubtful, settings, decimals)
    if refusal is not None:
        return refusal
    fit = fit_affine(arrays)
    if isinstance(fit, SingularDesign) or _lie_on_a_line(arrays.positions_mm, settings):
        return _collinear(arrays, settings)
    return _judged(fit, doubtful, settings)


def _judged(
    fit: AffineFit, doubtful: tuple[DoubtfulEntry, ...], settings: ScaleSettings
) -> PixelScale | ScaleRefusal:
    # An axis that hardly shows would turn its noise into millimetres below.
    if not np.linalg.cond(fit.matrix) < ONE_LINE_CONDITION:
        return _implausible("the picture moved along one line only")
    widened = _scatters_more(fit, settings.scatter_level)
    factor = fit.chi2 / fit.dof if widened else 1.0
    covariance = fit.matrix_covariance * factor
    return (
        _contradictory(fit, doubtful, settings, widened=widened)
        or _too_short(fit, covariance, settings)
        or _badly_shaped(fit, settings)
        or _scale(fit, covariance, doubtful, widened=widened)
    )


def _scale(
    fit: AffineFit, covariance: Matrix, doubtful: tuple[DoubtfulEntry, ...], *, widened: bool
) -> PixelScale:
    residuals = fit.residuals_um()
    rms = np.sqrt(np.mean(residuals**2, axis=0))
    matrix = fit.matrix.copy()
    for array in (matrix, covariance, residuals):
        array.setflags(write=False)
    return PixelScale(
        matrix_px_per_mm=matrix,
        covariance_px2_per_mm2=covariance,
        dof=float(fit.dof) if widened else math.inf,
        widened=widened,
        origin_px=PointPx(float(fit.origin_px[0]), float(fit.origin_px[1])),
        origin_mm=PointMm(float(fit.origin_mm[0]), float(fit.origin_mm[1])),
        residuals_um=residuals,
        rms_um=(float(rms[0]), float(rms[1])),
        chi2=fit.chi2,
        doubtful=doubtful,
    )


def _scatters_more(fit: AffineFit, level: float) -> bool:
    return fit.dof > 0 and float(chi_square.sf(fit.chi2, fit.dof)) < level


def _checked(jogs: Jogs) -> Jogs:
    if float(np.linalg.eigvalsh(jogs.position_cov_mm2)[0]) < -1e-15:
        raise ValueError("position_cov_mm2 must be positive semi-definite")
    if float(np.linalg.eigvalsh(jogs.covs_px2).min()) < -1e-12:
        raise ValueError("cov_px2 of each jog must be positive semi-definite")
    return jogs


def _unfit(jogs: Sequence[JogSighting]) -> ScaleRefusal | None:
    for index, jog in enumerate(jogs):
        numbers = (*jog.position_mm, *jog.centre_px, *jog.cov_px2)
        if not all(math.isfinite(number) for number in numbers):
            return ScaleRefusal(
                reason=ScaleReason.NOT_FINITE,
                message=f"jog {index + 1} holds a number that is not finite",
                remedy="enter its position again, or strike it out",
            )
    if len(jogs) < 3:
        return ScaleRefusal(
            reason=ScaleReason.TOO_FEW,
            message=f"{len(jogs)} jogs do not give a scale: three are needed, five serve well",
            remedy="jog to another place and sight the tool there",
        )
    return None


def _motionless(jogs: Jogs) -> ScaleRefusal | None:
    spread_mm = np.ptp(jogs.positions_mm, axis=0).max()
    if spread_mm == 0.0:
        return ScaleRefusal(
            reason=ScaleReason.ALL_ALIKE,
            message="all jogs were entered at one position",
            remedy="jog along X and along Y between the sightings, and enter where it stands",
        )
    sigma_px = math.sqrt(float(np.trace(jogs.covs_px2, axis1=1, axis2=2).max()) / 2.0)
    if np.ptp(jogs.centres_px, axis=0).max() <= 6.0 * sigma_px:
        return ScaleRefusal(
            reason=ScaleReason.ALL_ALIKE,
            message="the bore stands still in the picture though the positions differ",
            remedy="see whether the machine moves and the picture is live, then jog again",
        )
    return None


def _stopped_by_entry(
    jogs: Jogs, doubtful: tuple[DoubtfulEntry, ...], settings: ScaleSettings, decimals: int
) -> ScaleRefusal | None:
    if not doubtful or doubtful[0].miss_um < settings.doubtful_refused_um:
        return None
    at = doubtful[0].index
    x, y = (jogs.read_mm[at] - jogs.positions_mm[at]).tolist()
    return ScaleRefusal(
        reason=ScaleReason.CONTRADICTORY,
        message=doubtful_sentence(doubtful, decimals=decimals, in_display_mm=PointMm(x, y)),
        remedy="retype that position, or strike it out and jog there again",
        doubtful=doubtful,
    )


def _lie_on_a_line(points: Matrix, settings: ScaleSettings) -> bool:
    long, short = extents(points)
    return short < settings.collinear_ratio * long


def _collinear(jogs: Jogs, settings: ScaleSettings) -> ScaleRefusal:
    if not _lie_on_a_line(jogs.centres_px, settings):
        return ScaleRefusal(
            reason=ScaleReason.CONTRADICTORY,
            message="the positions as entered lie on one line, but in the picture they do not",
            remedy="compare all positions with the machine's display: one is far off",
        )
    return ScaleRefusal(
        reason=ScaleReason.COLLINEAR,
        message="the jogs lie on one line, so the other direction stays unknown",
        remedy="add a jog across that line, about as long",
    )


def _contradictory(
    fit: AffineFit, doubtful: tuple[DoubtfulEntry, ...], settings: ScaleSettings, *, widened: bool
) -> ScaleRefusal | None:
    if not widened:
        return None
    residuals = fit.residuals_um()
    scatter = np.sqrt(np.sum(residuals**2, axis=0) / (fit.dof / 2.0))
    if float(scatter.max()) <= settings.contradiction_um:
        return None
    return ScaleRefusal(
        reason=ScaleReason.CONTRADICTORY,
        message="the machine did not do what was entered: the picture disagrees by "
        f"{scatter[0]:.0f} µm in X and {scatter[1]:.0f} µm in Y",
        remedy="compare the positions with the machine's display, come to each from the "
        "same side, see that the camera lies still, and jog again",
        doubtful=doubtful,
    )


def _too_short(fit: AffineFit, covariance: Matrix, settings: ScaleSettings) -> ScaleRefusal | None:
    relative = axis_relative_u(fit.matrix, covariance)
    worst = max(relative)
    if worst <= settings.relative_u_limit:
        return None
    axis = "XY"[relative.index(worst)]
    times = math.ceil(worst / settings.relative_u_limit)
    return ScaleRefusal(
        reason=ScaleReason.TOO_SHORT,
        message=f"the jogs along {axis} are too short: its scale is known to "
        f"{100.0 * worst:.1f} % only",
        remedy=f"jog along {axis} about {max(times, 2)} times as far, as far as the bore stays "
        "in view",
    )


def _badly_shaped(fit: AffineFit, settings: ScaleSettings) -> ScaleRefusal | None:
    x, y = fit.matrix.T
    lengths = float(np.linalg.norm(x)), float(np.linalg.norm(y))
    ratio = max(lengths) / min(lengths)
    if ratio > settings.stretch_limit:
        return _implausible(
            f"a millimetre of X shows {lengths[0]:.0f} px long, one of Y {lengths[1]:.0f} px"
        )
    sine = abs(float(x @ y)) / (lengths[0] * lengths[1])
    if sine > math.sin(math.radians(settings.skew_limit_deg)):
        return _implausible("X and Y are far from a right angle in the picture")
    return None


def _implausible(what: str) -> ScaleRefusal:
    return ScaleRefusal(
        reason=ScaleReason.IMPLAUSIBLE,
        message=f"{what}: probably an axis was entered wrongly",
        remedy="compare all positions with the machine's display: each axis, its sign and its "
        "decimal point",
    )
