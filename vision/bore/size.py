"""How wide a bore is, in micrometres, and what that says of the nozzle.

The finder's radius is where the picture shows the edge at half its height. The bore is
not quite there: blur draws a circle in, a camera that encodes light by a power law draws
its dark side in much further, and the edge between bore and land is broken. What is
known of these is corrected, what is not is part of the uncertainty (JCGM 100:2008, 4.3.7
and 5.1.2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.bore.result import BoreFit

Matrix = NDArray[np.float64]

COVERAGE = 2.0
"""Coverage factor of a stated U."""

BROKEN_EDGE_UM = 20.0
"""The edge of a new bore is broken by up to so much (common practice, no source). How far
outside of the bore's wall the rim is then seen hangs on the lamps: with the right gamma,
rendered tips (breaks of 15 um) and the bench's (12 um, lit walls) show it from 2 um inside
to 18 um outside, a worn ragged one 24 um outside."""

DIRT_PX = 0.5
"""Standard uncertainty of a dirty rim's radius beyond what its scatter tells: texture, plastic
behind a thin gap and light on the broken edge move all of it alike. Painted pictures of dirty
tips scatter by 0.7 px, broken edges included."""

LARGEST_GAMMA = 2.2
"""Cameras encode light to the power 1 / 2.2, or to a curve like it (sRGB), or not at all."""

EDGE_SHARE = 0.05
"""How well the shift by gamma is known, as a part of it (measured on drawn discs: 1 %, and
5 % where the blur is a fifth of the radius)."""

BLUR_SHARE = 0.1
"""How well the blur is known, as a part of it."""

READING_VARIANCE_PX2 = 1.0 / 6.0
"""Mean variance that linear interpolation adds when a picture is read between its pixels.
It comes after the camera's power law, so that gamma does not act on it."""

USUAL_LEVELS = (0.06, 0.65)
"""Dark and land, in parts of full scale, where nobody wrote them down. The shift by gamma
changes by 5 % between a dim and a bright picture."""

LEAST_DIFFERENCE_MM, LEAST_DIFFERENCE_SHARE = 0.03, 0.05
"""A bore that is off by less is no other nozzle and hardly a worn one, whatever is known of
it (common practice, no source). The share counts from 0.6 mm on: lit walls are as deep as
bores are wide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenRim:
    """A rim as far as its size needs it: small enough to be kept with a sighting.

    Attributes
    ----------
    semi_axes_px
        Semi-axes (major, minor).
    angle_rad
        Direction of the major axis from +u towards +v.
    blur_px
        Gaussian blur of the edge as it is seen.
    sigma_px
        Standard deviation of the centre per axis; the radius is known better than that.
    dark_level, land_level
        Brightness of bore and land beside the edge, in parts of full scale; None where
        nobody wrote it down.
    """

    semi_axes_px: tuple[float, float]
    angle_rad: float
    blur_px: float
    sigma_px: float
    dark_level: float | None = None
    land_level: float | None = None

    @property
    def radius_px(self) -> float:
        """Mean of the semi-axes."""
        return 0.5 * (self.semi_axes_px[0] + self.semi_axes_px[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class BoreSize:
    """How wide a bore is.

    Attributes
    ----------
    diameter_um
        Mean diameter of the bore, at the inner end of its broken edge.
    u_um
        Standard uncertainty of that.
    out_of_roundness_um
        Longest minus shortest diameter.
    notes
        What was assumed, a sentence each.
    """

    diameter_um: float
    u_um: float
    out_of_roundness_um: float
    notes: tuple[str, ...] = ()

    @property
    def expanded_um(self) -> float:
        """Expanded uncertainty of the diameter, k = 2."""
        return COVERAGE * self.u_um


def rim_of(fit: BoreFit) -> SeenRim:
    """Return what a fit's size needs."""
    return SeenRim(
        semi_axes_px=fit.semi_axes_px,
        angle_rad=fit.angle_rad,
        blur_px=fit.blur_px,
        sigma_px=fit.cov_px2.sigma_px,
        dark_level=None if fit.levels is None else fit.levels.dark,
        land_level=None if fit.levels is None else fit.levels.land,
    )


def mean_rim(rims: Sequence[SeenRim]) -> SeenRim:
    """Return the rim that several frames of one view, or several sightings, have in common.

    Ellipses are averaged as (radius, e cos 2a, e sin 2a): the mean of their axes would
    make every noisy circle oval.

    Raises
    ------
    ValueError
        When there is no rim.
    """
    if not rims:
        raise ValueError("rims must hold at least one rim")
    radius = float(np.mean([rim.radius_px for rim in rims]))
    halves = [0.5 * (rim.semi_axes_px[0] - rim.semi_axes_px[1]) for rim in rims]
    turns = np.exp(2j * np.array([rim.angle_rad for rim in rims]))
    oval = complex(np.mean(np.array(halves) * turns))
    darks = [rim.dark_level for rim in rims if rim.dark_level is not None]
    lands = [rim.land_level for rim in rims if rim.land_level is not None]
    return SeenRim(
        semi_axes_px=(radius + abs(oval), radius - abs(oval)),
        angle_rad=0.5 * math.atan2(oval.imag, oval.real),
        blur_px=float(np.mean([rim.blur_px for rim in rims])),
        sigma_px=float(np.mean([rim.sigma_px for rim in rims])),
        dark_level=float(np.mean(darks)) if darks else None,
        land_level=float(np.mean(lands)) if lands else None,
    )


def bore_size(
    fit: BoreFit | SeenRim,
    um_per_px: float | Matrix,
    u_um_per_px: float,
    gamma: float | None = None,
) -> BoreSize:
    """Return how wide a bore is.

    With R the rim's radius as seen and s the blur, all in px, the bore's radius is

        R + s^2 / (2 R) - shift(gamma) - half of the broken edge.

    A disc blurred by s has its half height at R - s^2 / (2 R): to first order the profile
    of a disc is that of a straight edge, moved by the heat equation's curvature term
    (u_t = (u_rr + u_r / r) / 2 with t = s^2, so that r moves by -1 / (2 r) per unit of t).
    For the shift, which is negative, and the blur before the power law see `gamma_edge`.

    Parameters
    ----------
    fit
        The rim.
    um_per_px
        What a pixel is worth: one figure, or shape (2, 2), the map from a step (u, v) in
        px to one in um. Cameras stretch pixels, and roundness is judged in um.
    u_um_per_px
        Standard uncertainty of the pixel's worth, of the root of its area.
    gamma
        The camera encodes light to the power 1 / gamma; None where nobody knows: then
        it lies anywhere between 1 and 2.2.

    Raises
    ------
    ValueError
        When a figure is out of bounds, or the matrix has no inverse.
    """
    rim = fit if isinstance(fit, SeenRim) else rim_of(fit)
    to_um = _checked(um_per_px, u_um_per_px, gamma)
    pixel_um = math.sqrt(abs(float(np.linalg.det(to_um))))
    major_um, minor_um = _semi_axes_um(rim, to_um)
    drawn_px, u_drawn_px = _drawn_in_px(rim, gamma)
    radius_um = 0.5 * (major_um + minor_um)
    radius_um += pixel_um * drawn_px - 0.5 * BROKEN_EDGE_UM
    # The radius is the mean over all rays; a centre's axis, weighed by a cosine, has twice
    # the variance.
    parts_um = (
        pixel_um * rim.sigma_px / math.sqrt(2.0),
        pixel_um * DIRT_PX,
        pixel_um * u_drawn_px,
        BROKEN_EDGE_UM / math.sqrt(12.0),
        radius_um * u_um_per_px / pixel_um,
    )
    return BoreSize(
        diameter_um=2.0 * radius_um,
        u_um=2.0 * math.hypot(*parts_um),
        out_of_roundness_um=2.0 * (major_um - minor_um),
        notes=_notes(rim, gamma, pixel_um),
    )


def gamma_edge(gamma: float, dark: float, land: float) -> tuple[float, float]:
    """Return how a camera's power law moves and widens a blurred edge.

    The light of an edge is d^g + (l^g - d^g) Phi(x / s); the camera shows its 1 / g-th
    power, of levels d and l. The finder lays d + h Phi((x - shift) / blur) through it by
    least squares, and so does this function, by Gauss-Newton steps.

    Parameters
    ----------
    gamma
        The camera encodes light to the power 1 / gamma.
    dark, land
        Levels as shown, in parts of full scale, the first one lower.

    Returns
    -------
    tuple of float
        Shift, negative towards the dark side, and blur, both in parts of s.

    Examples
    --------
    >>> gamma_edge(1.0, 0.1, 0.6)
    (0.0, 1.0)
    >>> shift, blur = gamma_edge(2.2, 0.06, 0.65)
    >>> round(shift, 2), round(blur, 2)
    (-0.66, 1.19)
    """
    if gamma == 1.0:
        return 0.0, 1.0
    x = np.linspace(-3.5, 3.5, 141)
    low, high = dark**gamma, land**gamma
    shown = (low + (high - low) * ndtr(x)) ** (1.0 / gamma)
    p = np.array([dark, land - dark, 0.0, 1.0])
    for _ in range(12):
        z = (x - p[2]) / p[3]
        bell = p[1] * np.exp(-0.5 * z**2) / (math.sqrt(2.0 * math.pi) * p[3])
        design = np.stack([np.ones_like(x), ndtr(z), -bell, -bell * z], axis=1)
        step = np.linalg.lstsq(design, shown - p[0] - p[1] * ndtr(z), rcond=None)[0]
        p += step
        if float(np.abs(step).max()) < 1e-6:
            break
    return float(p[2]), float(p[3])


def nozzle_finding(size: BoreSize, nominal_mm: float) -> str | None:
    """Return a sentence when a bore is not the one that is expected, else None.

    Nothing is said of a difference within U, or one that no nozzle is changed for.

    Examples
    --------
    >>> worn = BoreSize(diameter_um=471.0, u_um=13.0, out_of_roundness_um=4.0)
    >>> nozzle_finding(worn, 0.4)
    'The bore measures 0.47 mm, 0.40 mm is expected: a worn or another nozzle.'
    >>> nozzle_finding(worn, 0.45) is None
    True
    """
    if not (nominal_mm > 0.0 and math.isfinite(nominal_mm)):
        raise ValueError(f"nominal_mm must be positive, got {nominal_mm}")
    off_mm = 1e-3 * size.diameter_um - nominal_mm
    least_mm = max(LEAST_DIFFERENCE_MM, LEAST_DIFFERENCE_SHARE * nominal_mm)
    if abs(off_mm) <= max(1e-3 * size.expanded_um, least_mm):
        return None
    why = (
        "a worn or another nozzle" if off_mm > 0.0 else "another nozzle, or one with plastic in it"
    )
    measured_mm = 1e-3 * size.diameter_um
    return f"The bore measures {measured_mm:.2f} mm, {nominal_mm:.2f} mm is expected: {why}."


def _checked(um_per_px: float | Matrix, u_um_per_px: float, gamma: float | None) -> Matrix:
    """Return the map from px to um, shape (2, 2)."""
    given = np.asarray(um_per_px, dtype=np.float64)
    if given.shape not in ((), (2, 2)):
        raise ValueError(f"um_per_px must be one figure or of shape (2, 2), got {given.shape}")
    to_um: Matrix = given * np.eye(2) if given.shape == () else given
    if not bool(np.isfinite(to_um).all()) or float(np.linalg.det(to_um)) == 0.0:
        raise ValueError(f"um_per_px must be finite and have an inverse, got {um_per_px!r}")
    if not (u_um_per_px >= 0.0 and math.isfinite(u_um_per_px)):
        raise ValueError(f"u_um_per_px must not be negative, got {u_um_per_px}")
    if gamma is not None and not 0.3 <= gamma <= 4.0:
        raise ValueError(f"gamma must lie between 0.3 and 4, got {gamma}")
    return to_um


def _semi_axes_um(rim: SeenRim, to_um: Matrix) -> tuple[float, float]:
    """Return the semi-axes of the ellipse that is seen as this one: singular values."""
    cos, sin = math.cos(rim.angle_rad), math.sin(rim.angle_rad)
    axes_px = np.array([[cos, -sin], [sin, cos]]) * np.array(rim.semi_axes_px)
    major, minor = np.linalg.svd(to_um @ axes_px, compute_uv=False)
    return float(major), float(minor)


def _drawn_in_px(rim: SeenRim, gamma: float | None) -> tuple[float, float]:
    """Return what blur and gamma took off the radius, and the standard uncertainty of that."""
    if gamma is not None:
        curvature_px, shift_px = _blur_and_gamma_px(rim, gamma)
        u_px = math.hypot(2.0 * BLUR_SHARE * curvature_px, EDGE_SHARE * shift_px)
        return curvature_px + shift_px, u_px
    plain_px, u_plain_px = _drawn_in_px(rim, 1.0)
    most_px, u_most_px = _drawn_in_px(rim, LARGEST_GAMMA)
    # Anywhere between the two: JCGM 100:2008, 4.3.7.
    spread_px = (most_px - plain_px) / math.sqrt(12.0)
    return 0.5 * (plain_px + most_px), math.hypot(spread_px, 0.5 * (u_plain_px + u_most_px))


def _blur_and_gamma_px(rim: SeenRim, gamma: float) -> tuple[float, float]:
    """Return what the curved edge's blur, and what gamma took off the radius."""
    shift, widened = gamma_edge(gamma, *_levels(rim))
    blur_px = math.sqrt(max(rim.blur_px**2 - READING_VARIANCE_PX2, 0.0)) / widened
    curvature_px = (blur_px**2 + READING_VARIANCE_PX2) / (2.0 * rim.radius_px)
    return curvature_px, -shift * blur_px


def _levels(rim: SeenRim) -> tuple[float, float]:
    """Return dark and land level, such as a camera can have shown them."""
    if rim.dark_level is None or rim.land_level is None:
        return USUAL_LEVELS
    dark = min(max(rim.dark_level, 0.002), 0.97)
    return dark, min(max(rim.land_level, dark + 0.02), 1.0)


def _notes(rim: SeenRim, gamma: float | None, pixel_um: float) -> tuple[str, ...]:
    notes = [
        f"The bore's edge may be broken by up to {BROKEN_EDGE_UM:.0f} um; half of it is taken off."
    ]
    if gamma is None:
        most_px, plain_px = (_drawn_in_px(rim, g)[0] for g in (LARGEST_GAMMA, 1.0))
        notes.append(
            f"The camera's gamma is not known: between 1 and {LARGEST_GAMMA:g} the diameter "
            f"changes by {2.0 * pixel_um * (most_px - plain_px):.0f} um; the middle is taken."
        )
    if rim.dark_level is None or rim.land_level is None:
        notes.append("How bright bore and land were is not recorded; usual figures are taken.")
    return tuple(notes)
