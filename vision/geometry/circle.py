"""Geometric circle fit: least squares of the distances to the curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.geometry.loss import Loss, checked_points, checked_weights, early, robust_weights
from vision.geometry.points import PointPx
from vision.geometry.refusal import FitReason, FitRefusal

Array = NDArray[np.float64]

_ROUNDS = 200
_FAR_CENTRE = 3.0
"""Radius, in parts of the points' extent, from which the side of the centre is in doubt."""

_FLAT = 1e-9
"""Smallest over largest extent below which points lie on a line, in parts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CircleFit:
    """A circle and how sure it is.

    Attributes
    ----------
    centre_px
        Centre.
    radius_px
        Radius.
    covariance_px2
        Shape (3, 3), read-only, of (u, v, radius): from the residuals, with
        N - 3 degrees of freedom.
    residuals_px
        Shape (N,), read-only: signed distances, outside positive.
    sigma_px
        Standard deviation of one point of weight 1, from the residuals.
    weights
        Shape (N,), read-only: weights that the points had in the end.
    """

    centre_px: PointPx
    radius_px: float
    covariance_px2: Array
    residuals_px: Array
    sigma_px: float
    weights: Array


def fit_circle(
    points: ArrayLike, weights: ArrayLike | None = None, *, loss: Loss = "least_squares"
) -> CircleFit | FitRefusal:
    """Fit the circle with the least sum of weighted squared distances.

    Parameters
    ----------
    points
        Shape (N, 2), in pixels.
    weights
        Shape (N,), one over variance, up to a factor; all alike by default.
    loss
        Whether far points count less.

    Returns
    -------
    CircleFit or FitRefusal
        A refusal where fewer than three points have weight or all lie on a line.

    References
    ----------
    Gander, Golub & Strebel 1994, BIT 34, 558-578, section 3 (objective); Taubin 1991,
    IEEE PAMI 13, 1115-1138 (start); Levenberg-Marquardt steps with exact Jacobian.
    """
    xy = checked_points(points)
    w = checked_weights(weights, len(xy))
    if np.count_nonzero(w) < 3:
        return FitRefusal(
            reason=FitReason.TOO_FEW,
            message=f"A circle needs three points, {np.count_nonzero(w)} have weight.",
        )
    shift = np.average(xy, axis=0, weights=w)
    scale = float(np.sqrt(np.average(((xy - shift) ** 2).sum(axis=1), weights=w)))
    z = (xy - shift) / (scale or 1.0)
    spread = np.linalg.svd(z * np.sqrt(w / w.max())[:, None], compute_uv=False)
    if scale == 0.0 or spread[1] <= _FLAT * spread[0]:
        return FitRefusal(
            reason=FitReason.COLLINEAR,
            message="The points lie on a line: no circle goes through them.",
        )
    theta = _start(z, w)
    factors = np.ones(len(z))
    for turn in range(1 if loss == "least_squares" else 30):
        before = theta
        theta = _lower(theta, z, w * factors)
        factors = robust_weights(_distances(theta, z)[0], w, early(loss, turn), floor=1e-12)
        # A robust fit's weights settle no further than the data: a millionth of a px.
        if turn > 6 and np.abs(theta - before).max() < 1e-8:
            break
    return _result(theta, z, w * factors, shift, scale)


def _distances(theta: Array, z: Array) -> tuple[Array, Array]:
    away = z - theta[:2]
    rho = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-300)
    jacobian = np.column_stack([-away / rho[:, None], -np.ones(len(z))])
    return rho - theta[2], jacobian


def _start(z: Array, w: Array) -> Array:
    # Taubin's fit: smallest generalised singular direction; safe on short arcs,
    # where the plain algebraic fit returns a circle many times too small.
    mean = np.average(z, axis=0, weights=w)
    c = z - mean
    square = (c**2).sum(axis=1)
    mean_square = float(np.average(square, weights=w))
    lifted = (square - mean_square) / (2.0 * np.sqrt(mean_square))
    rows = np.column_stack([lifted, c]) * np.sqrt(w)[:, None]
    direction = np.linalg.svd(rows, full_matrices=False)[2][-1]
    if abs(direction[0]) < 1e-12:
        direction[0] = 1e-12
    a = direction[0] / (2.0 * np.sqrt(mean_square))
    centre = -direction[1:] / (2.0 * a)
    radius = np.sqrt((centre**2).sum() + mean_square)
    return np.array([*(centre + mean), radius])


def _lower(theta: Array, z: Array, w: Array) -> Array:
    # On flat data the algebraic start may lie on the wrong side, and the objective
    # has a valley on each: take the lower one.
    if theta[2] < _FAR_CENTRE:
        return _descend(theta, z, w)
    middle = np.average(z, axis=0, weights=w)
    mirrored = np.array([*(2.0 * middle - theta[:2]), theta[2]])
    ends = [_descend(start, z, w) for start in (theta, mirrored)]
    return min(ends, key=lambda end: float(w @ _distances(end, z)[0] ** 2))


def _descend(theta: Array, z: Array, w: Array) -> Array:
    damping = 1e-4
    d, jacobian = _distances(theta, z)
    cost = float(w @ d**2)
    for _ in range(_ROUNDS):
        normal = jacobian.T @ (jacobian * w[:, None])
        step = _solved(normal + damping * np.diag(np.diag(normal)), -jacobian.T @ (w * d))
        new, new_jacobian = _distances(theta + step, z)
        new_cost = float(w @ new**2)
        if new_cost <= cost:
            theta, d, jacobian, cost = theta + step, new, new_jacobian, new_cost
            damping = max(damping / 10.0, 1e-15)
            if np.abs(step).max() <= 1e-13 * (1.0 + np.abs(theta).max()):
                break
        else:
            damping *= 10.0
            if damping > 1e12:
                break
    return theta


def _solved(normal: Array, side: Array) -> Array:
    try:
        return np.asarray(np.linalg.solve(normal, side), dtype=np.float64)
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.lstsq(normal, side, rcond=None)[0], dtype=np.float64)


def _result(theta: Array, z: Array, w: Array, shift: Array, scale: float) -> CircleFit:
    d, jacobian = _distances(theta, z)
    freedom = np.count_nonzero(w) - 3
    variance = float(w @ d**2) / freedom if freedom > 0 else float("nan")
    inverse = np.linalg.pinv(jacobian.T @ (jacobian * w[:, None]), hermitian=True)
    covariance = np.asarray(inverse * variance * scale**2, dtype=np.float64)
    residuals = d * scale
    for array in (covariance, residuals, w):
        array.setflags(write=False)
    u, v = theta[:2] * scale + shift
    return CircleFit(
        centre_px=PointPx(float(u), float(v)),
        radius_px=float(abs(theta[2]) * scale),
        covariance_px2=covariance,
        residuals_px=residuals,
        sigma_px=float(np.sqrt(variance) * scale),
        weights=w,
    )
