"""What a wrong entry looks like: slips of the hand, as a hint for the person.

A hint is given only where one slip turns what was read into what the picture says. All
is done on the digits that the display shows: zeros beyond them could be exchanged too,
and would explain any miss of nine steps or so.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.pixel_scale.values import Axis, Slip

Matrix = NDArray[np.float64]

MOST_DECIMALS = 4
"""Displays show two to four places; more is rounding of the sums."""

COVERAGE = {Axis.X: 2.0, Axis.Y: 2.0, Axis.BOTH: 2.45}
"""Standard uncertainties that hold 95 % of a normal distribution: of one coordinate, and
of a pair (the root of the chi-square of two degrees of freedom, 5.99)."""

CHANCE_SHARE = 0.25
"""A correction that leaves more than this part of the miss explains it by chance."""


def recognise(
    read_mm: Matrix,
    suggested_mm: Matrix,
    before_mm: Matrix | None,
    *,
    axis: Axis,
    sigma_mm: float,
    decimals: int,
) -> Slip | None:
    """Return which slip turns the suggested position into the one that was read.

    Parameters
    ----------
    read_mm, suggested_mm
        Shape (2,), both as the display shows them: slips are made with its digits.
    before_mm
        The position read before it, shape (2,); None for the first.
    axis
        Which coordinate disagrees.
    sigma_mm
        Standard uncertainty of the suggestion.
    decimals
        Places of the display.

    Returns
    -------
    Slip or None
        None where no slip gives the suggestion within its uncertainty (95 %), or
        where that uncertainty is so large that chance would give it too.
    """
    miss = float(np.linalg.norm(read_mm - suggested_mm))
    reach = min(COVERAGE[axis] * sigma_mm, CHANCE_SHARE * miss)
    for slip, corrected in _corrections(read_mm, suggested_mm, before_mm, reach, decimals):
        if float(np.max(np.abs(corrected - suggested_mm))) <= reach:
            return slip
    return None


def _corrections(
    read: Matrix, suggested: Matrix, before: Matrix | None, reach: float, decimals: int
) -> Iterator[tuple[Slip, Matrix]]:
    yield Slip.EXCHANGED, read[::-1]
    moved = int(np.argmax(np.abs(read - suggested)))

    def with_value(value: float) -> Matrix:
        corrected = read.copy()
        corrected[moved] = value
        return corrected

    value = float(read[moved])
    yield Slip.SIGN, with_value(-value)
    for shifted in _point_moved(value, decimals):
        # Near zero all places of the point give the same.
        if reach <= CHANCE_SHARE * abs(shifted):
            yield Slip.POINT, with_value(shifted)
    for swapped in _swapped(value, decimals):
        yield Slip.DIGITS_SWAPPED, with_value(swapped)
    if before is not None:
        yield Slip.NOT_DONE, before


def _point_moved(value: float, decimals: int) -> Iterator[float]:
    """Yield the numbers with the same digits and another point that the display can show."""
    for power in range(1, MOST_DECIMALS + 1):
        for moved in (value * 10.0**power, value / 10.0**power):
            if abs(moved - round(moved, decimals)) < 10.0 ** -(MOST_DECIMALS + 2):
                yield moved


def _swapped(value: float, decimals: int) -> Iterator[float]:
    """Yield the numbers that arise when two neighbouring digits change places."""
    text = f"{value:.{max(decimals, _places(value))}f}"
    places = [place for place, sign in enumerate(text) if sign.isdigit()]
    for first, second in pairwise(places):
        signs = list(text)
        signs[first], signs[second] = signs[second], signs[first]
        swapped = "".join(signs)
        # No display shows 051.34.
        leads_with_zero = swapped.lstrip("-").partition(".")[0].startswith("0")
        if swapped != text and not (leads_with_zero and abs(value) >= 10.0):
            yield float(swapped)


def _places(value: float) -> int:
    """Return how many places were typed."""
    return len(f"{value:.{MOST_DECIMALS}f}".rstrip("0").partition(".")[2])
