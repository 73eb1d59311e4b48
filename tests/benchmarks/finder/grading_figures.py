"""Figures of many marks, and how they are read in a table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

GROSS_PX = 2.0
"""An accepted centre farther off than this is a gross error."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grades:
    """Figures of one method over many pictures; errors of what it accepted, px.

    Attributes
    ----------
    accepted, gross
        Shares: of the pictures, and of the accepted ones.
    """

    pictures: int
    accepted: float
    median: float
    p90: float
    p95: float
    largest: float
    gross: float

    @classmethod
    def of(cls, errors_px: Sequence[float | None]) -> Grades:
        """Return the figures; None among the errors is a picture without an answer."""
        answered = np.array([e for e in errors_px if e is not None])
        if not answered.size:
            nan = math.nan
            accepted = 0.0 if errors_px else nan
            return cls(
                pictures=len(errors_px), accepted=accepted, median=nan, p90=nan, p95=nan,
                largest=nan, gross=nan,
            )  # fmt: skip
        median, p90, p95 = (float(q) for q in np.quantile(answered, (0.5, 0.9, 0.95)))
        return cls(
            pictures=len(errors_px),
            accepted=answered.size / len(errors_px),
            median=median,
            p90=p90,
            p95=p95,
            largest=float(answered.max()),
            gross=float((answered > GROSS_PX).mean()),
        )

    def cells(self) -> tuple[str, ...]:
        """Return accepted share, median, 90 %, 95 %, largest and gross errors as they are read."""
        errors = (self.median, self.p90, self.p95, self.largest)
        return (share(self.accepted), *(px(e) for e in errors), share(self.gross))


def or_infinite(value: float) -> float:
    return math.inf if math.isnan(value) else value


def times(other: float, own: float) -> str:
    """Return how many times `own` goes into `other`."""
    return f"{other / own:.1f} x" if own > 0.0 and math.isfinite(other) else "-"


def mean(values: Iterable[bool]) -> float:
    found = list(values)
    return sum(found) / len(found) if found else math.nan


def share(value: float) -> str:
    return "-" if math.isnan(value) else f"{100.0 * value:.1f} %"


def px(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.3f}"
