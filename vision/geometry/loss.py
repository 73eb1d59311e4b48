"""Robust losses and the checks that the curve fits share."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Loss = Literal["least_squares", "huber", "tukey"]
"""How far residuals count: all alike, less from 1.345 sigma on, or not at all past 4.685 sigma."""

# 95 % efficiency on normal errors: Holland & Welsch 1977, Commun. Stat. A6, table 1.
HUBER = 1.345
TUKEY = 4.685
MAD_TO_SIGMA = 1.4826


def checked_points(points: ArrayLike) -> NDArray[np.float64]:
    """Return points as floats of shape (N, 2), or raise ValueError."""
    array = np.asarray(points, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != 2:
        raise ValueError(f"points must have shape (N, 2), got {array.shape}")
    if not np.isfinite(array).all():
        raise ValueError("points must be finite")
    return array


def checked_weights(weights: ArrayLike | None, count: int) -> NDArray[np.float64]:
    """Return one weight a point, ones by default, or raise ValueError."""
    if weights is None:
        return np.ones(count)
    array = np.asarray(weights, dtype=np.float64)
    if array.shape != (count,):
        raise ValueError(f"weights must have shape ({count},), got {array.shape}")
    if not np.isfinite(array).all() or (array < 0).any():
        raise ValueError("weights must be finite and not negative")
    return array


def early(loss: Loss, turn: int) -> Loss:
    """Return the loss for this turn: Tukey's has many valleys, Huber's leads into the right one."""
    return "huber" if loss == "tukey" and turn < 6 else loss


def robust_weights(
    residuals: NDArray[np.float64], weights: NDArray[np.float64], loss: Loss, *, floor: float
) -> NDArray[np.float64]:
    """Return the factors (N,) that a loss puts on residuals.

    The scale is the median absolute residual (times 1.4826) of the points that
    have weight, and at least `floor`.
    """
    if loss == "least_squares":
        return np.ones_like(residuals)
    scaled = np.abs(residuals) * np.sqrt(weights)
    scale = max(MAD_TO_SIGMA * float(np.median(scaled[weights > 0])), floor)
    x = scaled / scale
    if loss == "huber":
        return HUBER / np.maximum(x, HUBER)
    return np.where(x < TUKEY, (1.0 - (x / TUKEY) ** 2) ** 2, 0.0)
