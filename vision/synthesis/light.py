"""A ring of lamps round the lens, and what it does to metal that was turned.

The lamps belong to the microscope, so their directions stay in the picture's
frame while tips move through it. A facet is bright where its normal lies half
way between the directions to lamp and lens; along the grooves that turning
left, normals scatter little, across them much, which draws the highlights out
into spokes (the anisotropic highlight of Ward 1992, with slopes in place of
angles).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.synthesis.checks import (
    require_colour,
    require_finite,
    require_not_negative,
    require_positive,
    require_share,
)
from vision.synthesis.tip import Bgr

FloatArray = NDArray[np.float32]

ANGLES = 360
"""Columns of a polar table: one degree each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """One lamp of the ring.

    Attributes
    ----------
    angle_rad
        Direction from the optical axis in the picture, from +u towards +v.
    radius_mm
        Distance from the optical axis.
    strength
        Brightness; 1 is usual.
    """

    angle_rad: float
    radius_mm: float = 6.0
    strength: float = 1.0

    def __post_init__(self) -> None:
        """Check the fields."""
        require_finite("angle_rad", self.angle_rad)
        require_not_negative("radius_mm", self.radius_mm)
        require_not_negative("strength", self.strength)


def ring_of_lamps(
    count: int = 8, *, radius_mm: float = 6.0, first_rad: float = 0.2
) -> tuple[Lamp, ...]:
    """Return `count` equal lamps, evenly spaced."""
    if count < 1:
        raise ValueError(f"count must be 1 or more, got {count!r}")
    step = 2.0 * math.pi / count
    return tuple(Lamp(angle_rad=first_rad + k * step, radius_mm=radius_mm) for k in range(count))


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """The light that falls on a tip.

    Attributes
    ----------
    lamps
        The ring; eight equal lamps by default.
    height_mm
        Distance of lamps and lens from the tip.
    one_sided
        0: all lamps as they are; 1: those away from `one_sided_rad` are out.
    one_sided_rad
        Direction, in the picture, of the lamps that stay bright.
    ambient
        Light from everywhere, in parts of the ring's.
    glint_sharpness
        How sharp the mirror images of the lamps in the land are, 0 (none: a
        matt land) to 1 (polished).
    colour
        Linear BGR colour of the light.
    """

    lamps: tuple[Lamp, ...] = ring_of_lamps()
    height_mm: float = 25.0
    one_sided: float = 0.15
    one_sided_rad: float = -0.9
    ambient: float = 0.25
    glint_sharpness: float = 0.5
    colour: Bgr = (1.0, 1.0, 0.97)

    def __post_init__(self) -> None:
        """Check the fields."""
        if not self.lamps:
            raise ValueError("lamps must hold at least one lamp")
        require_positive("height_mm", self.height_mm)
        require_share("one_sided", self.one_sided)
        require_finite("one_sided_rad", self.one_sided_rad)
        require_not_negative("ambient", self.ambient)
        require_share("glint_sharpness", self.glint_sharpness)
        require_colour("colour", self.colour)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lighting:
    """The ring as it stands to one tip, in the tip's own axes.

    Attributes
    ----------
    half_slopes
        Shape (N, 2): the slope that mirrors each lamp into the lens at the
        bore's centre, less the tilt of the tip.
    toward
        Shape (N, 2): unit vectors from the axis to each lamp.
    weights
        Shape (N,): strength of each lamp, together 1 for an even ring.
    slope_per_mm
        By how much `half_slopes` falls per mm away from the bore's centre.
    """

    half_slopes: NDArray[np.float64]
    toward: NDArray[np.float64]
    weights: NDArray[np.float64]
    slope_per_mm: float


def lighting_at(
    light: Light,
    *,
    mm_from_px: NDArray[np.float64],
    from_axis_mm: NDArray[np.float64],
    tilt_rad: tuple[float, float],
) -> Lighting:
    """Return how the lamps stand to a tip.

    Parameters
    ----------
    light
        The ring, in the picture's frame.
    mm_from_px
        Shape (2, 2): inverse of the pixel matrix; turns the lamps' directions
        into the tip's axes.
    from_axis_mm
        Shape (2,): where the bore lies, seen from the optical axis.
    tilt_rad
        Slope of the land along X and Y.
    """
    angles = np.array([lamp.angle_rad for lamp in light.lamps])
    radii = np.array([lamp.radius_mm for lamp in light.lamps])
    toward = np.stack([np.cos(angles), np.sin(angles)], axis=1) @ mm_from_px.T
    toward /= np.linalg.norm(toward, axis=1, keepdims=True)
    slope_per_mm = 1.0 / light.height_mm
    mirror = 0.5 * toward * (radii / light.height_mm)[:, None]
    return Lighting(
        half_slopes=mirror - slope_per_mm * from_axis_mm - np.asarray(tilt_rad, dtype=np.float64),
        toward=toward,
        weights=_weights(light, angles),
        slope_per_mm=slope_per_mm,
    )


def _weights(light: Light, angles: NDArray[np.float64]) -> NDArray[np.float64]:
    strengths = np.array([lamp.strength for lamp in light.lamps])
    facing = 0.5 + 0.5 * np.cos(angles - light.one_sided_rad)
    return strengths * (1.0 - light.one_sided * (1.0 - facing**1.5)) / len(light.lamps)


@dataclass(frozen=True, slots=True, kw_only=True)
class Facet:
    """A ring of metal with one mean slope.

    Attributes
    ----------
    radius_mm
        Where it lies.
    slope
        Mean slope of its normals away from the axis (negative: towards it).
    rough_across, rough_along
        Standard deviation of the slope across and along the grooves.
    shine, diffuse
        Strength of the highlight and of the matt part.
    """

    radius_mm: float
    slope: float
    rough_across: float
    rough_along: float
    shine: float
    diffuse: float


def _across(facets: tuple[Facet, ...], name: str) -> NDArray[np.float64]:
    return np.array([getattr(facet, name) for facet in facets])[:, None, None]


def facet_table(facets: tuple[Facet, ...], lighting: Lighting, ambient: float) -> FloatArray:
    """Return brightness, and its change with radial slope, by facet and direction.

    Returns
    -------
    array
        Shape (facets, ANGLES + 1, 2): brightness and its change. Column k stands
        for the direction 2 pi k / ANGLES, and the last repeats the first.
    """
    phi = np.linspace(0.0, 2.0 * np.pi, ANGLES + 1)
    radial = np.stack([np.cos(phi), np.sin(phi)])
    tangent = np.stack([-radial[1], radial[0]])
    slope = _across(facets, "slope")
    reach = lighting.slope_per_mm * _across(facets, "radius_mm")
    h_radial = (lighting.half_slopes @ radial)[None] - reach - slope
    h_tangent = (lighting.half_slopes @ tangent)[None]
    across, along = _across(facets, "rough_across"), _across(facets, "rough_along")
    lobe = np.exp(-0.5 * ((h_radial / across) ** 2 + (h_tangent / along) ** 2))
    lobe *= _across(facets, "shine") * lighting.weights[None, :, None]
    facing = np.clip(1.0 + 0.55 * slope * (lighting.toward @ radial)[None], 0.0, None)
    matt = (facing * lighting.weights[None, :, None]).sum(axis=1) + ambient
    bright = lobe.sum(axis=1) + _across(facets, "diffuse")[:, :, 0] * matt
    change = (lobe * h_radial / across**2).sum(axis=1)
    return np.stack([bright, change], axis=2).astype(np.float32)
