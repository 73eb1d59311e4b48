"""How sure the centre is: a part from noise, a part from the structure of the rim."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.bore.rim import Rim, design_matrix
from vision.geometry import CovPx2

Array = NDArray[np.float64]

_BINS = 120
_HARMONICS = np.arange(3, 16)
"""Harmonics of the residuals that are read; 0 to 2 are taken up by the fit."""


def covariances(rim: Rim, noise: float) -> tuple[CovPx2, CovPx2]:
    """Return the temporal and the static covariance of the centre, in square px.

    The centre is a weighted sum of the edges' places; noise of the edges is
    independent. What the residuals hold beyond noise is alike in neighbours:
    its power in the harmonics that the fit leaves gives strength and reach of
    that likeness (all pairs on a grid are weighed by their likelihood, after
    Whittle 1953, Ark. Mat. 2), and the same weighted sum carries it to the centre.
    """
    design = design_matrix(rim.angles)
    normal = design.T @ (design * rim.weights[:, None]) + np.diag(rim.prior)
    inverse = np.linalg.inv(normal)
    rows = (inverse @ (design * rim.weights[:, None]).T)[:2]
    temporal = (rows * (rim.gain * noise) ** 2) @ rows.T
    # What the prior on the ellipticity leaves open belongs to the view, not to noise.
    left_open = inverse[:2] @ np.diag(rim.prior) @ inverse[:, :2]
    static = _structural(rim, rows, noise) + left_open
    return CovPx2.from_matrix(temporal), CovPx2.from_matrix(static)


def _structural(rim: Rim, rows: Array, noise: float) -> Array:
    binned = _in_bins(rim)
    if binned is None:
        return np.zeros((2, 2))
    angles, residuals, filled = binned
    power = _power(angles, residuals, filled)
    # Noise is white: each ray's variance, spread over the rays, as bins hold it.
    believed = rim.weights > 0
    variance = (rim.gain[believed] * noise) ** 2
    mean_variance = float(np.average(variance, weights=rim.weights[believed]))
    floor = 2.0 * mean_variance / max(int(believed.sum()), 1)
    reaches = np.geomspace(0.01, 1.2, 10)
    lags = np.abs(_turned(angles[:, None] - angles[None, :]))
    likeness = np.exp(-lags[None] / reaches[:, None, None])
    full: Array = np.arange(720, dtype=np.float64) * (2 * np.pi / 720)
    shape = np.exp(-np.abs(_turned(full))[None] / reaches[:, None])
    spectrum = 2.0 * (shape[:, None, :] * np.cos(_HARMONICS[:, None] * full)[None]).mean(axis=2)
    variances = np.geomspace(1e-6, 4.0, 40)
    expected = floor + variances[None, :, None] * spectrum[:, None, :]
    log_likelihood = -(np.log(expected) + power / expected).sum(axis=2)
    belief = np.exp(log_likelihood - log_likelihood.max())
    belief /= belief.sum()
    per_reach = (belief * variances[None, :]).sum(axis=1)
    sums = _rows_in_bins(rim, rows, len(angles))
    return np.asarray(sums @ np.tensordot(per_reach, likeness, axes=1) @ sums.T, dtype=np.float64)


def _turned(angle: Array) -> Array:
    turned: Array = (angle + np.pi) % (2 * np.pi) - np.pi
    return turned


def _bin_of(rim: Rim, bins: int) -> NDArray[np.int64]:
    return np.minimum((rim.angles / (2 * np.pi) * bins).astype(np.int64), bins - 1)


def _in_bins(rim: Rim) -> tuple[Array, Array, NDArray[np.bool_]] | None:
    bins = min(_BINS, len(rim.angles))
    believed = (rim.weights > 0) & np.isfinite(rim.residuals)
    where = _bin_of(rim, bins)[believed]
    weight = np.bincount(where, weights=rim.weights[believed], minlength=bins)
    total = np.bincount(
        where, weights=rim.weights[believed] * rim.residuals[believed], minlength=bins
    )
    filled = weight > 0
    if filled.sum() < 16:
        return None
    angles: Array = (np.arange(bins, dtype=np.float64) + 0.5) * (2 * np.pi / bins)
    means: Array = np.where(filled, total / np.where(filled, weight, 1.0), 0.0)
    return angles, means, filled


def _power(angles: Array, residuals: Array, filled: NDArray[np.bool_]) -> Array:
    # Mean of cos and sin power, per harmonic, for what is seen of the rim.
    count = filled.sum()
    waves = np.exp(1j * _HARMONICS[:, None] * angles[None, :])
    amplitude = 2.0 * (waves @ residuals) / count
    # Missing bins leave out power in proportion.
    power: Array = 0.5 * np.abs(amplitude) ** 2 * (count / len(angles))
    return power


def _rows_in_bins(rim: Rim, rows: Array, bins: int) -> Array:
    where = _bin_of(rim, bins)
    return np.stack([np.bincount(where, weights=row, minlength=bins) for row in rows])
