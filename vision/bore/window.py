"""What the picture holds on rays across a rim: just the edge, the land's slope taken off."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.bore.picture import Picture
from vision.bore.ranks import median
from vision.bore.rays import Curve, Rays, cast, whole_rays
from vision.bore.settings import FinderSettings
from vision.geometry.loss import HUBER, MAD_TO_SIGMA

Array = NDArray[np.float64]
Single = NDArray[np.float32]


def windowed(
    picture: Picture,
    curve: Curve,
    settings: FinderSettings,
    *,
    blur: float,
    half: float,
    reach: float,
    most: int,
    level: bool,
) -> Rays:
    """Cast rays over just the edge.

    Parameters
    ----------
    picture
        Grey.
    curve
        Where the edge is about.
    settings
        Density of rays and samples.
    blur
        Gaussian blur of the edge, px.
    half
        How far the window reaches to both sides, px.
    reach
        How far off the edge may be, px.
    most
        No more rays than that.
    level
        Whether to take the land's slope off.
    """
    half = float(min(half, 0.75 * curve.radius))
    beyond = half + max(6.0, 0.3 * curve.radius) if level else half
    count = int(np.clip(settings.rays_per_px * 2 * np.pi * curve.radius, 64, most))
    rays = cast(
        picture,
        curve,
        count=count,
        inside=-half,
        outside=beyond,
        step=settings.sample_step_px if blur < 2.0 else 2.0 * settings.sample_step_px,
    )
    values = _without_slope(rays, curve.radius, blur, half) if level else rays.values
    inside = _dark_width(rays, half, reach)
    window = (rays.steps >= -inside) & (rays.steps <= half)
    values = np.ascontiguousarray(values[:, window])
    return replace(
        rays,
        steps=rays.steps[window],
        values=values,
        known=whole_rays(values),
    )


def _without_slope(rays: Rays, radius: float, blur: float, half: float) -> Single:
    """Return the brightness less the slope of the land beyond the edge.

    A land that brightens to one side would draw the edge towards it: the template
    knows level land only. Slopes of single rays are texture; only what varies
    evenly round the rim (mean, cos and sin) is taken off.

    The slope over a few pixels is poorly known, and whatever is wrong with it moves the
    centre. But light that grows to one side also makes the land's level differ from side
    to side, by the slope times the radius; that level is known from the whole rim. So the
    level says what slope to expect, give or take half of it, and the slope that is seen
    counts as far as it is better known.
    """
    beyond = rays.steps > max(2.5 * blur, 0.5 * half)
    if beyond.sum() < 4 or rays.known.sum() < 12:
        return rays.values
    middle = float(rays.steps[beyond].mean())
    x = (rays.steps[beyond] - middle).astype(np.float32)
    known = rays.known
    land = rays.values[:, beyond][known]
    waves = np.stack([np.ones_like(rays.angles), np.cos(rays.angles), np.sin(rays.angles)], axis=1)
    seen, seen_variance = _evenly(waves[known], (land @ x) / float(x @ x))
    level, level_variance = _evenly(waves[known], land.mean(axis=1))
    expected = level[1:] / (radius + middle)
    doubt = (0.5 * expected) ** 2 + 2.0 * level_variance / (radius + middle) ** 2
    seen[1:] = expected + doubt / (doubt + seen_variance) * (seen[1:] - expected)
    z = rays.steps / blur
    ramp = blur * (z * ndtr(z) + np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi))
    slopes: Single = (waves @ seen).astype(np.float32)
    flat: Single = rays.values - slopes[:, None] * ramp.astype(np.float32)
    return flat


def _evenly(waves: Array, values: NDArray[np.floating]) -> tuple[Array, float]:
    """Return mean, cos and sin of values round the rim, and the variance of each.

    Values that lie far off are drawn in to where Huber's loss begins to spare them
    (his pseudo-values: Huber 1981, Robust Statistics, section 7.8).
    """
    inverse = np.linalg.inv(waves.T @ waves + 1e-9 * np.eye(3)) @ waves.T
    fit = inverse @ values
    for _ in range(3):
        left = values - waves @ fit
        reach = HUBER * MAD_TO_SIGMA * median(np.abs(left)) + 1e-12
        fit = fit + inverse @ np.clip(left, -reach, reach)
    return fit, float(left @ left) * 2.0 / len(values) ** 2


def _dark_width(rays: Rays, half: float, reach: float) -> float:
    """Return how far inside the edge it stays dark, at most `half`.

    Plastic brighter than the bore leaves a thin dark gap: the window must end
    in it.
    """
    if not rays.known.any():
        return half
    profile = np.median(rays.values[rays.known][:: max(1, len(rays.angles) // 64)], axis=0)
    inner = rays.steps <= max(0.5 * reach, 1.0)
    lowest = int(profile[inner].argmin())
    bright = median(profile[rays.steps > 0.5 * half])
    rise = float(profile[: lowest + 1].max() - profile[lowest])
    if rise < 0.2 * (bright - profile[lowest]):
        return half
    return float(min(half, max(-rays.steps[lowest] + 0.5, 1.0)))
