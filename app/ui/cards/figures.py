"""Numbers and times as the cards show them."""

from __future__ import annotations

import math
from datetime import datetime, tzinfo

from app.job.facts import Approach, Position
from app.job.jogs import decimals_of
from app.job.profile import Profile
from vision.pixel_scale import PixelScale

VECTOR_DECIMALS = 3
"""A nozzle vector is known to some hundredths of a millimetre whatever the display shows."""

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def signed(value: float, decimals: int) -> str:
    """Return a number with its sign, and zero as a plus.

    Examples
    --------
    >>> signed(-0.04, 1), signed(1.26, 1)
    ('+0.0', '+1.3')
    """
    return f"{round(value, decimals) + 0.0:+.{decimals}f}"


def vector_decimals(profile: Profile) -> int:
    """Return how many decimals a nozzle vector is shown with: the display's, at least three."""
    return max(VECTOR_DECIMALS, decimals_of(profile.display_step_mm))


def whole_um(length_mm: float) -> str:
    """Return a length in whole micrometres.

    Examples
    --------
    >>> whole_um(0.0163)
    '16 um'
    """
    return f"{length_mm * 1e3:.0f} um"


def rms_um(scale: PixelScale) -> float:
    """Return the root of the mean square of a scale's residuals, one number for both axes."""
    return math.hypot(*scale.rms_um) / math.sqrt(2.0)


def place_words(place: Position, decimals: int) -> str:
    """Return a position as the display shows it, without its height.

    Examples
    --------
    >>> place_words(Position(150.34, 99.9), 2)
    'X 150.34 Y 99.90'
    """
    return f"X {place.x:.{decimals}f} Y {place.y:.{decimals}f}"


def approach_words(approach: Approach) -> str:
    """Return from which side a place was reached.

    Examples
    --------
    >>> approach_words(Approach(1, -1)), approach_words(Approach())
    ('X+ Y-', 'X? Y?')
    """
    sign = {1: "+", -1: "-", 0: "?"}
    return f"X{sign[approach.x]} Y{sign[approach.y]}"


def moment(at: str, zone: tzinfo | None = None) -> datetime:
    """Return an ISO 8601 time in a zone; without one, in that of this computer."""
    return datetime.fromisoformat(at).astimezone(zone)


def clock_words(at: str, zone: tzinfo | None = None) -> str:
    """Return the time of day to a second."""
    return f"{moment(at, zone):%H:%M:%S}"


def day_words(at: str, now: str, zone: tzinfo | None = None) -> str:
    """Return the day; with the year where it is not the one of `now`.

    Examples
    --------
    >>> from datetime import UTC
    >>> day_words("2026-10-11T09:30:00Z", "2026-11-25T10:00:00Z", UTC)
    '11 Oct'
    >>> day_words("2025-10-11T09:30:00Z", "2026-11-25T10:00:00Z", UTC)
    '11 Oct 2025'
    """
    then = moment(at, zone)
    day = f"{then.day} {MONTHS[then.month - 1]}"
    return day if then.year == moment(now, zone).year else f"{day} {then.year}"
