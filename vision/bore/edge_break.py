"""Where the edge between bore and land is broken and lit: which of its two ends is the rim.

The break's face, or the bore's wall, is bright where a lamp meets it and as dark as
the bore elsewhere. So some rays have their strongest step at the inner end and others
at the rim, and one circle through all of them is off by up to half the break's width.
Here circles are tried with each step free to lie on the circle or on a second, smaller
one; the outer of the two is the rim, where it explains the steps so much better.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.bore.picture import Picture
from vision.bore.ranks import median
from vision.bore.rays import Curve, Rays, cast
from vision.bore.rim import Rim, design_matrix, is_clean, refit_rim
from vision.bore.settings import FinderSettings

Array = NDArray[np.float64]

_RAYS = 72
_STEPS_A_RAY = 3
_SPAN_PX = 1.5
"""Length over which brightness is averaged on both sides of a step."""

_WEAKEST = 0.08
"""Height of a step, in parts of the main edge, that may be the end of a crescent."""

_WIDTHS = np.array([0.06, 0.1, 0.17, 0.28])
"""Widths of the break that are tried, in parts of the radius."""


def rim_beyond(picture: Picture, rim: Rim, noise: float, settings: FinderSettings) -> Rim:
    """Return the rim through the outer ends of a lit edge break if there is one, else `rim`."""
    if is_clean(rim, noise):
        return rim
    # An ellipse may be two circles in one: steps are seen from a circle.
    curve = replace(rim.curve, e_cos=0.0, e_sin=0.0)
    span = max(_SPAN_PX, 0.9 * rim.blur)
    reach = settings.ring_reach * curve.radius
    rays = cast(
        picture,
        curve,
        count=_RAYS,
        inside=-reach - 2.0 * span,
        outside=reach + 2.0 * span,
        step=0.5,
    )
    places, heights = _with_seconds(rim, *_steps(rays, span))
    main = _main_height(places, heights)
    real: NDArray[np.bool_] = heights > max(_WEAKEST * main, 4.0 * noise * np.sqrt(2.0 / span))
    # Of steps as high as the edge itself the innermost counts: a lamp's mirror image on
    # the land may be brighter than the land, but lies behind the edge.
    first = (np.minimum(heights, 0.8 * main) - 1e-3 * main * places).argmax(axis=1)
    strongest = first == np.arange(_STEPS_A_RAY + 1)[:, None]
    design = design_matrix(rays.angles)[:, :3]
    offset = _best_circle(
        design, places, heights, real, np.logical_and(strongest.T, real), rim, settings
    )
    if offset is None:
        return rim
    start = Curve(
        u=curve.u + float(offset[0]),
        v=curve.v + float(offset[1]),
        radius=curve.radius + float(offset[2]),
    )
    beyond = refit_rim(picture, start, rim.blur, noise, settings)
    # Two ends of an evenly lit break have one centre: there the stronger edge tells more.
    if beyond is None or not _is_aside(beyond.curve, curve, settings):
        return rim
    if _on_curve(beyond, noise) < _on_curve(rim, noise) - settings.break_share:
        return rim
    return beyond


def _is_aside(beyond: Curve, plain: Curve, settings: FinderSettings) -> bool:
    aside = float(np.hypot(beyond.u - plain.u, beyond.v - plain.v))
    return aside > max(0.25, settings.least_aside * abs(beyond.radius - plain.radius))


def _on_curve(rim: Rim, noise: float) -> float:
    """Return the share of the rays whose outermost step is on the curve, as far as noise allows."""
    tolerance = 0.2 + 0.004 * rim.curve.radius + 2.0 * noise * rim.gain
    on = np.abs(np.nan_to_num(rim.residuals, nan=1e6)) < tolerance
    beyond = (np.nan_to_num(rim.second_at) > 0) & (rim.second_height > 0)
    return float((on & ~beyond).mean())


def _steps(rays: Rays, span: float) -> tuple[Array, Array]:
    """Return place and height of the highest rises of each ray, shape (N, 3); 0 high where none."""
    step = float(rays.steps[1] - rays.steps[0])
    wide = max(2, round(span / step))
    values = np.where(np.isfinite(rays.values), rays.values, 0.0).astype(np.float64)
    total = np.cumsum(np.pad(values, ((0, 0), (1, 0))), axis=1)
    means = (total[:, wide:] - total[:, :-wide]) / wide
    rise = means[:, wide:] - means[:, :-wide]
    rise[~rays.known] = 0.0
    inner = rise[:, 1:-1]
    before, after = rise[:, :-2], rise[:, 2:]
    top = np.where((inner >= before) & (inner > after), inner, 0.0)
    at = np.argsort(-top, axis=1)[:, :_STEPS_A_RAY]
    row = np.arange(len(top))[:, None]
    bend = np.maximum(2.0 * inner - before - after, 1e-9)[row, at]
    offset = np.clip(0.5 * (after - before)[row, at] / bend, -0.5, 0.5)
    places = rays.steps[0] + (at + 1 + wide - 0.5 + offset) * step
    return places, top[row, at]


def _with_seconds(rim: Rim, places: Array, heights: Array) -> tuple[Array, Array]:
    """Add the second steps that the fit found: too near the first to have a peak of their own."""
    count = len(rim.angles)
    nearest = np.rint(np.arange(_RAYS) * (count / _RAYS)).astype(np.int64) % count
    at = (rim.second_at + rim.curve.at(rim.angles) - rim.curve.radius)[nearest]
    height = np.where(np.isfinite(at), np.maximum(rim.second_height[nearest], 0.0), 0.0)
    return (
        np.column_stack([places, np.nan_to_num(at)]),
        # A peak is measured over a span that sees only part of a step.
        np.column_stack([heights, 0.6 * height]),
    )


def _main_height(places: Array, heights: Array) -> float:
    return median(np.where(np.abs(places) < 3.0, heights, 0.0).max(axis=1))


def _best_circle(
    design: Array,
    places: Array,
    heights: Array,
    real: NDArray[np.bool_],
    strongest: NDArray[np.bool_],
    rim: Rim,
    settings: FinderSettings,
) -> Array | None:
    """Return by how much (u, v, radius) the best circle differs from the rim, None for not."""
    radius = rim.curve.radius
    capped = 0.3 + 0.006 * radius + 0.15 * rim.blur
    # What is compared with is the rim as it was fitted, oval as it may be.
    oval = rim.curve.at(np.arctan2(design[:, 1], design[:, 0])) - radius
    from_rim = np.where(real, np.abs(places - oval[:, None]), np.inf).min(axis=1)
    plain = float(np.minimum((from_rim / capped) ** 2, 1.0).mean())
    outside = np.asarray(
        (real & (places > 2.0 * capped) & (places < settings.ring_reach * radius)).any(axis=1)
    )
    if plain < settings.plain_edge and outside.mean() < settings.least_outside:
        return None
    widths, starts = _starts(design, heights, radius)
    p = starts
    for scale in (3.0, 2.0, 1.3, 1.0):
        p = _moved(design, places, real, p, widths, scale * capped)
    costs = _cost(design, places, real, p, widths, capped)
    costs += np.where(widths > 0, settings.break_penalty, 0.0)
    on_it = np.abs(places[None] - (p @ design.T)[:, :, None]) < capped
    share = (on_it & strongest[None]).any(axis=2).mean(axis=1)
    # A circle that also takes up steps which lie outside of the plain one explains more.
    further = (on_it & real[None]).any(axis=2) & outside[None]
    costs -= settings.outside_worth * further.mean(axis=1)
    inside = (np.abs(p[:, :2]).max(axis=1) < 0.25 * radius) & (np.abs(p[:, 2]) < 0.3 * radius)
    costs[(share < settings.least_shared) | ~inside] = np.inf
    best = int(costs.argmin())
    if costs[best] > plain - settings.break_gain or np.abs(p[best]).max() < 0.3:
        return None
    return np.asarray(p[best])


def _starts(design: Array, heights: Array, radius: float) -> tuple[Array, Array]:
    """Return widths (K,) and first offsets (K, 3) from which circles are tried."""
    # The lit side is where the steps are lower.
    waves = design.T @ heights.max(axis=1)
    lit = -waves[:2] / max(float(np.hypot(*waves[:2])), 1e-12)
    tried = [(0.0, np.zeros(3))]
    for width in _WIDTHS * radius:
        aside = np.array([*(0.5 * lit), 0.5]) * width
        tried += [(width, np.zeros(3)), (width, aside), (width, np.array([0.0, 0.0, width]))]
        tried.append((0.0, aside))
    return np.array([width for width, _ in tried]), np.stack([start for _, start in tried])


def _away(design: Array, places: Array, real: NDArray[np.bool_], p: Array, widths: Array) -> Array:
    """Return for each circle and ray the distance of the nearest step, shape (K, N)."""
    off = places[None] - (p @ design.T)[:, :, None]
    inner = off + widths[:, None, None]
    off = np.where(np.abs(inner) < np.abs(off), inner, off)
    off = np.where(real[None], off, 1e6)
    nearest = np.abs(off).argmin(axis=2)
    return np.asarray(np.take_along_axis(off, nearest[:, :, None], axis=2)[:, :, 0])


def _moved(
    design: Array, places: Array, real: NDArray[np.bool_], p: Array, widths: Array, scale: float
) -> Array:
    away = _away(design, places, real, p, widths)
    w = np.maximum(1.0 - (away / scale) ** 2, 0.0) ** 2
    products = np.einsum("ni,nj->nij", design, design).reshape(-1, 9)
    normal = (w @ products).reshape(-1, 3, 3) + 1e-6 * np.eye(3)
    right = (w * away) @ design
    return np.asarray(p + np.linalg.solve(normal, right[:, :, None])[:, :, 0])


def _cost(
    design: Array, places: Array, real: NDArray[np.bool_], p: Array, widths: Array, capped: float
) -> Array:
    away = _away(design, places, real, p, widths)
    return np.asarray(np.minimum((away / capped) ** 2, 1.0).mean(axis=1))
