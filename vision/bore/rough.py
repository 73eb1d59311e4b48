"""From places of the search to curves near rims: which edges belong together.

All places are looked at in one go: what is read of the picture is in parts of
each place's radius, so the arrays are alike whatever the bore's size.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.bore.picture import Planes, to_plane
from vision.bore.ranks import median, quantile
from vision.bore.rays import Curve, sample
from vision.bore.search import Place
from vision.bore.settings import FinderSettings

Array = NDArray[np.float64]
Single = NDArray[np.float32]

_RAYS = 60
_STEP = 0.04
_STEPS = np.arange(0.4, 1.68, _STEP)
_WIDE = 3
"""Samples that are averaged on each side of an edge: an eighth of the radius."""

_ANGLES = np.arange(_RAYS) * (2.0 * np.pi / _RAYS)
_COS, _SIN = np.cos(_ANGLES), np.sin(_ANGLES)


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


def roughly(planes: Planes, places: list[Place], settings: FinderSettings) -> list[Rough]:
    """Fit circles to the edges round places; those that have none are left out."""
    if not places:
        return []
    values = np.concatenate([_polar(planes, place, settings) for place in places])
    edges = _edges(values.reshape(len(places), _RAYS, len(_STEPS)))
    fits = _circles(edges, len(places))
    return [_rough(place, *fit) for place, fit in zip(places, fits, strict=True) if fit]


def _polar(planes: Planes, place: Place, settings: FinderSettings) -> Single:
    """Return the brightness on rays round a place; nan outside of the picture."""
    level = int(np.clip(np.log2(place.radius / settings.sorting_radius_px), 0, None))
    level = min(level, len(planes.pictures) - 1)
    picture = planes.pictures[level]
    u, v = to_plane(level, place.u), to_plane(level, place.v)
    rho = (place.radius / 2**level) * _STEPS
    return sample(picture, u + _COS[:, None] * rho, v + _SIN[:, None] * rho)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edges:
    """Rises of brightness: of which place, on which ray, how far out, how high."""

    place: NDArray[np.int64]
    ray: NDArray[np.int64]
    rho: Array
    height: Array
    seen: NDArray[np.int64]


def _edges(values: Single) -> _Edges:
    known = np.isfinite(values)
    filled = np.where(known, values, 0.0)
    total = np.cumsum(np.pad(filled, ((0, 0), (0, 0), (1, 0))), axis=2)
    means = (total[:, :, _WIDE:] - total[:, :, :-_WIDE]) / _WIDE
    response = means[:, :, _WIDE:] - means[:, :, :-_WIDE]
    whole = known.all(axis=2)
    if not whole.all():
        outside = np.cumsum(np.pad(~known, ((0, 0), (0, 0), (1, 0))), axis=2)
        response[(outside[:, :, 2 * _WIDE :] - outside[:, :, : -2 * _WIDE]) > 0] = 0.0
    inner = response[:, :, 1:-1]
    highest = response.max(axis=2, keepdims=True)
    middle = np.partition(highest, _RAYS // 2, axis=1)[:, _RAYS // 2 : _RAYS // 2 + 1]
    peak = (inner >= response[:, :, :-2]) & (inner > response[:, :, 2:])
    peak &= inner > np.maximum(np.maximum(0.3 * highest, 0.2 * middle), 1e-3)
    place, ray, at = np.nonzero(peak)
    height = inner[place, ray, at].astype(np.float64)
    before, after = response[place, ray, at], response[place, ray, at + 2]
    bend = np.maximum(2.0 * height - before - after, 1e-9)
    offset = np.clip(0.5 * (after - before) / bend, -0.5, 0.5)
    # Peak number k stands between samples k + wide and k + wide + 1.
    rho = _STEPS[0] + (at + 1 + _WIDE - 0.5 + offset) * _STEP
    return _Edges(place=place, ray=ray, rho=rho, height=height, seen=whole.sum(axis=1))


_Fit = tuple[Array, float, float, float]


def _circles(edges: _Edges, count: int) -> list[_Fit | None]:
    """Fit a circle per place: how far off, in parts of its radius, and what speaks for it."""
    numbers = np.bincount(edges.place, minlength=count)
    strength = np.zeros(len(edges.place))
    starts = np.concatenate([[0], np.cumsum(numbers)])
    for k in range(count):
        one = slice(starts[k], starts[k + 1])
        if numbers[k]:
            strength[one] = np.minimum(edges.height[one] / quantile(edges.height[one], 0.85), 1.0)
    cos, sin = _COS[edges.ray], _SIN[edges.ray]
    design = np.stack([cos, sin, np.ones_like(cos)], axis=1)
    off = edges.rho - 1.0
    products = np.einsum("ni,nj->nij", design, design).reshape(-1, 9)
    terms = np.concatenate([products, design * off[:, None]], axis=1)
    p = np.zeros((count, 3))
    full = numbers >= _RAYS // 4
    some = numbers > 0
    # Graduated: first all edges near by pull, in the end only those that agree.
    for width in (0.17, 0.12, 0.09, 0.065, 0.05, 0.05):
        left = off - np.einsum("ni,ni->n", design, p[edges.place])
        w = strength * np.exp(-0.5 * (left / (width + 0.015)) ** 2)
        sums = np.zeros((count, 12))
        sums[some] = np.add.reduceat(terms * w[:, None], starts[:-1][some], axis=0)
        normal = sums[:, :9].reshape(count, 3, 3) + 1e-9 * np.eye(3)
        p = np.asarray(np.linalg.solve(normal, sums[:, 9:, None])[:, :, 0], dtype=np.float64)
        full &= np.abs(p).max(axis=1) < 0.6
        p[~full] = 0.0
    left = off - np.einsum("ni,ni->n", design, p[edges.place])
    close = np.abs(left) < 0.07 + 0.035
    return [_judged(edges, close, k, p[k]) if full[k] else None for k in range(count)]


def _judged(edges: _Edges, close: NDArray[np.bool_], k: int, p: Array) -> _Fit | None:
    mine = close & (edges.place == k)
    rays = int(np.count_nonzero(np.bincount(edges.ray[mine])))
    seen = int(edges.seen[k])
    if rays == 0 or seen == 0:
        return None
    middle = median(edges.height[mine])
    # Both must be good: an even ring of dirt has coverage, a glint has height.
    score = (min(rays / seen, 1.0)) ** 2 * middle
    return p, rays / _RAYS, middle, score


def _rough(place: Place, p: Array, coverage: float, height: float, score: float) -> Rough:
    return Rough(
        curve=Curve(
            u=place.u + float(p[0]) * place.radius,
            v=place.v + float(p[1]) * place.radius,
            radius=place.radius * (1.0 + float(p[2])),
        ),
        coverage=coverage,
        height=height,
        score=score,
    )
