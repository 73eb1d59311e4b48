"""A sheet of light with coordinates about the bore, and sharp shapes laid on it.

Shapes are painted with a small Gaussian edge of a closed form and blurred together
afterwards. So two edges nearer to each other than the blur run into one another as they
do behind a lens, and no edge is shifted by the order of painting.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float32]
Rng = np.random.Generator
Window = tuple[slice, slice]

EDGE_PX = 0.5
"""Blur of an edge when painted: wide enough that sampling once a pixel loses nothing."""
ALL: Window = (slice(None), slice(None))

Tint = tuple[float, float, float]
WHITE: Tint = (1.0, 1.0, 1.0)
METALS: tuple[Tint, ...] = (WHITE, (1.06, 1.0, 0.97), (0.6, 0.97, 1.17), (0.66, 0.92, 1.28))
"""Steel, bluish steel, brass, bronze: blue, green, red about a mean brightness of one."""
PLASTICS: tuple[Tint, ...] = (
    WHITE,
    (0.35, 0.45, 2.2),
    (2.4, 0.9, 0.35),
    (0.5, 1.4, 0.5),
    (0.25, 0.95, 1.5),
    (1.7, 0.6, 1.4),
)


def step(inside_px: Array) -> Array:
    """Return how much of each pixel is covered, 0 to 1, from its depth inside the edge."""
    cover = (inside_px > 0).astype(np.float32, order="C")
    near = np.flatnonzero(np.abs(inside_px) < 4.0 * EDGE_PX)
    cover.ravel()[near] = ndtr(inside_px.ravel()[near] / np.float32(EDGE_PX))
    return cover


def slope_at_edge(inside_px: Array) -> Array:
    """Return what a slope of 1 a px, rising away from the edge, adds along that edge.

    A soft edge laid over sloping light is not the blur of a sharp one: the light beyond
    counts for more than that before it. Left out, a strong slope shifts a small bore by
    .006 px.
    """
    band = np.exp(np.float32(-0.5) * (inside_px / np.float32(EDGE_PX)) ** 2)
    return np.asarray(band * np.float32(EDGE_PX / np.sqrt(2 * np.pi)), dtype=np.float32)


class Canvas:
    """Light in linear grey levels, shape (C, H, W), and where its pixels lie.

    Attributes
    ----------
    x, y
        Shape (H, W): px from the bore's centre, in the plane of the tip: a tilt shortens
        what lies along `tilt_way_rad`.
    rho
        Distance from the bore's centre, px.
    """

    def __init__(
        self,
        size: tuple[int, int],
        centre_px: tuple[float, float],
        channels: int,
        *,
        tilt_rad: float = 0.0,
        tilt_way_rad: float = 0.0,
    ) -> None:
        wide, high = size
        self.centre_px = centre_px
        u = np.arange(wide, dtype=np.float64) - centre_px[0]
        v = np.arange(high, dtype=np.float64) - centre_px[1]
        c, s = np.cos(tilt_way_rad), np.sin(tilt_way_rad)
        stretch = 1.0 / np.cos(tilt_rad) - 1.0
        self.x: Array = np.add.outer(v * (stretch * s * c), u * (1 + stretch * c * c)).astype("f4")
        self.y: Array = np.add.outer(v * (1 + stretch * s * s), u * (stretch * s * c)).astype("f4")
        self.rho: Array = np.sqrt(self.x * self.x + self.y * self.y)
        self.light: Array = np.zeros((channels, high, wide), dtype=np.float32)

    @property
    def channels(self) -> int:
        return int(self.light.shape[0])

    def colour(self, level: float, tint: Tint = WHITE) -> Array:
        """Return one level a channel, shape (C, 1, 1); grey pictures know no tint."""
        shares = np.asarray(tint if self.channels == 3 else (1.0,), dtype=np.float32)
        return np.asarray(shares[:, None, None] * np.float32(level), dtype=np.float32)

    def lay(self, cover: Array, level: Array | float, where: Window = ALL) -> None:
        """Cover what lies there by `level`: a number, one a channel, or one a pixel."""
        under = self.light[:, where[0], where[1]]
        under += (level - under) * cover

    def add(self, light: Array, where: Window = ALL) -> None:
        self.light[:, where[0], where[1]] += light

    def scale(self, cover: Array, factor: float, where: Window = ALL) -> None:
        """Multiply what lies there."""
        self.light[:, where[0], where[1]] *= 1.0 + (factor - 1.0) * cover

    def near(self, x: float, y: float, reach_px: float) -> Window:
        """Return the part of the sheet that holds everything within `reach_px` of a point."""
        high, wide = self.rho.shape
        reach = 1.01 * reach_px + 4.0
        u, v = self.centre_px[0] + x, self.centre_px[1] + y
        rows = slice(_within(v - reach, high), _within(v + reach + 1, high))
        return rows, slice(_within(u - reach, wide), _within(u + reach + 1, wide))

    def away(self, x: float, y: float, where: Window = ALL) -> Array:
        """Return the distance of each pixel from a point."""
        dx, dy = self.x[where] - np.float32(x), self.y[where] - np.float32(y)
        return np.asarray(np.sqrt(dx * dx + dy * dy), dtype=np.float32)

    def along(self, angle_rad: float, where: Window = ALL) -> Array:
        """Return how far each pixel lies along a direction."""
        c, s = np.float32(np.cos(angle_rad)), np.float32(np.sin(angle_rad))
        return np.asarray(self.x[where] * c + self.y[where] * s, dtype=np.float32)

    def cosine(self, angle_rad: float, where: Window = ALL) -> Array:
        """Return the cosine of the angle between each pixel's direction and another."""
        rho = np.maximum(self.rho[where], np.float32(1e-3))
        return np.asarray(self.along(angle_rad, where) / rho, dtype=np.float32)


def _within(place: float, length: int) -> int:
    return int(min(max(np.floor(place), 0), length))


def polygon(canvas: Canvas, apothem_px: float, sides: int, turn_rad: float) -> Array:
    """Return how far inside a regular polygon about the centre each pixel lies."""
    ways = turn_rad + np.arange(sides) * 2 * np.pi / sides
    depth = apothem_px - canvas.along(float(ways[0]))
    for way in ways[1:]:
        depth = np.minimum(depth, apothem_px - canvas.along(float(way)))
    return np.asarray(depth, dtype=np.float32)


def grain(rng: Rng, shape: tuple[int, int], size_px: float) -> Array:
    """Return an even random pattern of mean zero and spread one."""
    rough = rng.standard_normal(shape, dtype=np.float32)
    soft = np.asarray(cv2.GaussianBlur(rough, (0, 0), size_px), dtype=np.float32)
    return np.asarray(soft / soft.std(), dtype=np.float32)


def waves(canvas: Canvas, rng: Rng, length_px: float, where: Window = ALL, count: int = 6) -> Array:
    """Return slow random hills of spread about one: a sum of plane waves."""
    total = np.zeros_like(canvas.rho[where])
    for way in rng.uniform(0, 2 * np.pi, count):
        pitch = length_px * rng.uniform(0.7, 1.6)
        total += np.cos(canvas.along(way, where) * (2 * np.pi / pitch) + rng.uniform(0, 2 * np.pi))
    return np.asarray(total * np.float32(np.sqrt(2.0 / count)), dtype=np.float32)


def turning_marks(canvas: Canvas, rng: Rng, shift_px: tuple[float, float]) -> Array:
    """Return the grooves of a lathe about an axis: random in radius, alike all round."""
    rho = canvas.away(*shift_px)
    depth = rng.standard_normal(int(rho.max() * 2) + 4)
    depth = np.convolve(depth, np.hanning(2 * int(rng.integers(2, 5)) + 1), mode="same")
    found = np.take(depth / depth.std(), (rho * 2).astype(np.intp))
    return np.asarray(found, dtype=np.float32)
