"""What is seen in the bore, and the lamps' mirror images on the land."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.synthesis.light import ANGLES, Lighting
from vision.synthesis.texture import TipTexture, middle_patch
from vision.synthesis.tip import Fill, Tip

FloatArray = NDArray[np.float32]

_DEPTH_ROWS = 24
# Beside the rim the wall has 0.23 of the land's light under an even ring, 0.36 under
# one-sided 0.8 and 0.42 under one-sided 1 (measured). A free choice: a wall twice as
# bright drags the apparent rim by 3 px of a radius of 33.
_WALL_MM = 0.022
_WALL_LENGTH_MM = 0.4
_WALL_ALBEDO = 0.45

# A worn land is not quite flat: its slope grows by this much per mm away from
# the middle, so each lamp is mirrored at one place of it.
_DOME_PER_MM = 0.30


def bore_light(
    texture: TipTexture, lighting: Lighting, ambient: float, tilt_rad: tuple[float, float]
) -> FloatArray:
    """Return the linear BGR light from inside the rim, shape (m, m, 3).

    The wall of the bore is lit by the lamps opposite to it and seen as a
    crescent next to the rim, wider where the tilt turns it to the lens; light
    falls off with depth.
    """
    depth = texture.bore_depth_mm
    fill = texture.tip.bore_fill
    column = texture.near.column[middle_patch(texture)]
    if fill is None:
        return _wall(texture.tip, depth, column, lighting, ambient, tilt_rad, texture.mottle)
    gap = _wall(texture.tip, depth, column, lighting, 0.3 * ambient, tilt_rad, texture.mottle)
    return _filled(fill, texture, gap * np.float32(0.25), lighting, ambient)


def _wall(
    tip: Tip,
    depth: FloatArray,
    column: FloatArray,
    lighting: Lighting,
    ambient: float,
    tilt_rad: tuple[float, float],
    mottle: FloatArray,
) -> FloatArray:
    phi = np.linspace(0.0, 2.0 * np.pi, ANGLES + 1)
    radial = np.stack([np.cos(phi), np.sin(phi)])
    facing = np.clip(-(lighting.toward @ radial), 0.0, None) ** 3
    lit = 1.5 * (lighting.weights[:, None] * facing).sum(axis=0) + 0.2 * ambient
    turned = np.clip(-(np.asarray(tilt_rad) @ radial), -0.05, None)
    width = np.maximum(_WALL_MM * (tip.bore_mm / 0.4) + _WALL_LENGTH_MM * turned, 0.008)
    reach = 0.5 * tip.bore_mm
    steps = np.linspace(0.0, 1.0, _DEPTH_ROWS)[:, None] ** 2 * reach
    table = (_WALL_ALBEDO * lit * np.exp(-steps / width)).astype(np.float32)
    # Rows lie close together near the rim, where the light changes fast.
    row = np.sqrt(np.clip(depth * np.float32(1.0 / reach), 0.0, 1.0)) * (_DEPTH_ROWS - 1)
    wall = cv2.remap(table, column, row, cv2.INTER_LINEAR)
    wall = (wall + np.float32(0.012) * (0.4 + np.float32(ambient))) * mottle
    out: FloatArray = wall[..., None] * np.array(tip.land_albedo, dtype=np.float32)
    return out


def _filled(
    fill: Fill, texture: TipTexture, gap: FloatArray, lighting: Lighting, ambient: float
) -> FloatArray:
    """Lay plastic with a slightly hollow surface over the dark of the gap."""
    depth = texture.bore_depth_mm
    texel = texture.near.texel_mm
    cover = np.clip((depth - fill.gap_mm) / texel + 0.5, 0.0, 1.0)[..., None]
    half = depth.shape[0] // 2
    axis = (np.arange(-half, half + 1) * texel / (0.5 * texture.tip.bore_mm)).astype(np.float32)
    slope_x, slope_y = -0.30 * axis[None, :], -0.30 * axis[:, None]
    gleam = np.zeros_like(depth)
    for mirror, weight in zip(lighting.half_slopes, lighting.weights, strict=True):
        off = (slope_x - mirror[0]) ** 2 + (slope_y - mirror[1]) ** 2
        gleam += (1.6 * weight * np.exp(-0.5 * off / 0.03**2)).astype(np.float32)
    matt = np.float32(lighting.weights.sum() + ambient) * (0.8 + 0.2 * texture.mottle)
    lit = np.array(fill.albedo, dtype=np.float32) * matt[..., None]
    lit += (np.float32(fill.gloss) * gleam)[..., None]
    out: FloatArray = (gap * (1.0 - cover) + lit * cover).astype(np.float32, copy=False)
    return out


def glints(texture: TipTexture, lighting: Lighting, sharpness: float) -> FloatArray:
    """Return the mirror images of the lamps on the land, shape (n, n).

    A lamp is mirrored where the land's slope is half way to it. The places
    hang on the lamps, which stand still in the picture, and hardly on the tip.
    """
    polish = texture.polish
    if sharpness == 0.0:
        return np.zeros_like(polish)
    per_mm = _DOME_PER_MM + lighting.slope_per_mm
    spread_mm = (0.008 + 0.036 * (1.0 - sharpness)) / per_mm
    count, texel_mm = polish.shape[0], texture.near.texel_mm
    # The spots are soft: a coarse grid, enlarged, is the same picture in a tenth of the time.
    coarse = max(8, math.ceil(count * texel_mm / (0.35 * spread_mm)))
    side_mm = count * texel_mm
    axis = ((np.arange(coarse) + 0.5) * (side_mm / coarse) - 0.5 * side_mm).astype(np.float32)
    spots = np.zeros((coarse, coarse), dtype=np.float32)
    for mirror, weight in zip(lighting.half_slopes, lighting.weights, strict=True):
        peak = np.float32(12.0 * sharpness * weight)
        spots += peak * _spot(axis, mirror / per_mm, spread_mm)
    fine = cv2.resize(spots, (count, count), interpolation=cv2.INTER_LINEAR)
    return np.asarray(fine, dtype=np.float32) * polish


def _spot(axis: FloatArray, place_mm: NDArray[np.float64], spread_mm: float) -> FloatArray:
    """Return one spot of height 1, drawn out across the grooves."""
    distance = float(np.hypot(*place_mm))
    cos, sin = place_mm / distance if distance > 0.0 else (1.0, 0.0)
    x = (axis - np.float32(place_mm[0]))[None, :]
    y = (axis - np.float32(place_mm[1]))[:, None]
    out = (np.float32(cos) * x + np.float32(sin) * y) * np.float32(1.0 / (1.6 * spread_mm))
    side = (np.float32(cos) * y - np.float32(sin) * x) * np.float32(1.0 / spread_mm)
    return np.asarray(cv2.exp(np.float32(-0.5) * (out * out + side * side)), dtype=np.float32)
