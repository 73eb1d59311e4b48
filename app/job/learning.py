"""The pixel scale from a job's jogs, with the machine's reversal allowed for.

Jogs are asked for from one side, and then the reversal stays out. Where they were
reached from both sides, and it is known from which, the jogs themselves measure it;
where nobody noted the sides, the scale is less certain for it, but no jog is
called wrong or too short on that account.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from app.job.budget import (
    DEFAULT_SETTINGS,
    OffsetSettings,
    falling_share,
    position_sigma_mm,
    reversal_mm,
)
from app.job.jogs import decimals_of
from app.job.observations import Evidence
from vision.geometry import CovMm2, PointMm
from vision.pixel_scale import DoubtfulEntry, JogSighting, PixelScale, ScaleRefusal, learn_scale

Matrix = NDArray[np.float64]


def learn_scale_from(
    evidence: Evidence, settings: OffsetSettings = DEFAULT_SETTINGS
) -> PixelScale | ScaleRefusal:
    """Learn the pixel scale from the evidence's jogs; a refusal says why there is none."""
    figures = evidence.figures
    sigma = position_sigma_mm(figures)
    reversal = _measured_reversal(evidence, sigma, settings)
    jogs = [
        JogSighting(
            position_mm=PointMm(jog.carriage_mm.x + shift[0], jog.carriage_mm.y + shift[1]),
            centre_px=jog.centre_px,
            cov_px2=jog.cov_px2,
            read_mm=PointMm(jog.shown_mm.x, jog.shown_mm.y),
        )
        for jog, shift in zip(evidence.scale_jogs, reversal.shifts_mm.tolist(), strict=True)
    ]
    scale = learn_scale(
        jogs,
        position_cov_mm2=CovMm2(sigma**2, 0.0, sigma**2),
        decimals=decimals_of(figures.display_step_mm),
    )
    doubtful = tuple(_as_entered(entry, reversal.shifts_mm) for entry in scale.doubtful)
    if isinstance(scale, ScaleRefusal):
        return replace(scale, doubtful=doubtful)
    half_mm = math.hypot(*reversal_mm(figures, settings)) / 2.0
    covariance = _with_reversal(evidence, scale, reversal, half_mm)
    return replace(scale, doubtful=doubtful, covariance_px2_per_mm2=covariance)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Reversal:
    """What the jogs say of the reversal: (N, 2) shifts of places, (2,) uncertainty per axis."""

    shifts_mm: Matrix
    sigma_mm: Matrix


def _measured_reversal(evidence: Evidence, sigma: float, settings: OffsetSettings) -> _Reversal:
    """Fit C + f b = A p + a for each machine axis, what is believed of b being a datum more."""
    share = falling_share(evidence.scale_jogs)
    shifts, sigmas = np.zeros(share.shape), np.zeros(2)
    if len(share) < 3:
        # There will be no scale either.
        return _Reversal(shifts_mm=shifts, sigma_mm=sigmas)
    value, doubt = reversal_mm(evidence.figures, settings)
    centres = np.array([jog.centre_px for jog in evidence.scale_jogs])
    places = np.array([jog.carriage_mm for jog in evidence.scale_jogs])
    centred = (centres - centres.mean(axis=0)) / max(float(np.ptp(centres)), 1.0)
    for axis in (0, 1):
        f = share[:, axis] - share[:, axis].mean()
        if not f.any():
            continue
        rows = np.column_stack([centred, np.ones(len(f)), -f]) / sigma
        rows = np.vstack([rows, [0.0, 0.0, 0.0, 1.0 / doubt]])
        data = np.append((places[:, axis] - places[:, axis].mean()) / sigma, value / doubt)
        inverse = np.linalg.pinv(rows)
        shifts[:, axis] = f * float(inverse[3] @ data)
        sigmas[axis] = float(np.linalg.norm(inverse[3]))
    return _Reversal(shifts_mm=shifts, sigma_mm=sigmas)


def _as_entered(entry: DoubtfulEntry, shifts: Matrix) -> DoubtfulEntry:
    """Name a position as it was typed, not as it was corrected for the reversal."""
    x, y = shifts[entry.index]
    read, said = entry.read_mm, entry.suggested_mm
    return replace(
        entry,
        read_mm=PointMm(float(read.x - x), float(read.y - y)),
        suggested_mm=PointMm(float(said.x - x), float(said.y - y)),
    )


def _with_reversal(
    evidence: Evidence, scale: PixelScale, reversal: _Reversal, half_mm: float
) -> Matrix:
    """Return the scale's covariance with what is not known of the reversal.

    A shift d of place s changes M by -M d (x_s' (X'X)^-1): the measured reversal
    shifts all falling places together, an unknown side shifts each by itself.
    """
    places = np.array([jog.carriage_mm for jog in evidence.scale_jogs])
    share = falling_share(evidence.scale_jogs)
    x = places - places.mean(axis=0)
    weights = x @ np.linalg.inv(x.T @ x)
    covariance = np.array(scale.covariance_px2_per_mm2)
    for axis in (0, 1):
        column = scale.matrix_px_per_mm[:, axis]
        together = weights.T @ (share[:, axis] - share[:, axis].mean())
        alone = weights[share[:, axis] == 0.5]
        spread = reversal.sigma_mm[axis] ** 2 * np.outer(together, together)
        spread = spread + half_mm**2 * alone.T @ alone
        covariance += np.kron(np.outer(column, column), spread)
    covariance.setflags(write=False)
    return covariance
