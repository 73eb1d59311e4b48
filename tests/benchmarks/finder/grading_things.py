"""Flat things that are no nozzle: plates, discs, polygons, letters, in linear light."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.finder.grading_draft import (
    LARGEST_RADIUS_PX,
    METALS,
    SMALLEST_RADIUS_PX,
    Frame,
    Rng,
    any_camera,
    any_size,
    through_camera,
)
from tests.benchmarks.finder.grading_plane import FloatArray, blurred, smooth_noise, streaky_noise

_FINE = 3  # samples a pixel, each way, of a shape's edge


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """Where a thing of radius `radius_px` lies in a picture."""

    size_px: tuple[int, int]
    centre_px: tuple[float, float]
    radius_px: float

    @classmethod
    def any(
        cls, rng: Rng, *, margin: float = 1.3, smallest_px: float = SMALLEST_RADIUS_PX
    ) -> Stage:
        """Return a place with `margin` radii between centre and edge of the frame."""
        size_px = any_size(rng)
        largest = min(LARGEST_RADIUS_PX, 0.48 * min(size_px) / margin)
        radius_px = math.exp(rng.uniform(math.log(smallest_px), math.log(largest)))
        free = margin * radius_px + 1.0
        u, v = (rng.uniform(free, side - 1.0 - free) for side in size_px)
        return cls(size_px=size_px, centre_px=(u, v), radius_px=radius_px)

    @property
    def shape(self) -> tuple[int, int]:
        return self.size_px[1], self.size_px[0]

    def offsets(self) -> tuple[FloatArray, FloatArray]:
        """Return x and y of each pixel from the centre, in radii; shapes (1, w) and (h, 1)."""
        x = (np.arange(self.size_px[0], dtype=np.float32) - self.centre_px[0]) / self.radius_px
        y = (np.arange(self.size_px[1], dtype=np.float32) - self.centre_px[1]) / self.radius_px
        return x[None, :].astype(np.float32), y[:, None].astype(np.float32)

    def rho(self) -> FloatArray:
        x, y = self.offsets()
        return np.asarray(np.hypot(x, y), dtype=np.float32)

    def phi(self) -> FloatArray:
        x, y = self.offsets()
        return np.asarray(np.arctan2(y, x), dtype=np.float32)

    def cover(self, depth: FloatArray) -> FloatArray:
        """Return the share of each pixel on the inner side of an edge; depth in radii."""
        share = np.clip(depth * np.float32(self.radius_px) + 0.5, 0.0, 1.0)
        return np.asarray(share, dtype=np.float32)

    def polygon(self, points: NDArray[np.float64]) -> FloatArray:
        """Return the share of each pixel inside a polygon, points (N, 2) in radii."""
        width, height = self.size_px
        fine = np.zeros((height * _FINE, width * _FINE), dtype=np.uint8)
        places = (points * self.radius_px + np.array(self.centre_px) + 0.5) * _FINE - 0.5
        cv2.fillPoly(fine, [np.rint(places * 16.0).astype(np.int32)], 255, cv2.LINE_8, 4)
        small = cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA)
        return np.asarray(small, dtype=np.float32) / np.float32(255.0)


def lay(picture: FloatArray, cover: FloatArray, light: FloatArray) -> None:
    """Lay light, (3,) or (h, w, 3), over a picture where `cover` (h, w) says, in place."""
    picture *= (1.0 - cover)[..., None]
    picture += cover[..., None] * light


def plate(shape: tuple[int, int], rng: Rng, *, brightest: float = 1.0) -> FloatArray:
    """Return a plate of metal, brushed, milled or cast, under light that falls off to a side."""
    metal = np.array(METALS[rng.integers(len(METALS))], dtype=np.float32)
    long, short = rng.uniform(20.0, 200.0), rng.uniform(1.0, 4.0)
    cells = (long, short) if rng.random() < 0.5 else (short, long)
    level = 1.0 + rng.uniform(0.02, 0.2) * streaky_noise(shape, cells, rng)
    level += rng.uniform(0.0, 0.12) * smooth_noise(shape, rng.uniform(10.0, 60.0), rng)
    level *= falling_light(shape, rng)
    return np.asarray(np.clip(level, 0.05, None)[..., None] * metal * brightest, dtype=np.float32)


def paper(shape: tuple[int, int], rng: Rng, *, dark: bool) -> FloatArray:
    """Return paper with fibres, white or nearly black."""
    tint = rng.uniform(0.85, 1.0, 3) * (0.05 if dark else 0.85)
    level = 1.0 + 0.03 * smooth_noise(shape, 2.0, rng) + 0.03 * smooth_noise(shape, 9.0, rng)
    level *= falling_light(shape, rng)
    return np.asarray(np.clip(level, 0.05, None)[..., None] * tint, dtype=np.float32)


def falling_light(shape: tuple[int, int], rng: Rng) -> FloatArray:
    """Return a factor of about 1 that falls off across the picture."""
    angle, slope = rng.uniform(-math.pi, math.pi), rng.uniform(0.0, 0.6)
    u = np.linspace(-0.5, 0.5, shape[1], dtype=np.float32)[None, :]
    v = np.linspace(-0.5, 0.5, shape[0], dtype=np.float32)[:, None]
    return np.asarray(1.0 + slope * (math.cos(angle) * u + math.sin(angle) * v), dtype=np.float32)


def photographed(picture: FloatArray, rng: Rng, *, lit: FloatArray | None = None) -> Frame:
    """Return the camera's picture, exposed for what `lit` (h, w) covers, else for the brightest."""
    seen = blurred(picture, rng.uniform(0.7, 1.8))
    grey = seen.mean(axis=2)
    bright = float(np.quantile(grey, 0.9) if lit is None else np.median(grey[lit > 0.9]))
    return through_camera(seen, bright, rng.uniform(0.5, 0.95), any_camera(rng), rng)
