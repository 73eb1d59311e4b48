"""The rim to a part of a pixel: edges on rays, robust fit, a few rounds."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.bore.picture import Picture
from vision.bore.ranks import median, quantile
from vision.bore.rays import Curve, Edges, Rays, cast, local_edges, search_edges, whole_rays
from vision.bore.settings import FinderSettings
from vision.geometry.loss import HUBER, MAD_TO_SIGMA, TUKEY

Array = NDArray[np.float64]
Single = NDArray[np.float32]

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
    rays
        What the picture holds on the rays, the land's slope taken off.
    double_share
        Share of the rays that have a second step beside their edge.
    plain_px
        (u, v) of the centre that one step a ray gives.
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
    rays: Rays
    double_share: float
    plain_px: tuple[float, float]

    @property
    def believed(self) -> NDArray[np.bool_]:
        """Which rays count for at least a quarter of a good one."""
        good = quantile(self.weights, 0.9)
        return self.weights > 0.25 * good if good > 0 else np.zeros(len(self.weights), bool)


def design_matrix(angles: Array) -> Array:
    """Return how (u, v, radius, e_cos, e_sin) move the curve along each ray: (N, 5)."""
    return np.stack(
        [
            np.cos(angles),
            np.sin(angles),
            np.ones_like(angles),
            np.cos(2 * angles),
            np.sin(2 * angles),
        ],
        axis=1,
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
    wide: float | None = None
    plain = (start.u, start.v)
    for turn in range(settings.rounds + (3 if kept is not None else 0)):
        # The first rounds only have to bring the edge into the next one's window.
        coarse = kept is None and turn < len(settings.first_rays)
        most = settings.first_rays[turn] if coarse else settings.most_rays
        half = 1.5 * blur + 1.0 + reach if kept else (wide or settings.edge_window) * blur + 2.0
        if turn < 2 and kept is None:
            half += reach - 1.0
        rays = _windowed(picture, curve, blur, reach, settings, most, half)
        if not rays.known.any():
            return None
        edges = (
            search_edges(rays, blur, reach)
            if turn < 2 and kept is None
            else local_edges(rays, blur, noise)
        )
        rim = _fitted(rays, edges, curve, blur, noise, settings)
        if rim is None or abs(rim.curve.radius - start.radius) > 0.35 * start.radius:
            return None
        if turn < 2:
            plain = rim.plain_px
        rim = replace(rim, plain_px=plain)
        moved = np.hypot(rim.curve.u - curve.u, rim.curve.v - curve.v)
        curve = rim.curve
        # Levels are better known from more of the land, where it is nothing but even.
        wide = settings.clean_window if kept is None and is_clean(rim, noise) else None
        before = blur
        # With another edge near, the mean profile is both of them.
        blur = _blur_of(rays, rim, blur) if kept is None else min(_blur_of(rays, rim, blur), 1.2)
        reach = 1.0 * blur + 1.0 if kept is None else kept
        if turn >= 2 and moved < 0.02 and abs(blur / before - 1.0) < 0.1:
            break
    return rim


def is_clean(rim: Rim, noise: float) -> bool:
    """Whether noise alone explains how the edges scatter about the curve, all of them."""
    believed = rim.weights > 0
    # An ellipse can pass for a circle whose edge break is lit from one side.
    oval = np.hypot(rim.curve.e_cos, rim.curve.e_sin) > 0.004 * rim.curve.radius
    if oval or believed.mean() < 0.95 or rim.double_share > 0.1:
        return False
    scatter = MAD_TO_SIGMA * median(np.abs(rim.residuals[believed]))
    return bool(scatter < 1.4 * max(noise, 1e-4) * median(rim.gain[believed]))


def _windowed(
    picture: Picture,
    curve: Curve,
    blur: float,
    reach: float,
    settings: FinderSettings,
    most: int,
    half: float,
) -> Rays:
    """Cast rays over just the edge, the land's slope taken off."""
    half = float(min(half, 0.75 * curve.radius))
    beyond = half + max(6.0, 0.3 * curve.radius)
    count = int(np.clip(settings.rays_per_px * 2 * np.pi * curve.radius, 64, most))
    rays = cast(
        picture,
        curve,
        count=count,
        inside=-half,
        outside=beyond,
        step=settings.sample_step_px if blur < 2.0 else 2.0 * settings.sample_step_px,
    )
    level = (
        rays.values
        if count == settings.first_rays[0]
        else _without_slope(rays, curve.radius, blur, half)
    )
    inside = _dark_width(rays, half, reach)
    window = (rays.steps >= -inside) & (rays.steps <= half)
    values = np.ascontiguousarray(level[:, window])
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
    land = rays.values[:, beyond][rays.known]
    waves = design_matrix(rays.angles)[:, :3]
    seen, seen_variance = _evenly(waves[rays.known], (land @ x) / float(x @ x))
    level, level_variance = _evenly(waves[rays.known], land.mean(axis=1))
    expected = level[1:] / (radius + middle)
    doubt = (0.5 * expected) ** 2 + 2.0 * level_variance / (radius + middle) ** 2
    fit = seen.copy()
    fit[1:] = expected + doubt / (doubt + seen_variance) * (seen[1:] - expected)
    z = rays.steps / blur
    ramp = blur * (z * ndtr(z) + np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi))
    return np.asarray(rays.values - np.outer(waves @ fit[[1, 2, 0]], ramp).astype(np.float32))


def _evenly(waves: Array, values: NDArray[np.floating]) -> tuple[Array, float]:
    """Return mean, cos and sin of values round the rim, robustly, and the variance of each."""
    values = values.astype(np.float64)
    factors = np.ones(len(values))
    for _ in range(3):
        weighted = waves.T * factors
        fit = np.linalg.solve(weighted @ waves + 1e-9 * np.eye(3), weighted @ values)
        left = np.abs(values - waves @ fit)
        spread = MAD_TO_SIGMA * median(left) + 1e-12
        factors = np.minimum(HUBER * spread / np.maximum(left, 1e-12), 1.0)
    return np.asarray(fit[[2, 0, 1]], dtype=np.float64), float(np.mean(left**2)) * 2.0 / len(values)


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


def _fitted(
    rays: Rays, edges: Edges, curve: Curve, blur: float, noise: float, settings: FinderSettings
) -> Rim | None:
    usable = np.isfinite(edges.shift) & (edges.match > 0.4)
    if usable.sum() < 12:
        return None
    middle = median(edges.height[usable])
    usable &= edges.height > np.where(edges.double, -0.5, 0.08) * middle
    usable &= np.abs(edges.height) > 0.08 * middle
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
    information = np.diag(prior)
    for _ in range(8):
        w = factors / (variance + structure)
        weighted = design.T * w
        before = change
        change = np.linalg.solve(weighted @ design + information, weighted @ shift - prior * at)
        residuals = shift - design @ change
        scaled = np.abs(residuals) / np.sqrt(variance + structure)
        x = scaled / max(MAD_TO_SIGMA * median(scaled[usable]), 1.0)
        factors = np.where(usable & (x < TUKEY), (1.0 - (x / TUKEY) ** 2) ** 2, 0.0)
        structure = _structure(residuals, variance, factors)
        if np.abs(change - before).max() < 1e-3:
            break
    return Rim(
        curve=curve.moved(change),
        angles=rays.angles,
        residuals=np.where(usable, shift - design @ change, np.nan),
        weights=factors / (variance + structure),
        gain=edges.gain,
        heights=edges.height,
        blur=blur,
        seen=float(rays.known.mean()),
        prior=prior,
        rays=rays,
        double_share=float(edges.double.mean()),
        plain_px=(curve.u + float(change[0]), curve.v + float(change[1])),
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
    believed = rim.believed & rays.known
    if believed.sum() < 8:
        return before
    w = np.where(believed, rim.weights, 0.0).astype(np.float32)
    profile = (w @ np.where(rays.known[:, None], rays.values, 0.0)).astype(np.float64) / w.sum()
    x = rays.steps
    near = _BLURS[(before / 2.6 < _BLURS) & (before * 2.6 > _BLURS)]
    shifts = np.linspace(-1.0, 1.0, 7) * max(0.7, 0.5 * before)
    z = (x[None, None, :] - shifts[None, :, None]) / near[:, None, None]
    templates = ndtr(z)
    templates -= templates.mean(axis=2, keepdims=True)
    norms = np.linalg.norm(templates, axis=2)
    match = (templates @ (profile - profile.mean())) / np.maximum(norms, 1e-9)
    best = match.max(axis=1)
    k = int(best.argmax())
    if 0 < k < len(near) - 1:
        a, b, c = best[k - 1], best[k], best[k + 1]
        bend = a - 2 * b + c
        offset = 0.5 * (a - c) / bend if bend < 0 else 0.0
        return float(near[k] * (_BLURS[1] / _BLURS[0]) ** np.clip(offset, -0.5, 0.5))
    return float(near[k])
