"""Brightness along rays across the rim, and where on each ray the edge lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.bore.picture import Picture

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """An ellipse as the rays see it.

    Attributes
    ----------
    u, v
        Centre.
    radius
        Mean radius.
    e_cos, e_sin
        Second harmonic of the radius: half the difference of the semi-axes, times
        cos and sin of twice the major axis' direction.
    """

    u: float
    v: float
    radius: float
    e_cos: float = 0.0
    e_sin: float = 0.0

    def at(self, angles: Array) -> Array:
        """Return the radius at these directions from the centre."""
        e = np.hypot(self.e_cos, self.e_sin)
        if e == 0.0:
            return np.full(angles.shape, self.radius)
        turn = 0.5 * np.arctan2(self.e_sin, self.e_cos)
        a, b = self.radius + e, self.radius - e
        around = angles - turn
        radii: Array = a * b / np.hypot(b * np.cos(around), a * np.sin(around))
        return radii

    def moved(self, change: Array) -> Curve:
        """Return the curve after a change of (u, v, radius, e_cos, e_sin)."""
        du, dv, dr, dc, ds = (float(c) for c in change)
        return Curve(
            u=self.u + du,
            v=self.v + dv,
            radius=self.radius + dr,
            e_cos=self.e_cos + dc,
            e_sin=self.e_sin + ds,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rays:
    """Brightness on rays across a curve.

    Attributes
    ----------
    angles
        Shape (N,), directions of the rays.
    steps
        Shape (M,), distance from the curve, outside positive.
    values
        Shape (N, M); nan outside the picture.
    spacing_px
        Distance of neighbouring rays at the rim.
    """

    angles: Array
    steps: Array
    values: Array
    spacing_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """One edge on each ray.

    Attributes
    ----------
    shift
        Shape (N,), from the curve outwards.
    height
        Shape (N,), bright minus dark, in parts of full scale.
    gain
        Shape (N,), sd of `shift` for pixel noise of one.
    match
        Shape (N,), 0 to 1: how much of the ray's variation the edge explains.
    """

    shift: Array
    height: Array
    gain: Array
    match: Array


def cast(
    picture: Picture, curve: Curve, *, count: int, inside: float, outside: float, step: float
) -> Rays:
    """Sample the picture on `count` rays from `inside` to `outside` of the curve."""
    angles: Array = np.arange(count, dtype=np.float64) * (2.0 * np.pi / count)
    first = np.ceil(inside / step)
    steps = np.arange(first, np.floor(outside / step) + 1) * step
    rho = np.maximum(curve.at(angles)[:, None] + steps[None, :], 0.0)
    values = _sample(
        picture,
        curve.u + rho * np.cos(angles)[:, None],
        curve.v + rho * np.sin(angles)[:, None],
    )
    return Rays(
        angles=angles,
        steps=steps,
        values=values,
        spacing_px=2.0 * np.pi * curve.radius / count,
    )


def _sample(picture: Picture, u: Array, v: Array) -> Array:
    left, top = max(int(np.floor(u.min())), 0), max(int(np.floor(v.min())), 0)
    right = min(int(np.floor(u.max())) + 2, picture.width)
    bottom = min(int(np.floor(v.max())) + 2, picture.height)
    if right - left < 2 or bottom - top < 2:
        return np.full(u.shape, np.nan)
    plane = picture.cut(left, top, right, bottom).ravel()
    wide = right - left
    x = np.clip(u - left, 0.0, right - left - 1.000001)
    y = np.clip(v - top, 0.0, bottom - top - 1.000001)
    column, row = x.astype(np.int64), y.astype(np.int64)
    fx, fy = x - column, y - row
    at = row * wide + column
    above = plane[at] * (1.0 - fx) + plane[at + 1] * fx
    below = plane[at + wide] * (1.0 - fx) + plane[at + wide + 1] * fx
    values: Array = above * (1.0 - fy) + below * fy
    out_u = np.logical_or(u < 0, u > picture.width - 1)
    out_v = np.logical_or(v < 0, v > picture.height - 1)
    return np.where(np.logical_or(out_u, out_v), np.nan, values)


def match_edges(rays: Rays, blur: float, reach: float) -> Edges:
    """Find on each ray the edge from dark to bright that explains it best.

    Dark and bright level are free on each ray. A bank of blurred steps within
    `reach` of the curve gives the nearest whole step; its pseudo-inverse for
    (dark, height, height x shift) gives the rest.
    """
    x = rays.steps
    step = float(x[1] - x[0])
    known = np.isfinite(rays.values).all(axis=1)
    y = np.where(np.expand_dims(known, 1), rays.values, 0.0)
    offsets = np.arange(-np.floor(reach / step), np.floor(reach / step) + 1) * step
    z = (x[None, :] - offsets[:, None]) / blur
    templates = ndtr(z)
    centred = templates - templates.mean(axis=1, keepdims=True)
    norm = np.linalg.norm(centred, axis=1)
    response = y @ (centred / norm[:, None]).T
    best = response.argmax(axis=1)
    slopes = -np.exp(-0.5 * z**2) / (np.sqrt(2.0 * np.pi) * blur)
    columns = np.stack([np.ones_like(templates), templates, slopes], axis=1)
    gram = columns @ columns.transpose(0, 2, 1)
    # Far from the middle of the window a step looks like level land: keep the rank.
    gram += 1e-9 * len(x) * np.eye(3)
    inverses = np.linalg.solve(gram, columns)
    rows = inverses[best]
    levels = np.einsum("nkm,nm->nk", rows, y)
    height = response[np.arange(len(y)), best] / norm[best]
    small = 1e-6
    shift = np.clip(levels[:, 2] / np.maximum(levels[:, 1], small), -step, step)
    total = ((y - y.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    explained = np.maximum(response[np.arange(len(y)), best], 0.0) ** 2
    # Noise of interpolated samples is correlated; its sum along smooth weights is
    # that of white noise of one pixel, so samples count by the area they stand for.
    area = step * rays.spacing_px
    gain = np.linalg.norm(rows[:, 2], axis=1) / np.sqrt(area) / np.maximum(height, small)
    usable = known & (height > small)
    return Edges(
        shift=np.where(usable, offsets[best] + shift, np.nan),
        height=np.where(usable, height, 0.0),
        gain=gain,
        match=np.where(usable, explained / np.maximum(total, 1e-12), 0.0),
    )
