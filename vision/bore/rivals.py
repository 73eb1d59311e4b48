"""Which of several rims is the bore's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.bore.picture import Picture
from vision.bore.ranks import median
from vision.bore.rays import cast
from vision.bore.result import RadiusPrior
from vision.bore.rim import Rim
from vision.bore.rough import Rough
from vision.bore.settings import FinderSettings
from vision.geometry.loss import MAD_TO_SIGMA

_RAYS = 48
_TOUCHING = 1.25
"""Distance, in parts of the sum of the radii, up to which two rims may touch: of an edge
break only the inner end may have been seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A rim that could be a bore's.

    Attributes
    ----------
    rough
        What it was found by.
    rim
        Its fit.
    noise
        Noise round it, in parts of full scale.
    beyond
        Whether it is the outer end of a lit edge break, its inner end being no bore's.
    """

    rough: Rough
    rim: Rim
    noise: float
    beyond: bool = False


def worth(rough: Rough, prior: RadiusPrior | None) -> float:
    """Return how much speaks for a place, its size included where that is known."""
    if prior is None:
        return rough.score
    off = (rough.curve.radius / prior.radius_px - 1.0) / max(prior.relative_tolerance, 0.02)
    return rough.score * float(np.exp(-0.5 * off**2))


def may_be_rival(
    one: Rough, best: Candidate, prior: RadiusPrior | None, settings: FinderSettings
) -> bool:
    """Whether a place could be the bore instead of the best one."""
    apart, crossing = _apart(one, best)
    if not apart:
        # Within one another lie land, edge break and bore.
        return False
    # Where two cross, one lies on the other: a drop on the rim looks better than what
    # it hides.
    least = settings.crossing_score if crossing else settings.rival_score
    return worth(one, prior) > least * worth(best.rough, prior)


def _apart(one: Rough, best: Candidate) -> tuple[bool, bool]:
    """Return whether two rims have different centres, and whether they touch or nearly do."""
    curve, main = one.curve, best.rim.curve
    distance = float(np.hypot(curve.u - main.u, curve.v - main.v))
    return (
        distance > 0.5 * max(curve.radius, main.radius),
        distance < _TOUCHING * (curve.radius + main.radius),
    )


def lies_on_another(
    best: Candidate, refused: list[Rough], prior: RadiusPrior | None, settings: FinderSettings
) -> bool:
    """Whether a rim touches one that could be a bore's but cannot be measured.

    Then it may be a drop on a bore that it hides too much of, and not the bore.
    """
    return any(
        all(_apart(one, best))
        and worth(one, prior) > settings.hiding_score * worth(best.rough, prior)
        for one in refused
    )


def the_bore(
    picture: Picture,
    candidates: list[Candidate],
    prior: RadiusPrior | None,
    settings: FinderSettings,
) -> Candidate | int:
    """Return the one that is the bore, or how many could be it.

    A bore lies in the middle of its land; a drop that hides part of the rim, or a screw
    beside the nozzle, does not.
    """
    best = candidates[0]
    rivals = [c for c in candidates[1:] if may_be_rival(c.rough, best, prior, settings)]
    if not rivals:
        return best
    all_of_them = [best, *rivals]
    off = [_off_the_land(picture, one.rim) for one in all_of_them]
    nearest = int(np.argmin(off))
    others = [o for i, o in enumerate(off) if i != nearest]
    if np.isfinite(off).all() and off[nearest] < settings.centred_on_land * min(others):
        return all_of_them[nearest]
    return len(all_of_them)


def _off_the_land(picture: Picture, rim: Rim) -> float:
    """Return how far from the middle of the land a rim lies, in radii; infinite where unknown."""
    radius = rim.curve.radius
    rays = cast(
        picture,
        rim.curve,
        count=_RAYS,
        inside=0.15 * radius,
        outside=3.0 * radius,
        step=radius / 12.0,
    )
    fall = rays.values[:, :-3] - rays.values[:, 3:]
    fall = np.nan_to_num(fall, nan=0.0)
    at = fall.argmax(axis=1)
    seen = fall[np.arange(_RAYS), at] > 0.2 * median(rim.heights[rim.believed])
    if seen.mean() < 0.5:
        return float("inf")
    away = rays.steps[at[seen] + 1]
    return MAD_TO_SIGMA * median(np.abs(away - median(away))) / radius
