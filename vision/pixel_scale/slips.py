"""What a wrong entry looks like: slips of the hand, as a hint for the person."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.pixel_scale.values import Slip

Matrix = NDArray[np.float64]

DECIMALS = 4
"""Displays show two to four places; more is rounding of the sums."""


def recognise(
    read_mm: Matrix, suggested_mm: Matrix, before_mm: Matrix | None, *, tolerance_mm: float
) -> Slip | None:
    """Return which slip turns the suggested position into the one that was read.

    Parameters
    ----------
    read_mm, suggested_mm
        Shape (2,).
    before_mm
        The position before it, shape (2,); None for the first.
    tolerance_mm
        How far from the suggestion the corrected reading may lie; never more than
        a quarter of the miss, or everything would look like a slip.
    """
    miss = float(np.linalg.norm(read_mm - suggested_mm))
    reach = min(tolerance_mm, miss / 4.0)
    for slip, corrected in _corrections(read_mm, suggested_mm, before_mm):
        if float(np.max(np.abs(corrected - suggested_mm))) <= reach:
            return slip
    return None


def _corrections(
    read: Matrix, suggested: Matrix, before: Matrix | None
) -> Iterator[tuple[Slip, Matrix]]:
    yield Slip.EXCHANGED, read[::-1]
    moved = int(np.argmax(np.abs(read - suggested)))

    def with_value(value: float) -> Matrix:
        corrected = read.copy()
        corrected[moved] = value
        return corrected

    value = float(read[moved])
    yield Slip.SIGN, with_value(-value)
    for power in (1, 2, 3, -1, -2, -3):
        yield Slip.POINT, with_value(value * 10.0**power)
    for swapped in _swapped(value):
        yield Slip.DIGITS_SWAPPED, with_value(swapped)
    if before is not None:
        yield Slip.NOT_DONE, before


def _swapped(value: float) -> Iterator[float]:
    """Yield the numbers that arise when two neighbouring digits change places."""
    text = f"{value:.{DECIMALS}f}"
    places = [place for place, sign in enumerate(text) if sign.isdigit()]
    for first, second in pairwise(places):
        signs = list(text)
        signs[first], signs[second] = signs[second], signs[first]
        swapped = float("".join(signs))
        if swapped != value:
            yield swapped
