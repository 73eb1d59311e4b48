"""Whether a position, or a way of telling positions, can be."""

from __future__ import annotations

from app.dialects.values import Layout
from app.job.facts import Position, PositionMode
from app.job.jogs import decimals_of
from app.job.profile import Profile

FARTHEST_MM = 10_000.0
"""No printer is ten metres long; a larger coordinate is a slip."""


def position_problem(profile: Profile, position: Position) -> str | None:
    """Return what is wrong with a typed position, in one sentence, or None.

    A coordinate outside the machine's travel cannot be read from its display. A
    tool's offset may shift the display by its own amount, hence the vector limit.
    """
    decimals = decimals_of(profile.display_step_mm)
    for index, (axis, value) in enumerate(zip("XYZ", position, strict=True)):
        if value is None:
            continue
        if not abs(value) <= FARTHEST_MM:
            return f"{axis} {value:g} cannot be a position in mm: type what the display shows."
        if profile.travel_mm is None:
            continue
        low, high = profile.travel_mm[index]
        slack = profile.vector_limit_mm + _farthest_offset_mm(profile, index)
        if not low - slack <= value <= high + slack:
            return (
                f"{axis} {value:.{decimals}f} lies outside the travel of {profile.name} "
                f"({low:g} to {high:g}): a digit or the decimal point is probably wrong."
            )
    return None


def mode_problem(profile: Profile, mode: PositionMode) -> str | None:
    """Return why positions cannot be told that way on this machine, or None.

    Jogs can only be summed while nothing else moves the head: homing, or another
    carriage with a coordinate of its own, breaks the sum.
    """
    if mode is PositionMode.SHOWN:
        if profile.shows_coordinates:
            return None
        return f"{profile.name} shows no coordinates: count jogs only."
    if profile.homes_between_tools:
        return (
            f"{profile.name} homes between its tools, so jogs alone do not tell where a tool "
            "stands: read the coordinates from a display, a host or a link."
        )
    if profile.layout is Layout.INDEPENDENT_CARRIAGES:
        return (
            f"Each carriage of {profile.name} has a coordinate of its own, so jogs alone do not "
            "tell where a tool stands: read the coordinates from a display, a host or a link."
        )
    return None


def _farthest_offset_mm(profile: Profile, axis: int) -> float:
    if not profile.display_includes_offset or axis > 1:
        return 0.0
    return max(abs(tool.nominal_mm[axis]) for tool in profile.tools)
