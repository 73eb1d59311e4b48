"""Geometric ellipse fit: least squares of the orthogonal distances to the curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import eig

from vision.geometry.loss import Loss, checked_points, checked_weights, early, robust_weights
from vision.geometry.points import PointPx
from vision.geometry.refusal import FitReason, FitRefusal

Array = NDArray[np.float64]

_ROUNDS = 400
_FLAT = 1e-9
"""Smallest over largest extent below which points lie on a line, in parts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EllipseFit:
    """An ellipse and how sure it is.

    Attributes
    ----------
    centre_px
        Centre.
    semi_axes_px
        Major and minor semi-axis.
    angle_rad
        Direction of the major axis from +u towards +v, in (-pi/2, pi/2].
    covariance_px2
        Shape (2, 2), read-only, of the centre: from the residuals, with N - 5
        degrees of freedom.
    residuals_px
        Shape (N,), read-only: signed orthogonal distances, outside positive.
    sigma_px
        Standard deviation of one point of weight 1, from the residuals.
    weights
        Shape (N,), read-only: weights that the points had in the end.
    """

    centre_px: PointPx
    semi_axes_px: tuple[float, float]
    angle_rad: float
    covariance_px2: Array
    residuals_px: Array
    sigma_px: float
    weights: Array


def fit_ellipse(
    points: ArrayLike, weights: ArrayLike | None = None, *, loss: Loss = "least_squares"
) -> EllipseFit | FitRefusal:
    """Fit the ellipse with the least sum of weighted squared orthogonal distances.

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
    EllipseFit or FitRefusal
        A refusal where fewer than five points have weight, all lie on a line,
        or no ellipse describes them.

    References
    ----------
    Gander, Golub & Strebel 1994, BIT 34, 558-578, section 4 (objective); Halir &
    Flusser 1998, WSCG (start); Eberly 2013, "Distance from a point to an ellipse"
    (foot points).
    """
    xy = checked_points(points)
    w = checked_weights(weights, len(xy))
    if np.count_nonzero(w) < 5:
        return FitRefusal(
            reason=FitReason.TOO_FEW,
            message=f"An ellipse needs five points, {np.count_nonzero(w)} have weight.",
        )
    shift = np.average(xy, axis=0, weights=w)
    scale = float(np.sqrt(np.average(((xy - shift) ** 2).sum(axis=1), weights=w)))
    z = (xy - shift) / (scale or 1.0)
    spread = np.linalg.svd(z * np.sqrt(w / w.max())[:, None], compute_uv=False)
    if scale == 0.0 or spread[1] <= _FLAT * spread[0]:
        return FitRefusal(
            reason=FitReason.COLLINEAR,
            message="The points lie on a line: no ellipse goes through them.",
        )
    best = _best(z, w, loss)
    if best is None:
        return FitRefusal(
            reason=FitReason.NOT_AN_ELLIPSE, message="No ellipse describes these points."
        )
    return _result(*best, z=z, shift=shift, scale=scale)


def _best(z: Array, w: Array, loss: Loss) -> tuple[Array, Array] | None:
    # The objective is flat and has several valleys: take the best of several starts.
    ends = [_robust(start, z, w, loss) for start in _starts(z, w)]
    usable = [end for end in ends if np.isfinite(end[0]).all() and min(end[0][2:4]) > 1e-6]
    # A narrow sliver along the points is no ellipse that anybody meant.
    usable = [end for end in usable if max(end[0][2:4]) < 1e4]
    if not usable:
        return None

    def cost(end: tuple[Array, Array]) -> float:
        d = _distances(end[0], z)[0]
        return float(np.mean(np.minimum(w * d**2, np.median(w * d**2) * 20.0)))

    return min(usable, key=cost)


def _robust(theta: Array, z: Array, w: Array, loss: Loss) -> tuple[Array, Array]:
    factors = np.ones(len(z))
    for turn in range(1 if loss == "least_squares" else 20):
        before = theta
        theta = _descend(theta, z, w * factors)
        factors = robust_weights(_distances(theta, z)[0], w, early(loss, turn), floor=1e-12)
        if turn > 6 and np.abs(theta - before).max() < 1e-10:
            break
    return theta, w * factors


def _starts(z: Array, w: Array) -> list[Array]:
    starts = []
    direct = _direct(z, w)
    if direct is not None:
        starts.append(direct)
    # A circle, and the scatter ellipse along its two axes.
    values, vectors = np.linalg.eigh((z * w[:, None]).T @ z / w.sum())
    major, minor = np.sqrt(2.0 * np.maximum(values[::-1], 1e-6))
    angle = float(np.arctan2(vectors[1, 1], vectors[0, 1]))
    starts.append(np.array([0.0, 0.0, major, minor, angle]))
    starts.append(np.array([0.0, 0.0, 1.5 * major, 1.2 * minor, angle + 0.6]))
    return starts


def _direct(z: Array, w: Array) -> Array | None:
    x, y = z.T
    root = np.sqrt(w)[:, None]
    quadratic = np.column_stack([x * x, x * y, y * y]) * root
    linear = np.column_stack([x, y, np.ones_like(x)]) * root
    s3 = linear.T @ linear
    if np.linalg.matrix_rank(s3) < 3:
        return None
    back = -np.linalg.solve(s3, linear.T @ quadratic)
    reduced = quadratic.T @ quadratic + quadratic.T @ linear @ back
    constraint = np.array([[0.0, 0.0, 2.0], [0.0, -1.0, 0.0], [2.0, 0.0, 0.0]])
    _, vectors = eig(np.linalg.solve(constraint, reduced))
    vectors = np.real(vectors)
    discriminant = 4.0 * vectors[0] * vectors[2] - vectors[1] ** 2
    if discriminant.max() <= 0:
        return None
    a1 = vectors[:, int(np.argmax(discriminant))]
    return _from_conic(np.concatenate([a1, back @ a1]))


def _from_conic(conic: Array) -> Array | None:
    a, b, c, d, e, f = conic
    m = np.array([[a, b / 2.0], [b / 2.0, c]])
    centre = np.linalg.solve(m, [-d / 2.0, -e / 2.0])
    level = -(f + 0.5 * (d * centre[0] + e * centre[1]))
    values, vectors = np.linalg.eigh(m * np.sign(level))
    if values[0] <= 0 or level == 0:
        return None
    axes = np.sqrt(abs(level) / values)
    return np.array([*centre, axes[0], axes[1], np.arctan2(vectors[1, 0], vectors[0, 0])])


def _feet(p: Array, a: float, b: float) -> Array:
    """Return the foot of each point (N, 2) on the ellipse with axes a, b along the frame."""
    q = np.abs(p)
    t = np.arctan2(a * q[:, 1], b * q[:, 0])
    for _ in range(60):
        # Newton on the angle; the safeguard keeps it in the quadrant.
        cos, sin = np.cos(t), np.sin(t)
        g = (a * a - b * b) * cos * sin - q[:, 0] * a * sin + q[:, 1] * b * cos
        slope = (a * a - b * b) * (cos**2 - sin**2) - q[:, 0] * a * cos - q[:, 1] * b * sin
        slope = np.where(slope < -1e-12, slope, -(a * a + b * b))
        new = np.clip(t - g / slope, 0.0, np.pi / 2.0)
        done = np.abs(new - t).max() < 1e-15
        t = new
        if done:
            break
    return np.column_stack([a * np.cos(t), b * np.sin(t)]) * np.where(p < 0, -1.0, 1.0)


def _distances(theta: Array, z: Array) -> tuple[Array, Array]:
    cu, cv, a, b, angle = theta
    cos, sin = np.cos(angle), np.sin(angle)
    turn = np.array([[cos, sin], [-sin, cos]])
    p = (z - [cu, cv]) @ turn.T
    feet = _feet(p, a, b)
    normal = feet / np.array([a * a, b * b])
    normal = normal / np.linalg.norm(normal, axis=1)[:, None]
    d = ((p - feet) * normal).sum(axis=1)
    # The foot moves along the tangent, so only the curve's motion along the normal counts.
    unit = feet / np.array([a, b])
    jacobian = np.column_stack(
        [
            -(normal @ turn),
            -normal * unit,
            -(normal[:, 1] * feet[:, 0] - normal[:, 0] * feet[:, 1]),
        ]
    )
    return d, jacobian


def _descend(theta: Array, z: Array, w: Array) -> Array:
    damping = 1e-3
    d, jacobian = _distances(theta, z)
    cost = float(w @ d**2)
    for _ in range(_ROUNDS):
        normal = jacobian.T @ (jacobian * w[:, None])
        # A circle leaves the angle free: a trace of the identity keeps the rank.
        ridge = damping * (np.diag(np.diag(normal)) + 1e-9 * np.trace(normal) * np.eye(5))
        step = np.linalg.lstsq(normal + ridge, -jacobian.T @ (w * d), rcond=None)[0]
        trial = theta + step
        new_cost = np.inf
        if trial[2] > 1e-6 and trial[3] > 1e-6:
            new, new_jacobian = _distances(trial, z)
            new_cost = float(w @ new**2)
        if new_cost <= cost:
            gain = cost - new_cost
            theta, d, jacobian, cost = trial, new, new_jacobian, new_cost
            damping = max(damping / 10.0, 1e-15)
            if np.abs(step).max() <= 1e-11 or (gain <= 1e-16 * cost and damping < 1e-8):
                break
        else:
            damping *= 10.0
            if damping > 1e12:
                break
    return theta


def _result(theta: Array, w: Array, *, z: Array, shift: Array, scale: float) -> EllipseFit:
    d, jacobian = _distances(theta, z)
    freedom = np.count_nonzero(w) - 5
    variance = float(w @ d**2) / freedom if freedom > 0 else float("nan")
    inverse = np.linalg.pinv(jacobian.T @ (jacobian * w[:, None]), hermitian=True)
    covariance = np.asarray(inverse[:2, :2] * variance * scale**2, dtype=np.float64)
    residuals = d * scale
    for array in (covariance, residuals, w):
        array.setflags(write=False)
    cu, cv = theta[:2] * scale + shift
    a, b, angle = theta[2] * scale, theta[3] * scale, theta[4]
    if a < b:
        a, b, angle = b, a, angle + np.pi / 2.0
    return EllipseFit(
        centre_px=PointPx(float(cu), float(cv)),
        semi_axes_px=(float(a), float(b)),
        angle_rad=float(np.pi / 2.0 - (np.pi / 2.0 - angle) % np.pi),
        covariance_px2=covariance,
        residuals_px=residuals,
        sigma_px=float(np.sqrt(variance) * scale),
        weights=w,
    )
