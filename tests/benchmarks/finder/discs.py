"""Clean pictures of a dark disc on a bright land, exact to a small part of a grey level.

The rim is the integral of a Gaussian across the edge; the box of the pixel widens it by
1/12 px^2. (A blurred disc differs from that by its curvature, but evenly all round, so the
centre stays exact.) Where two edges come near each other the picture is made of fine pixels
and blurred instead, as a product of two such edges would not be a blurred picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, cos, hypot, sin

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

PIXEL_VARIANCE_PX2 = 1.0 / 12.0
FULL_SCALE = 255.0
BRIGHTEST = 240.0  # leaves room for noise below full scale
_FINE = 5  # odd, so that the middle of a pixel is the middle of a fine one
_DIMMEST = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A bore in an endless land; lengths in px, brightness in grey levels of 255."""

    centre_px: tuple[float, float]
    radius_px: float
    blur_px: float
    dark: float = 15.0
    bright: float = 170.0

    @property
    def contrast(self) -> float:
        return self.bright - self.dark

    @property
    def edge_px(self) -> float:
        """Standard deviation of the edge as the pixels see it."""
        return hypot(self.blur_px, PIXEL_VARIANCE_PX2**0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """Light that changes evenly across the picture.

    Attributes
    ----------
    per_diameter
        Change over one diameter of the bore, in parts of the light at its centre.
    towards_rad
        Direction in which it grows, from +u towards +v.
    behind_lens
        False: the light falls so on the land, and the lens blurs what the land sends back.
        True: the blurred picture is darkened, as by the lens's own falloff.
    """

    per_diameter: float
    towards_rad: float
    behind_lens: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Crescent:
    """The bore's lit wall: inside the rim, outside the rim moved by `thickness_px`."""

    thickness_px: float
    level: float
    towards_rad: float


def frame_side(radius_px: float) -> int:
    """Return the side of a frame with room enough round the bore."""
    return ceil(6 * radius_px + 40)


def middle_of(side: int, shift_px: tuple[float, float]) -> tuple[float, float]:
    """Return the point so far off the middle pixel of a frame."""
    return side // 2 + shift_px[0], side // 2 + shift_px[1]


def from_centre(side: int, disc: Disc) -> tuple[Array, Array, Array]:
    """Return x (1, side), y (side, 1) and the distance (side, side) from the disc's centre."""
    at = np.arange(side, dtype=np.float64)
    x, y = at[None, :] - disc.centre_px[0], at[:, None] - disc.centre_px[1]
    return x, y, np.sqrt(x**2 + y**2)


def draw(side: int, disc: Disc) -> Array:
    """Return the picture before noise, shape (side, side)."""
    return disc.dark + disc.contrast * _outside(from_centre(side, disc)[2], disc)


def draw_sloped(side: int, disc: Disc, slope: Slope, *, gamma: float) -> Array:
    """Return the disc under uneven light, encoded as light ** (1 / gamma).

    `dark` and `bright` are what is encoded at the centre; all is dimmed as far as the
    brightest corner asks, and far outside the rim the light stays above 5 %.
    """
    linear = replace(disc, dark=_decoded(disc.dark, gamma), bright=_decoded(disc.bright, gamma))
    x, y, rho = from_centre(side, disc)
    per_px = slope.per_diameter / (2 * disc.radius_px)
    along = x * cos(slope.towards_rad) + y * sin(slope.towards_rad)
    shown = draw(side, linear)
    light = np.maximum(1.0 + per_px * along, _DIMMEST) * shown
    if not slope.behind_lens:
        light += per_px * _blurred_lever(disc.edge_px, along, rho, linear)
    light *= min(1.0, _decoded(BRIGHTEST, gamma) / float(light.max()))
    return np.asarray(FULL_SCALE * np.maximum(light, 0.0) ** (1.0 / gamma), dtype=np.float64)


def draw_crescent(side: int, disc: Disc, crescent: Crescent) -> Array:
    """Return the disc with part of the bore's wall lit."""
    moved = (
        disc.centre_px[0] + crescent.thickness_px * cos(crescent.towards_rad),
        disc.centre_px[1] + crescent.thickness_px * sin(crescent.towards_rad),
    )
    half = ceil(disc.radius_px + 6 * disc.edge_px) + 1
    window = slice(side // 2 - half, side // 2 + half + 1)
    outside = _fine_outside(window, disc.centre_px, disc.radius_px)
    wall = _fine_outside(window, moved, disc.radius_px)
    fine = disc.dark + (crescent.level - disc.dark) * wall
    fine += (disc.bright - fine) * outside
    # The fine pixel has a box of its own; the mean over the pixel brings the rest.
    sigma = _FINE * (disc.blur_px**2 - PIXEL_VARIANCE_PX2 / _FINE**2) ** 0.5
    cv2.GaussianBlur(fine, (0, 0), sigma, dst=fine, borderType=cv2.BORDER_REPLICATE)
    count = 2 * half + 1
    picture = np.full((side, side), disc.bright, dtype=np.float64)
    picture[window, window] = fine.reshape(count, _FINE, count, _FINE).mean(axis=(1, 3))
    return picture


def expose(light: Array, noise: float, rng: np.random.Generator) -> Picture:
    """Return the picture with white noise, rounded to 8 bits."""
    noisy = rng.standard_normal(light.shape, dtype=np.float32)
    noisy *= np.float32(noise)
    noisy += light.astype(np.float32)
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)


def _outside(rho: Array, disc: Disc) -> Array:
    """Return the share of the land in each pixel."""
    share = (rho > disc.radius_px).astype(np.float64)
    # Beyond 6 sigma the flank is less than a millionth of a grey level.
    near = np.abs(rho - disc.radius_px) < 6 * disc.edge_px
    share[near] = ndtr((rho[near] - disc.radius_px) / disc.edge_px)
    return share


def _decoded(level: float, gamma: float) -> float:
    return float((level / FULL_SCALE) ** gamma)


def _blurred_lever(edge_px: float, along: Array, rho: Array, disc: Disc) -> Array:
    """Return what blurring light that grows by 1 a px adds to the blurred disc.

    For a Gaussian G of variance s^2 and a picture f: G * (x f) = x (G * f) + s^2 d(G * f)/dx.
    """
    z = (rho - disc.radius_px) / edge_px
    flank = disc.contrast * np.exp(-0.5 * z**2) / (np.sqrt(2 * np.pi) * edge_px)
    return np.asarray(edge_px**2 * flank * along / np.maximum(rho, 1e-9), dtype=np.float64)


def _fine_outside(window: slice, centre: tuple[float, float], radius: float) -> NDArray[np.float32]:
    """Return the share of each fine pixel that lies outside the circle."""
    count = (window.stop - window.start) * _FINE
    at = window.start + (np.arange(count) - (_FINE - 1) / 2) / _FINE
    rho = np.sqrt((at[None, :] - centre[0]) ** 2 + (at[:, None] - centre[1]) ** 2)
    return np.asarray(np.clip((rho - radius) * _FINE + 0.5, 0.0, 1.0), dtype=np.float32)
