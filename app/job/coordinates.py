"""Coordinates as people type them: text to number, and sums without binary residue."""

from __future__ import annotations

import re
from decimal import Decimal

from app.job.jogs import decimals_of
from app.job.places import FARTHEST_MM

_NUMBER = re.compile(r"([+-]?)\s*([0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_EXAMPLE_MM = 150.342
_LONGEST_SHOWN = 20


def parse_coordinate(text: str, display_step_mm: float) -> float | str:
    """Return the number that a text says, or what is wrong with it in a sentence.

    Parameters
    ----------
    text
        With a decimal point or comma, a sign or none, spaces round it.
    display_step_mm
        The last digit of the display; a text with more decimals was not read from it.

    Examples
    --------
    >>> parse_coordinate(" 150,34", 0.01)
    150.34
    >>> parse_coordinate("150.3.4", 0.01)
    '150.3.4 is no number; type for example 150.34.'
    """
    decimals = decimals_of(display_step_mm)
    example = f"type for example {_EXAMPLE_MM:.{decimals}f}"
    typed = text.strip()
    shown = typed if len(typed) <= _LONGEST_SHOWN else f"{typed[:_LONGEST_SHOWN]}..."
    if not typed:
        return f"Nothing is typed; {example}."
    match = _NUMBER.fullmatch(typed.replace("\N{MINUS SIGN}", "-"))
    if match is None:
        return f"{shown} is no number; {example}."
    digits = match[2].replace(",", ".")
    after_point = digits.partition(".")[2]
    if len(after_point) > decimals:
        too_many = f"{len(after_point)} decimal{'s' if len(after_point) > 1 else ''}"
        return f"{shown} has {too_many}, but the display shows {decimals or 'none'}; {example}."
    value = float(match[1] + digits)
    if not abs(value) <= FARTHEST_MM:
        return f"{shown} cannot be a position in mm; {example}."
    # No display shows -0.
    return value + 0.0


def sum_exact(a: float, b: float) -> float:
    """Add as decimals, so that 150.1 + 0.2 is 150.3 and not a binary neighbour of it."""
    return float(Decimal(repr(a)) + Decimal(repr(b))) + 0.0
