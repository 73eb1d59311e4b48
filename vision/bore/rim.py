"""The rim to a part of a pixel: edges on rays, robust fit, a few rounds."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.bore.picture import Picture
from vision.bore.ranks import median, quantile
from vision.bore.rays import Curve, Edges, Rays, local_edges, search_edges
from vision.bore.settings import FinderSettings
from vision.bore.window import windowed
from vision.geometry.loss import MAD_TO_SIGMA, TUKEY

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
    believed
        Shape (N,), which rays have an edge on the curve that is worth a part of a good one's.
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
    factors
        Shape (N,), how far each edge lies on the curve, 1 to 0 (Tukey's loss).
    second_at, second_height
        Shape (N,), second steps beside the edge, as in `Edges`.
    plain_px
        (u, v) of the centre that one step a ray gives.
    """

    curve: Curve
    angles: Array
    residuals: Array
    weights: Array
    believed: NDArray[np.bool_]
    gain: Array
    heights: Array
    blur: float
    seen: float
    prior: Array
    rays: Rays
    factors: Array
    second_at: Array
    second_height: Array
    plain_px: tuple[float, float]


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


def fit_rim(picture: Picture, start: Curve, noise: float, settings: FinderSettings) -> Rim | None:
    """Fit the rim near `start`, of which only the search knows; None where the rounds run away."""
    curve, blur = start, max(1.0, 0.05 * start.radius)
    reach = 0.06 * start.radius + 2.0
    rim: Rim | None = None
    # The first rounds only have to bring the edge into the next one's window.
    for turn, most in enumerate(settings.first_rays):
        window = _Window(blur=blur, half=settings.edge_window * blur + 1.0 + reach, most=most)
        rim = _searched(picture, curve, window, reach, noise, settings, level=turn > 0)
        if rim is None or _ran_away(rim, start):
            return None
        curve, blur = rim.curve, _blur_of(rim, blur)
        reach = blur + 1.0
    return None if rim is None else _finished(picture, start, rim, blur, noise, settings)


def follow_rim(
    picture: Picture, last: Curve, blur: float, noise: float, settings: FinderSettings
) -> Rim | None:
    """Fit the rim that was `last` in the picture before; None where it is no longer there."""
    curve, reach = last, 0.06 * last.radius + 2.0
    for _ in range(settings.rounds):
        window = _Window(
            blur=blur, half=settings.edge_window * blur + 1.0 + reach, most=settings.first_rays[0]
        )
        rim = _searched(picture, curve, window, reach, noise, settings, level=False)
        if rim is None or _ran_away(rim, last):
            return None
        moved = _moved(rim.curve, curve)
        curve, blur = rim.curve, _blur_of(rim, blur)
        if moved < 0.25 * reach:
            return _finished(picture, last, rim, blur, noise, settings)
    return None


def refit_rim(
    picture: Picture, start: Curve, blur: float, noise: float, settings: FinderSettings
) -> Rim | None:
    """Fit the rim on which `start` lies to a part of its blur, another edge being near."""
    curve, rim = start, None
    for _ in range(settings.rounds):
        window = _Window(blur=blur, half=1.5 * blur + 1.5, most=settings.most_rays)
        rim = _local(picture, curve, window, noise, settings)
        if rim is None or _ran_away(rim, start):
            return None
        moved = _moved(rim.curve, curve)
        # With another edge near, the mean profile is both of them.
        curve, blur = rim.curve, min(_blur_of(rim, blur), 1.2)
        if moved < settings.settled_px:
            break
    return rim


def _finished(
    picture: Picture, start: Curve, rim: Rim, blur: float, noise: float, settings: FinderSettings
) -> Rim | None:
    """Bring a rim that one step a ray gives to its last decimal."""
    plain = rim.plain_px
    for _ in range(settings.rounds):
        # Levels are better known from more of the land, where it is nothing but even.
        reach = settings.clean_window if is_clean(rim, noise) else settings.edge_window
        window = _Window(blur=blur, half=reach * blur + 2.0, most=settings.most_rays)
        curve, before = rim.curve, blur
        finer = _local(picture, curve, window, noise, settings)
        if finer is None or _ran_away(finer, start):
            return None
        rim, blur = finer, _blur_of(finer, before)
        if _moved(rim.curve, curve) < settings.settled_px and abs(blur / before - 1.0) < 0.15:
            break
    return replace(rim, plain_px=plain, blur=blur)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Window:
    """Blur that is expected, half width, and number of rays at most."""

    blur: float
    half: float
    most: int


def _searched(
    picture: Picture,
    curve: Curve,
    window: _Window,
    reach: float,
    noise: float,
    settings: FinderSettings,
    *,
    level: bool,
) -> Rim | None:
    rays = _cast(picture, curve, window, reach, settings, level=level)
    if not rays.known.any():
        return None
    edges = search_edges(rays, window.blur, reach)
    return _fitted(rays, edges, curve, window.blur, noise, settings)


def _local(
    picture: Picture, curve: Curve, window: _Window, noise: float, settings: FinderSettings
) -> Rim | None:
    rays = _cast(picture, curve, window, window.blur + 1.0, settings, level=True)
    if not rays.known.any():
        return None
    edges = local_edges(rays, window.blur, noise)
    return _fitted(rays, edges, curve, window.blur, noise, settings)


def _cast(
    picture: Picture,
    curve: Curve,
    window: _Window,
    reach: float,
    settings: FinderSettings,
    *,
    level: bool,
) -> Rays:
    return windowed(
        picture,
        curve,
        settings,
        blur=window.blur,
        half=window.half,
        reach=reach,
        most=window.most,
        level=level,
    )


def _ran_away(rim: Rim, start: Curve) -> bool:
    return abs(rim.curve.radius - start.radius) > 0.35 * start.radius


def _moved(one: Curve, other: Curve) -> float:
    return float(np.hypot(one.u - other.u, one.v - other.v))


def is_clean(rim: Rim, noise: float) -> bool:
    """Whether noise alone explains how the edges scatter about the curve, all of them."""
    believed = rim.weights > 0
    # An ellipse can pass for a circle whose edge break is lit from one side.
    oval = np.hypot(rim.curve.e_cos, rim.curve.e_sin) > 0.004 * rim.curve.radius
    if oval or believed.mean() < 0.95 or np.isfinite(rim.second_at).mean() > 0.1:
        return False
    scatter = MAD_TO_SIGMA * median(np.abs(rim.residuals[believed]))
    return bool(scatter < 1.4 * max(noise, 1e-4) * median(rim.gain[believed]))


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
    for _ in range(6):
        w = factors / (variance + structure)
        weighted = design.T * w
        before = change
        change = np.linalg.solve(weighted @ design + information, weighted @ shift - prior * at)
        residuals = shift - design @ change
        scaled = np.abs(residuals) / np.sqrt(variance + structure)
        x = scaled / max(MAD_TO_SIGMA * median(scaled[usable]), 1.0)
        factors = np.where(usable & (x < TUKEY), (1.0 - (x / TUKEY) ** 2) ** 2, 0.0)
        structure = _structure(residuals, variance, factors)
        if np.abs(change - before).max() < 2e-3:
            break
    weights = factors / (variance + structure)
    good = quantile(weights, 0.9)
    return Rim(
        curve=curve.moved(change),
        angles=rays.angles,
        residuals=np.where(usable, shift - design @ change, np.nan),
        weights=weights,
        believed=(factors > 0.3) & (weights > settings.least_weight * good) & (good > 0),
        gain=edges.gain,
        heights=edges.height,
        blur=blur,
        seen=float(rays.known.mean()),
        prior=prior,
        rays=rays,
        factors=factors,
        second_at=edges.second_at,
        second_height=edges.second_height,
        plain_px=(curve.u + float(change[0]), curve.v + float(change[1])),
    )


def _structure(residuals: Array, variance: Array, factors: Array) -> float:
    """Return the variance of residuals that noise does not explain."""
    total = float(factors.sum())
    if total <= 0:
        return 0.0
    excess = float((factors * (residuals**2 - variance)).sum() / total)
    return max(excess, 0.0)


def _blur_of(rim: Rim, before: float) -> float:
    """Return the blur of the mean profile of the believed rays."""
    rays = rim.rays
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
