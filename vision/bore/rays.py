"""Brightness along rays across the rim, and where on each ray the edge lies."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.bore.picture import Picture
from vision.bore.ranks import median

Array = NDArray[np.float64]
Single = NDArray[np.float32]

_SMALL = 1e-6
_ROOT_2_PI = float(np.sqrt(2.0 * np.pi))

_SECOND_STEPS = np.array([1.3, 1.8, 2.4, 3.1, 4.0])
"""Distances of a second step, in parts of the blur: nearer ones are one with the first."""

_WORTH_A_STEP = 4.0
"""Mean squared amount of a second step, over the noise of one, from which it is believed."""


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
    known
        Shape (N,), whether the whole ray lies in the picture.
    spacing_px
        Distance of neighbouring rays at the rim.
    """

    angles: Array
    steps: Array
    values: Single
    known: NDArray[np.bool_]
    spacing_px: float

    @property
    def sample_px2(self) -> float:
        """Area that a sample stands for: a ray sees no more than a pixel to its sides."""
        return float(self.steps[1] - self.steps[0]) * min(self.spacing_px, 1.0)


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
    double
        Shape (N,), whether the ray has a second step beside its edge. Only then may the
        edge fall: from a break that mirrors a lamp to a duller land.
    second_at, second_height
        Shape (N,), where that second step lies, from the curve outwards, nan where none,
        and its height.
    """

    shift: Array
    height: Array
    gain: Array
    match: Array
    double: NDArray[np.bool_]
    second_at: Array
    second_height: Array


def cast(
    picture: Picture, curve: Curve, *, count: int, inside: float, outside: float, step: float
) -> Rays:
    """Sample a grey picture on `count` rays from `inside` to `outside` of the curve."""
    angles: Array = np.arange(count, dtype=np.float64) * (2.0 * np.pi / count)
    first = np.ceil(inside / step)
    steps = np.arange(first, np.floor(outside / step) + 1) * step
    rho = np.maximum(curve.at(angles)[:, None] + steps[None, :], 0.0)
    values = sample(
        picture,
        curve.u + rho * np.cos(angles)[:, None],
        curve.v + rho * np.sin(angles)[:, None],
    )
    return Rays(
        angles=angles,
        steps=steps,
        values=values,
        known=whole_rays(values),
        spacing_px=2.0 * np.pi * curve.radius / count,
    )


def sample(picture: Picture, u: Array, v: Array) -> Single:
    """Return the brightness at (u, v), in parts of full scale; nan outside of the picture."""
    left, top = max(int(u.min()), 0), max(int(v.min()), 0)
    right = min(int(u.max()) + 2, picture.width)
    bottom = min(int(v.max()) + 2, picture.height)
    if right - left < 2 or bottom - top < 2:
        return np.full(u.shape, np.nan, np.float32)
    values = cv2.remap(
        picture.cut(left, top, right, bottom),
        (u - left).astype(np.float32),
        (v - top).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=float("nan"),
    )
    return np.asarray(values, dtype=np.float32)


def search_edges(rays: Rays, blur: float, reach: float) -> Edges:
    """Find on each ray the edge from dark to bright that explains it best.

    Dark and bright level are free on each ray. A bank of blurred steps within
    `reach` of the curve gives the nearest whole step; its pseudo-inverse for
    (dark, height, height x shift) gives the rest.
    """
    x = rays.steps
    step = float(x[1] - x[0])
    y = _filled(rays)
    offsets = np.arange(-np.floor(reach / step), np.floor(reach / step) + 1) * step
    z = (x[None, :] - offsets[:, None]) / blur
    templates = ndtr(z)
    centred = templates - templates.mean(axis=1, keepdims=True)
    norm = np.linalg.norm(centred, axis=1)
    response = y @ (centred / norm[:, None]).T.astype(np.float32)
    best = response.argmax(axis=1)
    slopes = -np.exp(-0.5 * z**2) / (np.sqrt(2.0 * np.pi) * blur)
    rows = _pseudo_inverses(np.stack([np.ones_like(templates), templates, slopes], axis=1))
    strongest = response[np.arange(len(y)), best].astype(np.float64)
    height = strongest / norm[best]
    moved = np.einsum("nm,nm->n", rows[best, 2], y)
    usual = np.einsum("nm,nm->n", rows[best, 1], y)
    shift = np.clip(moved / np.maximum(usual, _SMALL), -step, step)
    total = ((y - y.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    return _as_edges(
        rays,
        shift=offsets[best] + shift,
        height=height,
        per_noise=np.linalg.norm(rows[best, 2], axis=1),
        match=np.maximum(strongest, 0.0) ** 2 / np.maximum(total, 1e-12),
    )


def local_edges(rays: Rays, blur: float, noise: float) -> Edges:
    """Measure the edge that lies within a part of a pixel of the curve, on each ray.

    Beside the rim there may be a second step, in the window of some rays: the inner
    end of a lit edge break, plastic behind a gap, a lamp's mirror image. Where a second
    step, its distance chosen from a few, explains what one step leaves, its height is
    one more unknown of that ray. What the profile of all rays has in common (it is
    never quite a Gaussian's integral) is no second step: it moves no centre.
    """
    x = rays.steps
    y = _filled(rays).astype(np.float64)
    z = x / blur
    one = np.stack([np.ones_like(x), ndtr(z), -np.exp(-0.5 * z**2) / (_ROOT_2_PI * blur)])
    apart = blur * _SECOND_STEPS
    apart = np.concatenate([-apart[apart < -x[0] - 0.3 * blur], apart[apart < x[-1] - 0.3 * blur]])
    seconds = ndtr((x[None, :] - apart[:, None]) / blur)
    single = _pseudo_inverses(one[None])[0]
    amounts = y @ single.T
    left = y - amounts @ one
    chosen = _second_steps(rays, left, amounts[:, 1], one, seconds, noise)
    with_second = np.concatenate(
        [np.broadcast_to(one, (len(apart), *one.shape)), seconds[:, None, :]], axis=1
    )
    double = chosen >= 0
    rows = _pseudo_inverses(with_second)[chosen[double]]
    both = np.einsum("ncm,nm->nc", rows, y[double])
    amounts[double] = both[:, :3]
    per_noise = np.full(len(y), np.linalg.norm(single[2]))
    per_noise[double] = np.linalg.norm(rows[:, 2], axis=1)
    second_at, second_height = np.full(len(y), np.nan), np.zeros(len(y))
    second_at[double] = apart[chosen[double]]
    second_height[double] = both[:, 3]
    height = amounts[:, 1]
    total = ((y - y.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    match = 1.0 - np.where(double, 0.0, (left**2).sum(axis=1)) / np.maximum(total, 1e-12)
    safe = np.where(np.abs(height) > _SMALL, height, _SMALL)
    return Edges(
        shift=np.where(rays.known, np.clip(amounts[:, 2] / safe, -1.5, 1.5), np.nan),
        height=np.where(rays.known, height, 0.0),
        gain=per_noise / np.sqrt(rays.sample_px2) / np.abs(safe),
        match=np.where(rays.known, match, 0.0),
        double=double,
        second_at=second_at,
        second_height=second_height,
    )


def _second_steps(
    rays: Rays, left: Array, heights: Array, one: Array, seconds: Array, noise: float
) -> NDArray[np.int64]:
    """Return which second step each ray has, -1 for none."""
    if len(seconds) == 0:
        return np.full(len(left), -1)
    basis = np.linalg.qr(one.T)[0]
    beyond = seconds - (seconds @ basis) @ basis.T
    beyond /= np.maximum(np.linalg.norm(beyond, axis=1), 1e-9)[:, None]
    signed = left @ beyond.T
    usual = np.median(signed[:: max(1, len(signed) // 90)], axis=0) / max(median(heights), _SMALL)
    gains = (signed - heights[:, None] * usual) ** 2
    # Neighbours share what is there: a mean over a fortieth of the rim.
    wide = max(1, len(gains) // 80)
    wrapped = np.concatenate([gains[-wide:], gains, gains[:wide]])
    mean = cv2.blur(wrapped, (1, 2 * wide + 1))[wide:-wide]
    best = mean.argmax(axis=1)
    # What is usual is seen in the rays that have no second step: 40 % of squared normal
    # values lie below 0.275.
    calm = np.partition(gains, int(0.4 * len(gains)), axis=0)[int(0.4 * len(gains))] / 0.275
    usual_gain = np.maximum(calm, noise**2 / rays.sample_px2)
    worth = mean[np.arange(len(best)), best] > _WORTH_A_STEP * usual_gain[best]
    return np.where(worth & rays.known, best, -1)


def whole_rays(values: Single) -> NDArray[np.bool_]:
    """Return which rays lie in the picture from end to end, shape (N,)."""
    return np.asarray(np.isfinite(values).all(axis=1), dtype=np.bool_)


def _filled(rays: Rays) -> Single:
    if rays.known.all():
        return rays.values
    return np.where(rays.known[:, None], rays.values, np.float32(0.0))


def _pseudo_inverses(columns: Array) -> Array:
    """Return, for each set of columns (K, C, M), the rows that read their amounts off a ray."""
    gram = columns @ columns.transpose(0, 2, 1)
    # Far from the middle of the window a step looks like level land: keep the rank.
    gram += 1e-9 * columns.shape[2] * np.eye(columns.shape[1])
    return np.asarray(np.linalg.solve(gram, columns))


def _as_edges(rays: Rays, *, shift: Array, height: Array, per_noise: Array, match: Array) -> Edges:
    # Noise of interpolated samples is correlated; its sum along smooth weights is
    # that of white noise of one pixel, so samples count by the area they stand for.
    gain = per_noise / np.sqrt(rays.sample_px2) / np.maximum(height, _SMALL)
    usable = rays.known & (height > _SMALL)
    return Edges(
        shift=np.where(usable, shift, np.nan),
        height=np.where(usable, height, 0.0),
        gain=gain,
        match=np.where(usable, match, 0.0),
        double=np.zeros(len(rays.angles), np.bool_),
        second_at=np.full(len(rays.angles), np.nan),
        second_height=np.zeros(len(rays.angles)),
    )
