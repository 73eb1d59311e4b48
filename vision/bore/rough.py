"""From a place of the search to a curve near the rim: which edges belong together."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bore.picture import Picture
from vision.bore.rays import Curve, Rays, cast
from vision.bore.search import Place
from vision.bore.settings import FinderSettings

Array = NDArray[np.float64]

_RAYS = 96
_RADIUS = 18.0
"""Radius, in reduced pixels, at which edges are sorted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rough:
    """A curve near a rim and how much speaks for it.

    Attributes
    ----------
    curve
        The circle.
    coverage
        Share of the rays that have an edge close to it.
    height
        Median height of those edges, in parts of full scale.
    score
        What places are compared by, 0 to 1.
    """

    curve: Curve
    coverage: float
    height: float
    score: float


def roughly(picture: Picture, place: Place, settings: FinderSettings) -> Rough | None:
    """Fit a circle to the edges round a place; None where there are none."""
    factor = max(1, int(place.radius / _RADIUS))
    around, left, top = _reduced_around(picture, place, factor)
    if around is None:
        return None
    half = (factor - 1) / 2.0
    curve = Curve(
        u=(place.u - left - half) / factor,
        v=(place.v - top - half) / factor,
        radius=place.radius / factor,
    )
    found = _sorted_edges(around, curve, settings)
    if found is None:
        return None
    c = found.curve
    return Rough(
        curve=Curve(
            u=c.u * factor + half + left, v=c.v * factor + half + top, radius=c.radius * factor
        ),
        coverage=found.coverage,
        height=found.height,
        score=found.score,
    )


def _reduced_around(picture: Picture, place: Place, factor: int) -> tuple[Picture | None, int, int]:
    reach = 1.8 * place.radius + 3 * factor
    left, top = max(int(place.u - reach), 0), max(int(place.v - reach), 0)
    right = min(int(place.u + reach) + 1, picture.width)
    bottom = min(int(place.v + reach) + 1, picture.height)
    high, wide = (bottom - top) // factor, (right - left) // factor
    if min(high, wide) < 8:
        return None, left, top
    plane = picture.cut(left, top, left + wide * factor, top + high * factor)
    if factor > 1:
        plane = np.asarray(
            cv2.resize(plane, (wide, high), interpolation=cv2.INTER_AREA), dtype=np.float32
        )
    return Picture(frame=plane, full_scale=1.0), left, top


def _sorted_edges(picture: Picture, curve: Curve, settings: FinderSettings) -> Rough | None:
    radius = curve.radius
    rays = cast(picture, curve, count=_RAYS, inside=-0.6 * radius, outside=0.65 * radius, step=0.5)
    ray, rho, height = _peaks(rays, radius)
    if len(ray) < _RAYS // 4:
        return None
    angles = rays.angles[ray]
    p = np.zeros(3)
    design = np.column_stack([np.cos(angles), np.sin(angles), np.ones_like(angles)])
    strength = np.minimum(height / np.quantile(height, 0.85), 1.0)
    # Graduated: first all edges near by pull, in the end only those that agree.
    for width in (0.16, 0.12, 0.09, 0.06, 0.045, 0.045):
        tau = width * radius + 0.3
        w = strength * np.exp(-0.5 * ((rho - radius - design @ p) / tau) ** 2)
        normal = design.T @ (design * w[:, None]) + 1e-9 * np.eye(3)
        p = np.linalg.solve(normal, design.T @ (w * (rho - radius)))
        if np.abs(p).max() > 0.6 * radius:
            return None
    close = np.abs(rho - radius - design @ p) < 0.07 * radius + 0.7
    on_rays = np.unique(ray[close])
    seen = np.isfinite(rays.values).all(axis=1).sum()
    if len(on_rays) == 0 or seen == 0:
        return None
    coverage = len(on_rays) / _RAYS
    middle = float(np.median(height[close]))
    # Both must be good: an even ring of dirt has coverage, a glint has height.
    score = (len(on_rays) / max(int(seen), 1)) ** 2 * middle
    fitted = curve.moved(np.array([*p, 0.0, 0.0]))
    return Rough(curve=fitted, coverage=coverage, height=middle, score=score)


def _peaks(rays: Rays, radius: float) -> tuple[NDArray[np.int64], Array, Array]:
    values = np.where(np.isfinite(rays.values), rays.values, 0.0)
    known = np.isfinite(rays.values)
    wide = max(2, round(0.12 * radius / 0.5))
    total = np.cumsum(np.pad(values, ((0, 0), (1, 0))), axis=1)
    means = (total[:, wide:] - total[:, :-wide]) / wide
    usable = np.cumsum(np.pad(~known, ((0, 0), (1, 0))), axis=1)
    usable = (usable[:, 2 * wide :] - usable[:, : -2 * wide]) == 0
    response = np.where(usable, means[:, wide:] - means[:, :-wide], 0.0)
    inner = response[:, 1:-1]
    highest = response.max(axis=1, keepdims=True)
    middle = float(np.median(highest))
    peak = (inner >= response[:, :-2]) & (inner > response[:, 2:])
    peak &= (inner > 0.3 * highest) & (inner > 0.2 * middle) & (inner > 1e-3)
    ray, at = np.nonzero(peak)
    first = float(rays.steps[0])
    # Sample number k + wide stands half a step outside of the boundary.
    rho = np.asarray(radius + first + (at + 1 + wide - 0.5) * 0.5, dtype=np.float64)
    return ray.astype(np.int64), rho, inner[ray, at]
