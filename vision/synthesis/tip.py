"""What a nozzle tip looks like from below, before any light falls on it.

Lengths are in millimetres in the plane of the tip. The origin is the centre of
the bore's rim circle; directions are angles from +X towards +Y of the machine.
"""

from __future__ import annotations

from dataclasses import dataclass

from vision.synthesis.checks import (
    require_colour,
    require_finite,
    require_not_negative,
    require_positive,
    require_share,
)

Bgr = tuple[float, float, float]
"""A linear colour: blue, green, red, in parts of a perfect white."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Oval:
    """A worn bore that is no longer round.

    Attributes
    ----------
    axis_ratio
        Minor over major axis, above 0.5 and up to 1. The geometric mean of the
        axes stays the bore's diameter.
    angle_rad
        Direction of the major axis.
    """

    axis_ratio: float = 1.0
    angle_rad: float = 0.0

    def __post_init__(self) -> None:
        """Check the fields."""
        if not 0.5 < self.axis_ratio <= 1.0:
            raise ValueError(f"axis_ratio must lie in (0.5, 1], got {self.axis_ratio!r}")
        require_finite("angle_rad", self.angle_rad)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """Plastic that was left in the bore, level with the land.

    Attributes
    ----------
    albedo
        Linear BGR colour of the plastic.
    gap_mm
        Width of the dark gap between plastic and rim: plastic shrinks when it
        cools.
    gloss
        Strength of the lamps' reflections, 0 to 1.
    """

    albedo: Bgr
    gap_mm: float = 0.0
    gloss: float = 0.4

    def __post_init__(self) -> None:
        """Check the fields."""
        require_colour("albedo", self.albedo)
        require_not_negative("gap_mm", self.gap_mm)
        require_share("gloss", self.gloss)


DARK_PLASTIC = Fill(albedo=(0.020, 0.018, 0.020))
"""Black plastic that wets the bore's wall."""

BRIGHT_PLASTIC = Fill(albedo=(0.62, 0.70, 0.74), gap_mm=0.022, gloss=0.25)
"""White plastic, brighter than the land, with a thin dark gap round it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """A blob of plastic that hides part of the rim.

    Attributes
    ----------
    angle_rad
        Direction from the bore's centre in which it sits.
    extent
        Share of the rim that it hides, 0 to 0.6 (its outline is wavy, so this
        holds within a few hundredths).
    size_mm
        How far it reaches out over the land from the rim.
    colour
        Linear BGR colour.
    gloss
        Strength of the lamps' reflections in it, 0 to 1.
    """

    angle_rad: float = 0.6
    extent: float = 0.2
    size_mm: float = 0.22
    colour: Bgr = (0.46, 0.14, 0.03)
    gloss: float = 0.8

    def __post_init__(self) -> None:
        """Check the fields."""
        require_finite("angle_rad", self.angle_rad)
        if not 0.0 < self.extent <= 0.6:
            raise ValueError(f"extent must lie in (0, 0.6], got {self.extent!r}")
        require_positive("size_mm", self.size_mm)
        require_colour("colour", self.colour)
        require_share("gloss", self.gloss)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tip:
    """A nozzle tip; the defaults are those of a used brass nozzle.

    Attributes
    ----------
    bore_mm
        Diameter of the bore's rim.
    land_mm
        Outer diameter of the flat ring round the bore.
    cone_mm
        Diameter at which the visible cone ends.
    oval
        How far the bore is from round.
    eccentricity_mm
        Offset (x, y) of the land's and the cone's centre from the bore's.
    edge_break_mm
        Width of the bevel outside of the rim; 0 is a sharp edge.
    turning_marks
        Strength of the grooves that turning left on land and cone, 0 to 1.
    grain
        Strength of the metal's fine and cloudy texture and raggedness of the
        land's edge, 0 to 1.
    scratches
        Number of scratches across the land.
    stains
        Strength of burnt residue on land and cone, 0 to 1.
    land_albedo, cone_albedo
        Linear BGR colours of the metal.
    bore_fill
        Plastic left in the bore, or None for an empty bore.
    drop
        A blob of plastic over part of the rim, or None.
    burr_mm
        Length of a sliver of metal that stands into the bore; 0 for none.
    seed
        Fixes the static texture: the same seed gives the same tip.
    """

    bore_mm: float = 0.4
    land_mm: float = 1.0
    cone_mm: float = 3.6
    oval: Oval = Oval()
    eccentricity_mm: tuple[float, float] = (0.012, -0.007)
    edge_break_mm: float = 0.012
    turning_marks: float = 0.5
    grain: float = 0.5
    scratches: int = 6
    stains: float = 0.35
    land_albedo: Bgr = (0.30, 0.60, 0.82)
    cone_albedo: Bgr = (0.20, 0.46, 0.68)
    bore_fill: Fill | None = None
    drop: Drop | None = None
    burr_mm: float = 0.0
    seed: int = 1

    def __post_init__(self) -> None:
        """Check the fields and that the circles lie inside one another."""
        require_positive("bore_mm", self.bore_mm)
        require_finite("eccentricity_mm", *self.eccentricity_mm)
        require_not_negative("edge_break_mm", self.edge_break_mm)
        require_share("turning_marks", self.turning_marks)
        require_share("grain", self.grain)
        require_share("stains", self.stains)
        require_not_negative("scratches", self.scratches)
        require_not_negative("burr_mm", self.burr_mm)
        require_colour("land_albedo", self.land_albedo)
        require_colour("cone_albedo", self.cone_albedo)
        require_not_negative("seed", self.seed)
        self._check_order()

    def _check_order(self) -> None:
        """Refuse circles that cross."""
        bore_mm = 2.0 * self.semi_axes_mm[0] + 2.0 * self.edge_break_mm
        ex, ey = self.eccentricity_mm
        if self.land_mm <= bore_mm + 2.0 * (ex * ex + ey * ey) ** 0.5:
            raise ValueError(f"land_mm must enclose bore and bevel, got {self.land_mm!r}")
        if self.cone_mm <= self.land_mm:
            raise ValueError(f"cone_mm must be above land_mm, got {self.cone_mm!r}")
        if self.burr_mm >= 0.5 * self.bore_mm:
            raise ValueError(f"burr_mm must stay under the bore's radius, got {self.burr_mm!r}")

    @property
    def semi_axes_mm(self) -> tuple[float, float]:
        """Semi-axes (major, minor) of the rim."""
        stretch = self.oval.axis_ratio**-0.5
        return 0.5 * self.bore_mm * stretch, 0.5 * self.bore_mm / stretch
