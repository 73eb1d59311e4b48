"""Analytic pictures of a bore in a land, with known truth; no renderer of the program's is used.

Edges are integrals of a Gaussian (erf), so a picture is exact to a part of a
grey level wherever its centre lies between the pixels.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blob:
    """A drop of plastic: an ellipse-shaped blot, placed from the bore's centre."""

    away: float
    direction_rad: float
    radius: float
    level: float = 45.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What is drawn; lengths in px, brightness in grey levels of 255."""

    centre: tuple[float, float] = (320.3, 240.6)
    size: tuple[int, int] = (640, 480)
    radius: float = 34.0
    ellipticity: float = 0.0
    turn_rad: float = 0.0
    land_radius: float = 85.0
    blur: float = 1.2
    dark: float = 15.0
    land: float = 165.0
    around: float = 60.0
    gradient: tuple[float, float] = (0.0, 0.0)
    """Relative change of the land's brightness per bore diameter."""
    chamfer: float = 0.0
    """Width of the broken edge, inside the rim."""
    chamfer_levels: tuple[float, float] = (0.4, 0.0)
    """Brightness of the broken edge in parts of the land, mean and one-sided."""
    lit_from_rad: float = 0.0
    plastic: float | None = None
    gap: float = 2.5
    texture: float = 0.0
    marks: float = 0.0
    glints: int = 0
    drops: tuple[Blob, ...] = field(default=())
    noise: float = 2.0
    seed: int = 1


def draw(scene: Scene) -> Array:
    """Return the picture before the sensor, in grey levels, shape (H, W)."""
    rng = np.random.default_rng(scene.seed)
    wide, high = scene.size
    v, u = np.mgrid[:high, :wide].astype(np.float64)
    x, y = u - scene.centre[0], v - scene.centre[1]
    rho, angle = np.hypot(x, y), np.arctan2(y, x)
    rim = scene.radius * (1.0 + scene.ellipticity * np.cos(2 * (angle - scene.turn_rad)))
    # The pixel's own box widens a blur by 1/12 px^2.
    s = float(np.hypot(scene.blur, 12**-0.5))

    def outside(edge: Array | float) -> Array:
        return np.asarray(ndtr((rho - edge) / s), dtype=np.float64)

    diameter = 2 * scene.radius
    slope = 1.0 + (scene.gradient[0] * x + scene.gradient[1] * y) / diameter
    land = scene.land * np.clip(slope, 0.2, 2.5)
    if scene.texture > 0:
        grain = cv2.GaussianBlur(rng.normal(0, 1, (high, wide)), (0, 0), 1.5)
        land = land * (1.0 + scene.texture * grain / grain.std())
    if scene.marks > 0:
        land = land * (1.0 + scene.marks * np.sin(rho * 1.1 + 0.3 * np.sin(3 * angle)))
    for _ in range(scene.glints):
        at, way = rng.uniform(1.15, 2.2) * scene.radius, rng.uniform(-np.pi, np.pi)
        spot = np.hypot(x - at * np.cos(way), y - at * np.sin(way))
        land = land + 220.0 * np.exp(-0.5 * (spot / rng.uniform(1.5, 4.0)) ** 2)
    picture = land + (scene.around - land) * outside(scene.land_radius)
    edge = rim - scene.chamfer
    if scene.chamfer > 0:
        mean, sided = scene.chamfer_levels
        lit = scene.land * np.maximum(mean + sided * np.cos(angle - scene.lit_from_rad), 0.02)
        picture = lit + (picture - lit) * outside(rim)
    picture = scene.dark + (picture - scene.dark) * outside(edge)
    if scene.plastic is not None:
        picture = scene.plastic + (picture - scene.plastic) * outside(edge - scene.gap)
    for drop in scene.drops:
        px = x - drop.away * np.cos(drop.direction_rad)
        py = y - drop.away * np.sin(drop.direction_rad)
        cover = ndtr((drop.radius - np.hypot(px, py)) / s)
        picture = picture + (drop.level - picture) * cover
    return np.asarray(picture, dtype=np.float64)


def take(scene: Scene) -> NDArray[np.uint8]:
    """Return the picture as an 8-bit camera sees it."""
    rng = np.random.default_rng(scene.seed + 1_000_003)
    light = draw(scene)
    return as_bytes(light + rng.normal(0.0, scene.noise, light.shape))


def as_bytes(light: Array) -> NDArray[np.uint8]:
    """Return grey levels rounded to 8 bits."""
    return np.clip(np.rint(light), 0, 255).astype(np.uint8)


def jpeg(frame: NDArray[np.uint8], quality: int) -> NDArray[np.uint8]:
    """Return the frame after JPEG."""
    done, data = cv2.imencode(".jpg", frame, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    decoded = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
    assert decoded is not None
    return np.asarray(decoded, dtype=np.uint8)


def several_holes(holes: list[tuple[float, float, float]]) -> NDArray[np.uint8]:
    """Return dark holes (u, v, radius) in bright washers, 640 x 480."""
    v, u = np.mgrid[:480, :640].astype(np.float64)
    light = np.full((480, 640), 60.0)
    for cu, cv, radius in holes:
        rho = np.hypot(u - cu, v - cv)
        light += (165.0 - light) * ndtr((2.2 * radius - rho) / 1.2)
        light += (15.0 - light) * ndtr((radius - rho) / 1.2)
    return as_bytes(light + np.random.default_rng(4).normal(0, 2.0, light.shape))


def hexagon(apothem: float, *, dark: float = 15.0, bright: float = 165.0) -> NDArray[np.uint8]:
    """Return a screw head with a dark hexagonal socket, 640 x 480."""
    v, u = np.mgrid[:480, :640].astype(np.float64)
    x, y = u - 318.2, v - 243.7
    turns = np.arange(6) * np.pi / 3
    reach = np.max([x * np.cos(t) + y * np.sin(t) for t in turns], axis=0)
    light = 60.0 + (bright - 60.0) * ndtr((2.4 * apothem - np.hypot(x, y)) / 1.2)
    light = light + (dark - light) * ndtr((apothem - reach) / 1.2)
    return as_bytes(light + np.random.default_rng(6).normal(0, 2.0, light.shape))
