"""Jogs: how to get from one place to another so that the last motion comes from the right side."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from app.job.facts import Approach, Position
from vision.geometry import PointMm

WANTED = Approach(1, 1)
"""All places are reached growing, so that backlash stays out."""

OVERSHOOT_MM = 0.3
"""How far to go past before returning: well above the backlash of a printer's axis
(0.1 mm would be much; common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Jog:
    """One step of one axis, in machine axes and mm."""

    axis: str
    step_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JogPlan:
    """The jogs that bring the machine from where it is to a place.

    Attributes
    ----------
    jogs
        In order; steps that would end falling are asked for as an overshoot and a
        return.
    step_mm
        The whole way.
    approach
        From which side the place is reached when the jogs are followed.
    """

    jogs: tuple[Jog, ...]
    step_mm: PointMm
    approach: Approach

    def to(self, start: Position) -> Position:
        """Return the place that is reached from `start`."""
        return Position(
            _sum_exact(start.x, self.step_mm.x), _sum_exact(start.y, self.step_mm.y), start.z
        )

    def sentence(self, decimals: int) -> str:
        """Return the jogs for a person: ``X -0.5, then +0.2; Y +0.3``."""
        return "; ".join(_axis_words(axis, self.jogs, decimals) for axis in _axes(self.jogs))


def decimals_of(display_step_mm: float) -> int:
    """Return how many decimals a display with this last digit shows."""
    return max(0, math.ceil(-math.log10(display_step_mm) - 1e-9))


def rounded_step(step_mm: float, display_step_mm: float) -> float:
    """Return a step rounded to whole displayed steps, with no residue of binary fractions."""
    step = Decimal(str(display_step_mm))
    return float(round(Decimal(step_mm) / step) * step)


def plan_jog(
    step_mm: PointMm,
    *,
    display_step_mm: float,
    arrived: Approach,
    wanted: Approach = WANTED,
    overshoot_mm: float = OVERSHOOT_MM,
) -> JogPlan:
    """Return the jogs for a step.

    Parameters
    ----------
    step_mm
        The whole step; it is rounded to the display's last digit.
    arrived
        From which side the present place was reached; an axis that does not move
        keeps it.
    wanted
        The side from which the new place has to be reached.
    """
    jogs: list[Jog] = []
    whole: list[float] = []
    reached: list[int] = []
    past_mm = max(rounded_step(overshoot_mm, display_step_mm), display_step_mm)
    for axis, asked, came, side in zip("XY", step_mm, arrived, wanted, strict=True):
        step = rounded_step(asked, display_step_mm)
        whole.append(step)
        if step == 0.0 and came == side:
            reached.append(side)
            continue
        reached.append(side)
        if step * side > 0.0:
            jogs.append(Jog(axis=axis, step_mm=step))
        else:
            jogs.append(Jog(axis=axis, step_mm=_sum_exact(step, -side * past_mm)))
            jogs.append(Jog(axis=axis, step_mm=side * past_mm))
    return JogPlan(
        jogs=tuple(jogs), step_mm=PointMm(whole[0], whole[1]), approach=Approach(*reached)
    )


def after_jogs(
    start: Position, jogs: Iterable[Jog], arrived: Approach
) -> tuple[Position, Approach]:
    """Return where jogs lead and from which side: all there is to know without a display."""
    place, approach = start, arrived
    for jog in jogs:
        axis = jog.axis.lower()
        before = getattr(place, axis)
        reached = place._replace(**{axis: _sum_exact(before, jog.step_mm)})
        approach = approach_between(place, reached, approach)
        place = reached
    return place, approach


def approach_between(start: Position, end: Position, arrived: Approach) -> Approach:
    """Return from which side a place is reached by one straight motion."""
    return Approach(
        _side(end.x - start.x, arrived.x),
        _side(end.y - start.y, arrived.y),
    )


def _side(step_mm: float, arrived: int) -> int:
    if abs(step_mm) < 1e-9:
        return arrived
    return 1 if step_mm > 0 else -1


def _axes(jogs: tuple[Jog, ...]) -> list[str]:
    return list(dict.fromkeys(jog.axis for jog in jogs))


def _axis_words(axis: str, jogs: tuple[Jog, ...], decimals: int) -> str:
    steps = [f"{jog.step_mm:+.{decimals}f}" for jog in jogs if jog.axis == axis]
    return f"{axis} {', then '.join(steps)}"


def _sum_exact(a: float, b: float) -> float:
    """Add as decimals, so that 150.1 + 0.2 is 150.3 and not a binary neighbour of it."""
    return float(Decimal(repr(a)) + Decimal(repr(b)))
