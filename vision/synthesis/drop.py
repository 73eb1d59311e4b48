"""A drop of plastic on the tip: outline and dome, made once, lit in each picture."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.synthesis.light import Lighting
from vision.synthesis.tip import Drop, Tip

FloatArray = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class DropTexture:
    """The static part of a drop, on the grid of the near layer.

    Attributes
    ----------
    rows, columns
        The patch of the near layer that the drop and its shadow lie in,
        counted from the bore's centre.
    cover
        Shape (h, w): how much of each texel it hides.
    shadow
        Shape (h, w): how much it darkens what lies beside it.
    slope_x, slope_y
        Shape (h, w): slopes of its surface's normal.
    colour
        Shape (3,): linear BGR.
    gloss
        Strength of the lamps' reflections.
    """

    rows: slice
    columns: slice
    cover: FloatArray
    shadow: FloatArray
    slope_x: FloatArray
    slope_y: FloatArray
    colour: FloatArray
    gloss: float


def drop_reach_mm(tip: Tip, drop: Drop) -> float:
    """Return a distance from the bore's centre that nothing of the drop exceeds in x or y."""
    return 0.5 * tip.bore_mm + _spread_mm(tip, drop)


def _spread_mm(tip: Tip, drop: Drop) -> float:
    """Return how far outline and shadow reach from the drop's place on the rim."""
    along, across = _semi_axes_mm(tip, drop)
    # Its waves add up to a fifth.
    return 1.25 * max(along, drop.size_mm, 2.0 * across - drop.size_mm) + 0.03


def _semi_axes_mm(tip: Tip, drop: Drop) -> tuple[float, float]:
    """Return the semi-axes, along and across the rim, of an ellipse that hides `extent`.

    It reaches from `size_mm` outside of the rim to as far inside as it takes, and passes
    through the points of the rim at the angles +-a, a = pi extent.
    """
    rim, end = 0.5 * tip.bore_mm, math.pi * drop.extent
    inward = max(min(drop.size_mm, 0.8 * rim), 1.25 * rim * (1.0 - math.cos(end)))
    across = 0.5 * (drop.size_mm + inward)
    angles = np.linspace(0.0, end, 64)
    out = rim * (np.cos(angles) - 1.0) - (drop.size_mm - across)
    along = rim * np.sin(angles) / np.sqrt(1.0 - (out / across) ** 2 + 1e-12)
    return float(along[1:].max()), across


def prepare_drop(tip: Tip, drop: Drop, texel_mm: float, rng: np.random.Generator) -> DropTexture:
    """Return the drop's outline and surface.

    The near layer must reach `drop_reach_mm` and two texels more. Rows and columns are
    counted from the bore's centre.
    """
    rim = 0.5 * tip.bore_mm
    along, across = _semi_axes_mm(tip, drop)
    shift = drop.size_mm - across
    reach = _spread_mm(tip, drop) + 2.0 * texel_mm
    offset = np.array([math.cos(drop.angle_rad), math.sin(drop.angle_rad)]) * rim
    first = np.floor((offset - reach) / texel_mm).astype(int)
    last = np.ceil((offset + reach) / texel_mm).astype(int)
    x = (np.arange(first[0], last[0] + 1) * texel_mm - offset[0])[None, :]
    y = (np.arange(first[1], last[1] + 1) * texel_mm - offset[1])[:, None]
    cos, sin = math.cos(drop.angle_rad), math.sin(drop.angle_rad)
    out, side = cos * x + sin * y - shift, -sin * x + cos * y
    q = np.hypot(out / across, side / along) * _wavy(np.arctan2(side, out), rng)
    cover = np.clip((1.0 - q) * min(along, across) / texel_mm + 0.5, 0.0, 1.0)
    height = 0.55 * min(along, across) * np.sqrt(np.clip(1.0 - q**2, 0.0, None))
    smooth = cv2.GaussianBlur(height.astype(np.float32), (0, 0), max(0.8, 0.012 / texel_mm))
    dy, dx = np.gradient(smooth, texel_mm)
    shadow = cv2.GaussianBlur(cover.astype(np.float32), (0, 0), 0.025 / texel_mm)
    return DropTexture(
        rows=slice(int(first[1]), int(last[1]) + 1),
        columns=slice(int(first[0]), int(last[0]) + 1),
        cover=_frozen(cover),
        shadow=_frozen(0.55 * shadow),
        slope_x=_frozen(-dx),
        slope_y=_frozen(-dy),
        colour=_frozen(np.array(drop.colour)),
        gloss=drop.gloss,
    )


def _wavy(angle: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    wave = np.zeros_like(angle)
    for order, height in ((2, 0.07), (3, 0.07), (5, 0.04), (8, 0.015)):
        wave += rng.uniform(0.5, 1.0) * height * np.cos(order * angle + rng.uniform(0.0, 6.28))
    return 1.0 + wave


def _frozen(array: NDArray[np.floating]) -> FloatArray:
    out = np.ascontiguousarray(array, dtype=np.float32)
    out.setflags(write=False)
    return out


def lay_drop(bgra: FloatArray, drop: DropTexture, lighting: Lighting, ambient: float) -> None:
    """Lay the lit drop over the near layer, in place.

    Parameters
    ----------
    bgra
        Shape (n, n, 4): colour times alpha, and alpha.
    drop
        The drop.
    lighting, ambient
        The light.
    """
    middle = bgra.shape[0] // 2
    rows = slice(drop.rows.start + middle, drop.rows.stop + middle)
    columns = slice(drop.columns.start + middle, drop.columns.stop + middle)
    patch = bgra[rows, columns]
    matt, gleam = _dome_light(drop, lighting)
    lit = drop.colour * (1.1 * (matt + ambient))[..., None] + (drop.gloss * gleam)[..., None]
    patch[..., :3] *= (1.0 - drop.shadow)[..., None]
    patch *= (1.0 - drop.cover)[..., None]
    patch[..., :3] += lit * drop.cover[..., None]
    patch[..., 3] += drop.cover


def _dome_light(drop: DropTexture, lighting: Lighting) -> tuple[FloatArray, FloatArray]:
    """Return matt and mirrored light on the dome, shape (h, w) each."""
    steep = np.float32(1.0) / np.sqrt(1.0 + drop.slope_x**2 + drop.slope_y**2)
    matt, gleam = np.zeros_like(steep), np.zeros_like(steep)
    for half, toward, weight in zip(
        lighting.half_slopes, lighting.toward, lighting.weights, strict=True
    ):
        facing = 1.0 + 0.7 * (toward[0] * drop.slope_x + toward[1] * drop.slope_y)
        matt += np.float32(weight) * np.clip(facing, 0.0, None) * steep
        # A drop is steep: lamps mirror at larger slopes than in the land, so spread them.
        off_x, off_y = drop.slope_x - 2.2 * half[0], drop.slope_y - 2.2 * half[1]
        spot = np.exp(-0.5 * (off_x**2 + off_y**2) / 0.05**2)
        gleam += np.float32(2.2 * weight * len(lighting.weights) / 8.0) * spot
    return matt.astype(np.float32, copy=False), gleam.astype(np.float32, copy=False)
