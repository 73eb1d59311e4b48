"""A bore that is not of the expected size: found all the same, where a nozzle is in view.

A radius prior keeps washers, coins and drilled holes out, and so refuses a nozzle of
another bore. Who knows that what stands over the camera is a nozzle can have that one
found: the size is a note then, no refusal.
"""

from __future__ import annotations

from dataclasses import replace

from vision.bore.result import BoreFit, BoreRefusal, RadiusPrior, Reason
from vision.geometry import PointPx

LARGEST_RATIO = 3.0
"""Of the seen and the expected radius: usual bores are 0.2 to 0.8 mm, and 0.4 mm is what
most are (common practice, no source). Holes of washers and screws are farther off."""

_SAYS_NOTHING_OF_SIZE = (
    Reason.PART_IN_VIEW,
    Reason.OUT_OF_FOCUS,
    Reason.TOO_DARK,
    Reason.BURNT_OUT,
    Reason.NOT_A_PICTURE,
)
"""Refusals that stay, whatever else is in the picture."""


def prior_at(near: PointPx | BoreFit, prior: RadiusPrior | None) -> RadiusPrior | None:
    """Return by what a bore is followed: not by a size that it was seen not to have."""
    follows_other = isinstance(near, BoreFit) and near.size_note and not _is_strict(prior)
    return None if follows_other else prior


def may_be_of_another_size(answer: BoreFit | BoreRefusal, prior: RadiusPrior | None) -> bool:
    """Whether it is worth looking for a bore of any size."""
    if isinstance(answer, BoreFit) or _is_strict(prior):
        return False
    return answer.reason not in _SAYS_NOTHING_OF_SIZE


def of_another_size(
    refusal: BoreFit | BoreRefusal, other: BoreFit | BoreRefusal, prior: RadiusPrior | None
) -> BoreFit | BoreRefusal:
    """Return the one bore of another size, where there is one that a nozzle can have."""
    if isinstance(other, BoreRefusal) or prior is None:
        return refusal
    ratio = other.radius_px / prior.radius_px
    return sized(other, prior) if 1.0 / LARGEST_RATIO <= ratio <= LARGEST_RATIO else refusal


def sized(fit: BoreFit, prior: RadiusPrior | None) -> BoreFit:
    """Return the fit with what the prior says of its size."""
    if prior is None:
        return fit
    agrees = abs(fit.radius_px / prior.radius_px - 1.0) <= prior.relative_tolerance
    return replace(fit, size_verified=agrees, size_note="" if agrees else _note(fit, prior))


def _is_strict(prior: RadiusPrior | None) -> bool:
    return prior is None or prior.strict


def _note(fit: BoreFit, prior: RadiusPrior) -> str:
    return (
        f"The bore's radius is {fit.radius_px:.1f} px, but {prior.radius_px:.1f} px is expected: "
        "a worn or another nozzle, or a wrong pixel scale."
    )
