"""What lies inside a rim: a dark hole, plastic behind a thin gap, or something that is no bore.

A cone, a drop or a screw's head has a dark ring at its edge, and so a rim that is
perfectly round. But its ring is wide, and brightens slowly towards the middle. Plastic
that shrank from the bore's wall leaves a gap of a few pixels, and its edge is as sharp as
the rim.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.bore.picture import Picture
from vision.bore.ranks import median
from vision.bore.rays import cast
from vision.bore.rim import Rim

_RAYS = 36


@dataclass(frozen=True, slots=True, kw_only=True)
class Inside:
    """What lies inside a rim.

    Attributes
    ----------
    fill
        How bright the middle is between the darkest ring, 0, and the land, 1.
    gap_px
        Width of the dark ring, to where it is half as bright as the middle.
    rise_px
        Length over which the ring brightens from a quarter to three quarters.
    """

    fill: float
    gap_px: float
    rise_px: float


def look_inside(picture: Picture, rim: Rim) -> Inside:
    """Return what lies inside a rim, from the median over all directions."""
    radius, blur = rim.curve.radius, rim.blur
    # About thirty samples, whatever the size.
    step = max(0.5, radius / 30.0)
    rays = cast(
        picture,
        rim.curve,
        count=_RAYS,
        inside=-0.96 * radius,
        outside=2.0 * blur + 2.0 + step,
        step=step,
    )
    ordered = np.sort(np.nan_to_num(rays.values), axis=0)
    profile, x = ordered[_RAYS // 2].astype(np.float64), rays.steps
    land = median(profile[x > 1.2 * blur])
    within = np.flatnonzero(x < 0.5 * blur)
    darkest = int(profile[within].argmin())
    low = float(profile[darkest])
    middle = float(profile[x < -0.45 * radius].mean())
    ring = profile[: darkest + 1]

    def last_above(share: float) -> float:
        above = np.flatnonzero(ring > low + share * (middle - low))
        return float(x[above[-1]]) if len(above) else -np.inf

    return Inside(
        fill=(middle - low) / max(land - low, 1e-6),
        gap_px=-last_above(0.5),
        rise_px=last_above(0.25) - last_above(0.75) if middle > low else np.inf,
    )
