"""The rim to a part of a pixel: edges on rays, robust fit, a few rounds."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.bore.picture import Picture
from vision.bore.rays import Curve, Edges, Rays, cast, match_edges
from vision.bore.settings import FinderSettings
from vision.geometry.loss import HUBER, MAD_TO_SIGMA, robust_weights

Array = NDArray[np.float64]

_BLURS = np.geomspace(0.45, 24.0, 24)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rim:
    """A fitted rim with what is needed to judge it.

    Attributes
    ----------
    curve
        The fitted ellipse.
    angles
        Shape (N,), directions of the rays from the centre.
    residuals
        Shape (N,), distance of the edge from the curve; nan where there is none.
    weights
        Shape (N,), weight in the fit, 0 where not believed.
    gain
        Shape (N,), sd of an edge's place for pixel noise of one.
    heights
        Shape (N,), bright minus dark, in parts of full scale.
    blur
        Gaussian blur of the edge, px.
    seen
        Share of the rays that lie in the picture.
    prior
        Shape (5,), information on (u, v, radius, e_cos, e_sin) besides the rays.
    """

    curve: Curve
    angles: Array
    residuals: Array
    weights: Array
    gain: Array
    heights: Array
    blur: float
    seen: float
    prior: Array

    @property
    def believed(self) -> NDArray[np.bool_]:
        """Which rays count for at least a quarter of a good one."""
        good = float(np.quantile(self.weights, 0.9))
        return self.weights > 0.25 * good if good > 0 else np.zeros(len(self.weights), bool)


def design_matrix(angles: Array) -> Array:
    """Return how (u, v, radius, e_cos, e_sin) move the curve along each ray: (N, 5)."""
    return np.column_stack(
        [
            np.cos(angles),
            np.sin(angles),
            np.ones_like(angles),
            np.cos(2 * angles),
            np.sin(2 * angles),
        ]
    )


def fit_rim(
    picture: Picture,
    start: Curve,
    noise: float,
    settings: FinderSettings,
    *,
    reach: float | None = None,
    blur: float | None = None,
) -> Rim | None:
    """Fit the rim near `start`; None where the rounds run away.

    `reach` and `blur` are first guesses: how far off the edge may be, and how soft.
    A given `reach` is kept: another edge is near.
    """
    curve, kept = start, reach
    blur = max(1.0, 0.05 * start.radius) if blur is None else blur
    reach = 0.06 * start.radius + 2.0 if reach is None else reach
    rim: Rim | None = None
    for _ in range(settings.rounds):
        rays = _windowed(picture, curve, blur, reach, settings, tight=kept is not None)
        if not np.isfinite(rays.values).all(axis=1).any():
            return None
        edges = match_edges(rays, blur, reach)
        rim = _fitted(rays, edges, curve, blur, noise, settings)
        if rim is None or abs(rim.curve.radius - start.radius) > 0.35 * start.radius:
            return None
        curve = rim.curve
        # With another edge near, the mean profile is both of them.
        blur = _blur_of(rays, rim, blur) if kept is None else min(_blur_of(rays, rim, blur), 1.2)
        reach = 1.0 * blur + 1.0 if kept is None else kept
    return rim


def _windowed(
    picture: Picture,
    curve: Curve,
    blur: float,
    reach: float,
    settings: FinderSettings,
    *,
    tight: bool,
) -> Rays:
    """Cast rays over just the edge, the land's slope taken off."""
    half = 1.5 * blur + 1.0 + reach if tight else 2.5 * blur + 1.5 + reach
    half = float(min(half, 0.75 * curve.radius))
    beyond = half + max(4.0, 0.2 * curve.radius)
    rays = _cast(picture, curve, half, beyond, settings)
    level = _without_slope(rays, blur, half)
    inside = _dark_width(rays, half, reach)
    window = (rays.steps >= -inside) & (rays.steps <= half)
    return replace(rays, steps=rays.steps[window], values=level[:, window])


def _without_slope(rays: Rays, blur: float, half: float) -> Array:
    """Return the brightness less the slope of the land beyond the edge.

    A land that brightens to one side would draw the edge towards it: the template
    knows level land only. Slopes of single rays are texture; only what varies
    evenly round the rim (mean, cos and sin) is taken off.
    """
    beyond = rays.steps > max(2.0 * blur, 0.5 * half)
    if beyond.sum() < 4:
        return rays.values
    x = rays.steps[beyond] - rays.steps[beyond].mean()
    slopes = (rays.values[:, beyond] @ x) / float(x @ x)
    known = np.isfinite(slopes)
    if known.sum() < 12:
        return rays.values
    waves = design_matrix(rays.angles)[:, :3]
    factors = np.ones(int(known.sum()))
    fit = np.zeros(3)
    for _ in range(5):
        rows = waves[known] * factors[:, None]
        fit = np.linalg.lstsq(rows, slopes[known] * factors, rcond=None)[0]
        left = slopes[known] - waves[known] @ fit
        spread = MAD_TO_SIGMA * float(np.median(np.abs(left))) + 1e-12
        factors = np.sqrt(np.minimum(HUBER * spread / np.maximum(np.abs(left), 1e-12), 1.0))
    # A slope no larger than its own noise would only add noise: shrink it (James-Stein).
    noise = float(np.mean(np.square(left))) * 2.0 / int(known.sum())
    fit = fit * max(0.0, 1.0 - 6.0 * noise / max(float(fit @ fit), 1e-18))
    z = rays.steps / blur
    ramp = blur * (z * ndtr(z) + np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi))
    return np.asarray(rays.values - (waves @ fit)[:, None] * ramp[None, :], dtype=np.float64)


def _dark_width(rays: Rays, half: float, reach: float) -> float:
    """Return how far inside the edge it stays dark, at most `half`.

    Plastic brighter than the bore leaves a thin dark gap: the window must end
    in it.
    """
    known = np.isfinite(rays.values).all(axis=1)
    if not known.any():
        return half
    profile = np.median(rays.values[known], axis=0)
    inner = rays.steps <= max(0.5 * reach, 1.0)
    lowest = int(profile[inner].argmin())
    bright = float(np.median(profile[rays.steps > 0.5 * half]))
    rise = float(profile[: lowest + 1].max() - profile[lowest])
    if rise < 0.2 * (bright - profile[lowest]):
        return half
    return float(min(half, max(-rays.steps[lowest] + 0.5, 1.0)))


def _cast(
    picture: Picture, curve: Curve, inside: float, outside: float, settings: FinderSettings
) -> Rays:
    count = int(np.clip(settings.rays_per_px * 2 * np.pi * curve.radius, 64, 1440))
    return cast(
        picture,
        curve,
        count=count,
        inside=-inside,
        outside=outside,
        step=settings.sample_step_px,
    )


def _fitted(
    rays: Rays, edges: Edges, curve: Curve, blur: float, noise: float, settings: FinderSettings
) -> Rim | None:
    usable = np.isfinite(edges.shift) & (edges.match > 0.4)
    if usable.sum() < 12:
        return None
    middle = float(np.median(edges.height[usable]))
    usable &= edges.height > 0.2 * middle
    if usable.sum() < 12:
        return None
    shift = np.where(usable, edges.shift, 0.0)
    variance = (edges.gain * max(noise, 1e-4)) ** 2
    design = design_matrix(rays.angles)
    tight = 1.0 / (settings.ellipticity_sigma * curve.radius) ** 2
    prior = np.array([0.0, 0.0, 0.0, tight, tight])
    at = np.array([0.0, 0.0, 0.0, curve.e_cos, curve.e_sin])
    structure = 0.0
    factors = usable.astype(np.float64)
    change = np.zeros(5)
    for _ in range(12):
        w = factors / (variance + structure)
        normal = design.T @ (design * w[:, None]) + np.diag(prior)
        before = change
        change = np.linalg.solve(normal, design.T @ (w * shift) - prior * at)
        residuals = shift - design @ change
        base = usable / (variance + structure)
        factors = usable * robust_weights(residuals, base, "tukey", floor=1.0)
        structure = _structure(residuals, variance, factors)
        if np.abs(change - before).max() < 1e-5:
            break
    seen = float(np.isfinite(rays.values).all(axis=1).mean())
    return Rim(
        curve=curve.moved(change),
        angles=rays.angles,
        residuals=np.where(usable, shift - design @ change, np.nan),
        weights=factors / (variance + structure),
        gain=edges.gain,
        heights=edges.height,
        blur=blur,
        seen=seen,
        prior=prior,
    )


def _structure(residuals: Array, variance: Array, factors: Array) -> float:
    """Return the variance of residuals that noise does not explain."""
    total = float(factors.sum())
    if total <= 0:
        return 0.0
    excess = float((factors * (residuals**2 - variance)).sum() / total)
    return max(excess, 0.0)


def _blur_of(rays: Rays, rim: Rim, before: float) -> float:
    """Return the blur of the mean profile of the believed rays."""
    believed = rim.believed & np.isfinite(rays.values).all(axis=1)
    if believed.sum() < 8:
        return before
    profile = np.average(rays.values[believed], axis=0, weights=rim.weights[believed])
    x = rays.steps
    shifts = np.linspace(-1.0, 1.0, 9) * max(1.0, 0.5 * before)
    z = (x[None, None, :] - shifts[None, :, None]) / _BLURS[:, None, None]
    templates = ndtr(z)
    templates -= templates.mean(axis=2, keepdims=True)
    norms = np.linalg.norm(templates, axis=2)
    match = (templates @ (profile - profile.mean())) / np.maximum(norms, 1e-9)
    best = match.max(axis=1)
    k = int(best.argmax())
    if 0 < k < len(_BLURS) - 1:
        a, b, c = best[k - 1], best[k], best[k + 1]
        bend = a - 2 * b + c
        offset = 0.5 * (a - c) / bend if bend < 0 else 0.0
        return float(_BLURS[k] * (_BLURS[1] / _BLURS[0]) ** np.clip(offset, -0.5, 0.5))
    return float(_BLURS[k])
