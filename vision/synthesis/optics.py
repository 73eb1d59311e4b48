"""Lens: defocus, distortion and vignetting."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.geometry import PointPx
from vision.synthesis.checks import require_finite, require_not_negative, require_share

FloatArray = NDArray[np.float32]

_PYRAMID_FROM_PX = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Optics:
    """A microscope's lens.

    Attributes
    ----------
    na
        Numerical aperture on the tip's side. A point that lies z mm out of
        focus is seen as a disc of radius na |z|, here as the Gaussian of the
        same variance: standard deviation na |z| / 2.
    base_blur_px
        Gaussian standard deviation of the picture in focus, without the
        pixel's own box.
    k1
        Radial distortion about the picture's centre: a point at distance rho
        (1 at the corner) is shown at rho (1 + k1 rho^2). -0.14 to 0.2.
    vignetting
        Loss of light at the corners, 0 to 1.
    """

    na: float = 0.06
    base_blur_px: float = 0.9
    k1: float = 0.0
    vignetting: float = 0.12

    def __post_init__(self) -> None:
        """Check the fields."""
        require_not_negative("na", self.na)
        require_not_negative("base_blur_px", self.base_blur_px)
        require_share("vignetting", self.vignetting)
        require_finite("k1", self.k1)
        # Below -4/27 the mapping folds over before it reaches the corners.
        if not -0.14 <= self.k1 <= 0.2:
            raise ValueError(f"k1 must lie between -0.14 and 0.2, got {self.k1!r}")

    def blur_px(self, defocus_mm: float, px_per_mm: float) -> float:
        """Return the Gaussian standard deviation of a point out of focus."""
        spread_px = 0.5 * self.na * abs(defocus_mm) * px_per_mm
        return math.hypot(self.base_blur_px, spread_px)


def picture_centre(size_px: tuple[int, int]) -> PointPx:
    """Return the middle of a picture of (width, height) pixels."""
    return PointPx((size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0)


def _half_diagonal(size_px: tuple[int, int]) -> float:
    return 0.5 * math.hypot(*size_px)


def distort_point(point: PointPx, optics: Optics, size_px: tuple[int, int]) -> PointPx:
    """Return where the lens shows a point that a perfect lens shows at `point`.

    Parameters
    ----------
    point
        Where a lens without distortion shows it.
    optics
        The lens.
    size_px
        Width and height of the picture; its middle is the centre of
        distortion, half its diagonal the unit of length.
    """
    centre, unit = picture_centre(size_px), _half_diagonal(size_px)
    du, dv = point.u - centre.u, point.v - centre.v
    factor = 1.0 + optics.k1 * (du * du + dv * dv) / unit**2
    return PointPx(centre.u + du * factor, centre.v + dv * factor)


def undistort_point(point: PointPx, optics: Optics, size_px: tuple[int, int]) -> PointPx:
    """Return where a perfect lens shows what this lens shows at `point`.

    The inverse of `distort_point`, by Newton's method.
    """
    centre, unit = picture_centre(size_px), _half_diagonal(size_px)
    du, dv = point.u - centre.u, point.v - centre.v
    factor = float(_inverse_factor(np.array([(du * du + dv * dv) / unit**2]), optics.k1)[0])
    return PointPx(centre.u + du * factor, centre.v + dv * factor)


def _inverse_factor(shown_sq: NDArray[np.float64], k1: float) -> NDArray[np.float64]:
    """Solve g (1 + k1 g^2 rho^2) = 1 for g, rho^2 the squared radius as shown."""
    g = np.ones_like(shown_sq)
    for _ in range(12):
        value = g + k1 * shown_sq * g**3 - 1.0
        g = g - value / np.maximum(1.0 + 3.0 * k1 * shown_sq * g**2, 0.05)
    return g


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A rectangle of the picture on a grid of its own.

    Attributes
    ----------
    left, top
        First sample, in pixels of the picture.
    step
        Pixels of the picture from one sample to the next.
    width, height
        Number of samples.
    """

    left: float
    top: float
    step: float
    width: int
    height: int

    def u_px(self) -> NDArray[np.float64]:
        """Return the columns' places in the picture, shape (width,)."""
        return self.left + self.step * np.arange(self.width, dtype=np.float64)

    def v_px(self) -> NDArray[np.float64]:
        """Return the rows' places in the picture, shape (height,)."""
        return self.top + self.step * np.arange(self.height, dtype=np.float64)


def undistorted_grid(
    window: Window, optics: Optics, size_px: tuple[int, int]
) -> tuple[FloatArray, FloatArray]:
    """Return, from the picture's centre, where a perfect lens shows each sample.

    Returns
    -------
    tuple of arrays
        u and v less the picture's centre, px; shapes that broadcast to
        (height, width): without distortion (1, width) and (height, 1).
    """
    centre = picture_centre(size_px)
    du = (window.u_px() - centre.u).astype(np.float32)[None, :]
    dv = (window.v_px() - centre.v).astype(np.float32)[:, None]
    if optics.k1 == 0.0:
        return du, dv
    unit = np.float32(_half_diagonal(size_px))
    shown_sq = (du / unit) ** 2 + (dv / unit) ** 2
    nodes = np.linspace(0.0, max(1.0, float(shown_sq.max())), 1025)
    index = shown_sq * np.float32((nodes.size - 1) / nodes[-1])
    table = _inverse_factor(nodes, optics.k1).astype(np.float32)[None, :]
    factor = cv2.remap(table, index, np.zeros_like(index), cv2.INTER_LINEAR)
    return du * factor, dv * factor


def vignette(window: Window, optics: Optics, size_px: tuple[int, int]) -> FloatArray:
    """Return the share of light that reaches each sample, shape (height, width)."""
    centre, unit = picture_centre(size_px), _half_diagonal(size_px)
    du = ((window.u_px() - centre.u) / unit).astype(np.float32)[None, :]
    dv = ((window.v_px() - centre.v) / unit).astype(np.float32)[:, None]
    gain: FloatArray = np.float32(1.0) - np.float32(optics.vignetting) * (du**2 + dv**2)
    return gain


def blurred(picture: FloatArray, sigma_px: float) -> FloatArray:
    """Return the picture under a Gaussian blur that keeps centres where they are.

    Wide blurs are made on a smaller picture: the time stays bounded, and
    halving, doubling and the filter between them are all symmetric.
    """
    if sigma_px <= 0.05:
        return picture
    height, width = picture.shape[:2]
    factor = 1
    while sigma_px / factor > _PYRAMID_FROM_PX and min(height, width) > 16 * factor:
        factor *= 2
    if factor == 1:
        return _gaussian(picture, sigma_px)
    padded = cv2.copyMakeBorder(
        picture, 0, -height % factor, 0, -width % factor, cv2.BORDER_REPLICATE
    )
    size = (padded.shape[1] // factor, padded.shape[0] // factor)
    small = np.asarray(cv2.resize(padded, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    # Variance of the shrinking box (1/12) and of linear interpolation (1/6), in small pixels.
    rest = math.sqrt(max((sigma_px / factor) ** 2 - 0.25, 0.01))
    wide = _gaussian(small, rest)
    full = cv2.resize(wide, (padded.shape[1], padded.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(full[:height, :width])


def dim(picture: FloatArray, weight: FloatArray) -> None:
    """Multiply a picture (H, W, 3) by a weight (H, W), in place."""
    # Three equal planes are several times faster than broadcasting the last axis.
    cv2.multiply(picture, cv2.merge([weight, weight, weight]), dst=picture)


def _gaussian(picture: FloatArray, sigma_px: float) -> FloatArray:
    size = 2 * max(1, math.ceil(3.2 * sigma_px)) + 1
    out: FloatArray = cv2.GaussianBlur(
        picture, (size, size), sigma_px, borderType=cv2.BORDER_REPLICATE
    ).astype(np.float32, copy=False)
    return out
