"""A machine's profile: what its owner knows of it, checked field by field."""

from __future__ import annotations

from dataclasses import dataclass

from app.dialects.values import Layout, OffsetMm


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """One tool of a machine.

    Attributes
    ----------
    number
        As the firmware counts.
    stored_raw
        The offset that the firmware has now, in the firmware's own sign.
    nominal_mm
        Where the nozzle should be by design, seen from the reference nozzle, in
        machine axes (x, y): what a first rough move and the limit on nozzle
        vectors start from.
    bore_mm
        Nominal diameter of the bore.
    """

    number: int
    stored_raw: OffsetMm = OffsetMm()
    nominal_mm: tuple[float, float] = (0.0, 0.0)
    bore_mm: float = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """What is known of a machine.

    Attributes
    ----------
    name, layout, dialect
        Its name, how it carries its nozzles, and what its firmware wants to be told.
    tools
        2 to 16 tools, numbers unique.
    reference_tool
        The tool that all others are measured from.
    homes_between_tools
        Whether the machine has to home when another tool is taken.
    shows_coordinates
        False for panels that only jog.
    display_includes_offset
        Whether the shown coordinate contains the active tool's stored offset.
    display_step_mm, motor_step_mm
        The last digit of the display, and one step of the motors.
    repeatability_um
        Standard deviation of coming back to a position from the same side.
    reversal_um
        Backlash; None when unknown.
    pickup_repeatability_um
        Standard deviation, per axis, of picking a tool up (or homing its
        carriage) again; zero for fixed nozzles.
    tolerance_mm
        The expanded uncertainty that the owner is content with.
    vector_limit_mm
        How far a nozzle vector may lie from `nominal_mm`.
    travel_mm
        Lowest and highest shown coordinate per axis (x, y, z), or None.
    """

    name: str
    layout: Layout
    dialect: str
    tools: tuple[Tool, ...]
    reference_tool: int = 0
    homes_between_tools: bool = False
    shows_coordinates: bool = True
    display_includes_offset: bool = True
    display_step_mm: float = 0.01
    motor_step_mm: float = 0.0125
    repeatability_um: float = 5.0
    reversal_um: float | None = None
    pickup_repeatability_um: float = 5.0
    tolerance_mm: float = 0.03
    vector_limit_mm: float = 3.0
    travel_mm: tuple[tuple[float, float], tuple[float, float], tuple[float, float]] | None = None
