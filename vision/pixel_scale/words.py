"""Sentences about doubtful entries, made by plain functions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import assert_never

from vision.geometry import PointMm
from vision.pixel_scale.values import Axis, DoubtfulEntry, Slip

_HINTS = {
    Slip.DIGITS_SWAPPED: "two digits exchanged?",
    Slip.SIGN: "wrong sign?",
    Slip.POINT: "decimal point misplaced?",
    Slip.EXCHANGED: "X and Y exchanged?",
    Slip.NOT_DONE: "jog not done?",
}


def doubtful_sentence(
    doubtful: Sequence[DoubtfulEntry],
    *,
    decimals: int = 2,
    in_display_mm: PointMm = PointMm(0.0, 0.0),  # noqa: B008 - a frozen value
) -> str:
    """Return one sentence that names the entry which disagrees with the picture.

    Parameters
    ----------
    doubtful
        As in `PixelScale.doubtful` or `ScaleRefusal.doubtful`, not empty.
    decimals
        Places that the machine's display shows.
    in_display_mm
        What the shown coordinate contains beyond the carriage's, so that the
        numbers are those of the display.

    Raises
    ------
    ValueError
        When `doubtful` is empty.

    Examples
    --------
    >>> entry = DoubtfulEntry(
    ...     index=3, axis=Axis.X, read_mm=PointMm(150.43, 99.88),
    ...     suggested_mm=PointMm(150.3391, 99.88), sigma_um=9.0, others_agree_um=3.0, slip=None,
    ... )
    >>> doubtful_sentence([entry])
    'the 4th position reads X 150.43; the picture says 150.34'
    """
    if not doubtful:
        raise ValueError("doubtful must not be empty")
    first = doubtful[0]
    sentence = f"the {ordinal(first.index + 1)} position {_claim(first, decimals, in_display_mm)}"
    if first.slip is not None:
        sentence += f" ({_HINTS[first.slip]})"
    if len(doubtful) > 1:
        others = " or ".join(f"the {ordinal(entry.index + 1)}" for entry in doubtful[1:])
        sentence += f"; {others} could be wrong instead, these jogs cannot tell"
    return sentence


def ordinal(number: int) -> str:
    """Return 1st, 2nd, 3rd, 4th, 11th ...

    Examples
    --------
    >>> [ordinal(number) for number in (1, 2, 3, 4, 11, 12, 13, 21, 112)]
    ['1st', '2nd', '3rd', '4th', '11th', '12th', '13th', '21st', '112th']
    """
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"


def _claim(entry: DoubtfulEntry, decimals: int, shift: PointMm) -> str:
    read = PointMm(entry.read_mm.x + shift.x, entry.read_mm.y + shift.y)
    said = PointMm(entry.suggested_mm.x + shift.x, entry.suggested_mm.y + shift.y)
    match entry.axis:
        case Axis.X:
            return f"reads X {read.x:.{decimals}f}; the picture says {said.x:.{decimals}f}"
        case Axis.Y:
            return f"reads Y {read.y:.{decimals}f}; the picture says {said.y:.{decimals}f}"
        case Axis.BOTH:
            return (
                f"reads X {read.x:.{decimals}f} Y {read.y:.{decimals}f}; "
                f"the picture says X {said.x:.{decimals}f} Y {said.y:.{decimals}f}"
            )
        case _:
            assert_never(entry.axis)
