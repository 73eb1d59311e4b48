"""The plane of a tip as a picture shows it, and how things are laid over it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.geometry import PointPx
from vision.synthesis import Tip

FloatArray = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """Where the points of the tip's plane are shown.

    Lengths are in rim radii, so the rim is the unit circle however oval or tilted it is.

    Attributes
    ----------
    rims_from_px
        Shape (2, 2): from (u, v) less the centre to (x, y) in rim radii.
    radius_px
        Mean radius of the rim as shown.
    blur_px
        Gaussian blur of the tip's plane, one standard deviation.
    """

    size_px: tuple[int, int]
    centre_px: PointPx
    rims_from_px: NDArray[np.float64]
    radius_px: float
    blur_px: float

    @classmethod
    def of(
        cls,
        tip: Tip,
        *,
        centre_px: PointPx,
        size_px: tuple[int, int],
        matrix_px_per_mm: NDArray[np.float64],
        tilt_rad: tuple[float, float],
        blur_px: float,
    ) -> Plane:
        """Return the plane of a tip seen through `matrix_px_per_mm` (orthographic)."""
        amount = math.hypot(*tilt_rad)
        lean = np.array(tilt_rad) / amount if amount else np.zeros(2)
        shown = matrix_px_per_mm @ (np.eye(2) - (1.0 - math.cos(amount)) * np.outer(lean, lean))
        cos, sin = math.cos(tip.oval.angle_rad), math.sin(tip.oval.angle_rad)
        axes = np.array([[cos, -sin], [sin, cos]])
        px_from_rims = shown @ axes @ np.diag(tip.semi_axes_mm) @ axes.T
        return cls(
            size_px=size_px,
            centre_px=centre_px,
            rims_from_px=np.asarray(np.linalg.inv(px_from_rims), dtype=np.float64),
            radius_px=math.sqrt(abs(float(np.linalg.det(px_from_rims)))),
            blur_px=blur_px,
        )

    def patch(self, reach_rims: float) -> Patch:
        """Return the part of the picture within `reach_rims` of the centre."""
        reach_px = reach_rims * self.radius_px + 3.5 * self.blur_px + 2.0
        first = [max(math.floor(c - reach_px), 0) for c in self.centre_px]
        last = [
            min(math.ceil(c + reach_px) + 1, side)
            for c, side in zip(self.centre_px, self.size_px, strict=True)
        ]
        first = [min(f, side - 1) for f, side in zip(first, self.size_px, strict=True)]
        last = [max(end, f + 1) for f, end in zip(first, last, strict=True)]
        du = (np.arange(first[0], last[0]) - self.centre_px.u)[None, :]
        dv = (np.arange(first[1], last[1]) - self.centre_px.v)[:, None]
        a = self.rims_from_px
        x = (a[0, 0] * du + a[0, 1] * dv).astype(np.float32)
        y = (a[1, 0] * du + a[1, 1] * dv).astype(np.float32)
        return Patch(
            rows=slice(first[1], last[1]),
            columns=slice(first[0], last[0]),
            x=x,
            y=y,
            radius_px=self.radius_px,
            blur_px=self.blur_px,
        )

    def rim_px(self, rims: float, count: int) -> NDArray[np.float64]:
        """Return points (count, 2) of the picture on a circle about the bore."""
        turn = np.arange(count) * (2.0 * math.pi / count)
        ring = rims * np.stack([np.cos(turn), np.sin(turn)])
        return np.asarray((np.linalg.inv(self.rims_from_px) @ ring).T + np.array(self.centre_px))

    def land_light(self, picture: FloatArray) -> float:
        """Return the median light of the land as a grey camera would see it."""
        return float(self.land_colour(picture) @ np.array([0.114, 0.587, 0.299]))

    def land_colour(self, picture: FloatArray) -> FloatArray:
        """Return the median linear BGR of the land round the rim, shape (3,)."""
        patch = self.patch(1.6)
        rho = patch.rho
        inside = (rho > 1.15) & (rho < 1.6)
        if not inside.any():
            return np.median(picture.reshape(-1, 3), axis=0).astype(np.float32)
        part = picture[patch.rows, patch.columns][inside]
        return np.median(part, axis=0).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A rectangle of the picture with the place of each pixel on the tip.

    Attributes
    ----------
    x, y
        Shape (h, w): place in rim radii.
    """

    rows: slice
    columns: slice
    x: FloatArray
    y: FloatArray
    radius_px: float
    blur_px: float

    @property
    def shape(self) -> tuple[int, int]:
        return self.x.shape[0], self.x.shape[1]

    @property
    def rho(self) -> FloatArray:
        return self.rho_about((0.0, 0.0))

    @property
    def phi(self) -> FloatArray:
        return np.asarray(np.arctan2(self.y, self.x), dtype=np.float32)

    def rho_about(self, place: tuple[float, float]) -> FloatArray:
        """Return distances, in rim radii, from a place in rim radii."""
        away = np.hypot(self.x - np.float32(place[0]), self.y - np.float32(place[1]))
        return np.asarray(away, dtype=np.float32)

    def cover(self, depth_rims: FloatArray) -> FloatArray:
        """Return the share of each pixel on the inner side of an edge, 0 to 1."""
        share = np.clip(depth_rims * np.float32(self.radius_px) + 0.5, 0.0, 1.0)
        return np.asarray(share, dtype=np.float32)

    def soft(self, array: FloatArray) -> FloatArray:
        """Return the array under the blur of the lens."""
        return blurred(array, self.blur_px)

    def lay(self, picture: FloatArray, cover: FloatArray, light: FloatArray) -> None:
        """Lay light (3,) or (h, w, 3) over the picture where `cover` (h, w) says, in place."""
        part = picture[self.rows, self.columns]
        front = self.soft(np.asarray(cover[..., None] * light, dtype=np.float32))
        part *= (1.0 - self.soft(cover))[..., None]
        part += front

    def add(self, picture: FloatArray, cover: FloatArray, light: FloatArray) -> None:
        """Add light to the picture, in place."""
        picture[self.rows, self.columns] += self.soft(
            np.asarray(cover[..., None] * light, dtype=np.float32)
        )

    def dim(self, picture: FloatArray, gain: FloatArray) -> None:
        """Multiply the picture by a gain (h, w) that may have edges, in place."""
        picture[self.rows, self.columns] *= self.soft(gain)[..., None]


def blurred(array: FloatArray, sigma_px: float) -> FloatArray:
    """Return the array under a Gaussian blur."""
    return np.asarray(
        cv2.GaussianBlur(array, (0, 0), max(sigma_px, 0.05), borderType=cv2.BORDER_REPLICATE),
        dtype=np.float32,
    )


def smooth_noise(shape: tuple[int, int], cell_px: float, rng: np.random.Generator) -> FloatArray:
    """Return noise of about unit variance with structures of `cell_px`."""
    return streaky_noise(shape, (cell_px, cell_px), rng)


def streaky_noise(
    shape: tuple[int, int], cell_px: tuple[float, float], rng: np.random.Generator
) -> FloatArray:
    """Return noise whose structures are `cell_px` (along u, along v) large."""
    cells = [
        max(3, math.ceil(side / max(cell, 1.0)) + 2)
        for side, cell in zip(shape, cell_px[::-1], strict=True)
    ]
    coarse = rng.standard_normal(cells).astype(np.float32)
    wide = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(1.3 * wide, dtype=np.float32)
