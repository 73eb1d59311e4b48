"""Compare a pixel scale with that camera's earlier one."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from vision.pixel_scale.values import Axis, PixelScale
from vision.uncertainty import coverage_factor, welch_satterthwaite

Matrix = NDArray[np.float64]

THREE_SIGMA_LEVEL = math.erf(3.0 / math.sqrt(2.0))
"""A change is reported beyond this share of what chance gives."""


class ScaleChange(StrEnum):
    """How two scales of one camera differ."""

    MIRRORED = "mirrored"
    """The determinant changed its sign: this stops a run."""
    RESCALED = "rescaled"
    TURNED = "turned"


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleFinding:
    """One difference between two scales that chance does not explain.

    Attributes
    ----------
    change
        The kind.
    axis
        Which axis was rescaled; None for the other kinds.
    amount
        Relative change of the scale, or the turn in degrees from +u towards +v.
    u_amount
        Its standard uncertainty.
    message
        One sentence for a person.
    """

    change: ScaleChange
    axis: Axis | None
    amount: float
    u_amount: float
    message: str


def compare_scales(old: PixelScale, new: PixelScale) -> tuple[ScaleFinding, ...]:
    """Return what changed between two scales, beyond three standard uncertainties.

    A mirrored picture comes alone: its turn and its scale mean nothing then.
    """
    if old.mirrored != new.mirrored:
        return (
            ScaleFinding(
                change=ScaleChange.MIRRORED,
                axis=None,
                amount=math.nan,
                u_amount=math.nan,
                message="the picture is mirrored against this camera's earlier one: it was "
                "flipped, or an axis was entered with the wrong sign",
            ),
        )
    return (*_rescaled(old, new), *_turned(old, new))


def _rescaled(old: PixelScale, new: PixelScale) -> Iterator[ScaleFinding]:
    for index, axis in enumerate((Axis.X, Axis.Y)):
        change = math.log(new.axis_px_per_mm[index] / old.axis_px_per_mm[index])
        parts = old.relative_u[index], new.relative_u[index]
        if abs(change) > _limit(old, new, parts):
            amount = math.expm1(change)
            yield ScaleFinding(
                change=ScaleChange.RESCALED,
                axis=axis,
                amount=amount,
                u_amount=math.hypot(*parts) * (1.0 + amount),
                message=f"a millimetre of {axis.upper()} shows {100.0 * amount:+.1f} % longer "
                "than last time",
            )


def _turned(old: PixelScale, new: PixelScale) -> Iterator[ScaleFinding]:
    turn = math.remainder(new.rotation_deg - old.rotation_deg, 360.0)
    parts = _u_rotation_deg(old), _u_rotation_deg(new)
    if abs(turn) > _limit(old, new, parts):
        yield ScaleFinding(
            change=ScaleChange.TURNED,
            axis=None,
            amount=turn,
            u_amount=math.hypot(*parts),
            message=f"the picture is turned by {turn:+.1f} degrees against last time",
        )


def _limit(old: PixelScale, new: PixelScale, parts: tuple[float, float]) -> float:
    freedom = welch_satterthwaite(parts, (old.dof, new.dof))
    return coverage_factor(freedom, THREE_SIGMA_LEVEL) * math.hypot(*parts)


def _u_rotation_deg(scale: PixelScale) -> float:
    x = scale.matrix_px_per_mm[:, 0]
    across = np.array([-x[1], x[0]]) / float(x @ x)
    block = scale.covariance_px2_per_mm2[np.ix_([0, 2], [0, 2])]
    return math.degrees(math.sqrt(float(across @ block @ across)))
