"""Why a curve could not be fitted."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class FitReason(StrEnum):
    """Why there is no curve."""

    TOO_FEW = "too-few-points"
    COLLINEAR = "points-on-a-line"
    NOT_AN_ELLIPSE = "not-an-ellipse"
    NO_CONVERGENCE = "no-convergence"


@dataclass(frozen=True, slots=True, kw_only=True)
class FitRefusal:
    """A fit that has no answer.

    Attributes
    ----------
    reason
        The kind of refusal.
    message
        What is wrong, in one sentence.
    """

    reason: FitReason
    message: str
