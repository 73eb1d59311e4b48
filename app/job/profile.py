"""A machine's profile: what its owner knows of it, checked field by field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from app.dialects.values import Layout, OffsetMm
from app.job.fields import Fields

SCHEMA = 1
"""Version of the profile format."""

NO_OFFSET = OffsetMm()

MAX_TOOLS = 16

DEFAULT_TOLERANCE_MM = 0.03
"""What an owner is content with who says nothing: a seam of a third of a tenth is
hard to feel (common practice, no source)."""

TravelMm = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]


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
    stored_raw: OffsetMm = NO_OFFSET
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
    whole_steps
        Whether every move since homing is a whole number of displayed steps, so
        that the display hides nothing: panels that jog in steps do that.
    sightings_per_tool
        How many separate sightings (pick-ups) of each tool a run asks for.
    z_by_focus
        Whether heights that rest on focusing go into the text. A focus is good to
        some hundredths of a millimetre; a first layer wants better, so the stored
        Z stays unless the owner asks.
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
    whole_steps: bool = False
    sightings_per_tool: int = 1
    z_by_focus: bool = False
    display_step_mm: float = 0.01
    motor_step_mm: float = 0.0125
    repeatability_um: float = 5.0
    reversal_um: float | None = None
    pickup_repeatability_um: float = 5.0
    tolerance_mm: float = DEFAULT_TOLERANCE_MM
    vector_limit_mm: float = 3.0
    travel_mm: TravelMm | None = None

    def tool(self, number: int) -> Tool:
        """Return the tool with this number; KeyError when there is none."""
        for tool in self.tools:
            if tool.number == number:
                return tool
        raise KeyError(number)


VECTOR_LIMIT_MM = {
    # Between carriages and docks that are meant to put every nozzle on the same
    # place, more than this is a wrong sign or a wrong tool, not a tolerance
    # (common practice, no source).
    Layout.INDEPENDENT_CARRIAGES: 3.0,
    Layout.TOOL_CHANGER: 3.0,
    Layout.FIXED_NOZZLES: 1.0,
    Layout.LIFTING_NOZZLE: 1.0,
}

PICKUP_REPEATABILITY_UM = {
    # Stated defaults for machines whose owner has measured nothing (common
    # practice, no source): kinematic couplings and homing switches return within
    # some micrometres; nozzles that are bolted down do not move.
    Layout.INDEPENDENT_CARRIAGES: 5.0,
    Layout.TOOL_CHANGER: 5.0,
    Layout.FIXED_NOZZLES: 0.0,
    Layout.LIFTING_NOZZLE: 3.0,
}


def parse_profile(mapping: Mapping[str, object], *, file: str | None = None) -> Profile:
    """Return the profile that a file's table holds.

    Raises
    ------
    InputError
        With file, field and value, for the first field that is missing, unknown,
        of the wrong kind or out of range.
    """
    fields = Fields(mapping, file=file)
    schema = fields.integer("schema", low=0, high=10**6)
    if schema != SCHEMA:
        raise fields.refuse(
            "schema", f"has to be {SCHEMA}; a profile of another version needs another program"
        )
    layout = fields.choice("layout", Layout)
    profile = Profile(
        name=fields.text("name"),
        layout=layout,
        dialect=fields.text("dialect"),
        tools=fields.each("tools", _parse_tool),
        reference_tool=fields.integer("reference_tool", default=0, high=999),
        homes_between_tools=fields.flag("homes_between_tools", default=False),
        shows_coordinates=fields.flag("shows_coordinates", default=True),
        display_includes_offset=fields.flag("display_includes_offset", default=True),
        whole_steps=fields.flag("whole_steps", default=False),
        sightings_per_tool=fields.integer("sightings_per_tool", default=1, low=1, high=20),
        z_by_focus=fields.flag("z_by_focus", default=False),
        display_step_mm=fields.number("display_step_mm", default=0.01, low=0.0001, high=1.0),
        motor_step_mm=fields.number("motor_step_mm", default=0.0125, low=0.0001, high=0.2),
        repeatability_um=fields.number("repeatability_um", default=5.0, low=0.1, high=500.0),
        reversal_um=_optional_number(fields, "reversal_um", low=0.0, high=2000.0),
        pickup_repeatability_um=fields.number(
            "pickup_repeatability_um",
            default=PICKUP_REPEATABILITY_UM[layout],
            low=0.0,
            high=500.0,
        ),
        tolerance_mm=fields.number(
            "tolerance_mm", default=DEFAULT_TOLERANCE_MM, low=0.001, high=1.0
        ),
        vector_limit_mm=fields.number(
            "vector_limit_mm", default=VECTOR_LIMIT_MM[layout], low=0.01, high=500.0
        ),
        travel_mm=_parse_travel(fields),
    )
    fields.finish()
    _check_tools(profile, fields)
    return profile


def _optional_number(fields: Fields, name: str, *, low: float, high: float) -> float | None:
    return fields.number(name, low=low, high=high) if fields.has(name) else None


def _parse_tool(fields: Fields) -> Tool:
    stored = fields.numbers("stored_raw", (3,), default=NO_OFFSET, low=-1000.0, high=1000.0)
    nominal = fields.numbers("nominal_mm", (2,), default=(0.0, 0.0), low=-500.0, high=500.0)
    tool = Tool(
        number=fields.integer("number", high=999),
        stored_raw=OffsetMm(*stored),
        nominal_mm=(nominal[0], nominal[1]),
        bore_mm=fields.number("bore_mm", default=0.4, low=0.05, high=3.0),
    )
    fields.finish()
    return tool


def _parse_travel(fields: Fields) -> TravelMm | None:
    if not fields.has("travel_mm"):
        return None
    travel = fields.table("travel_mm")
    ranges = []
    for axis in ("x", "y", "z"):
        low, high = travel.numbers(axis, (2,), low=-2000.0, high=2000.0)
        if low >= high:
            raise travel.refuse(axis, "has to go from a lower to a higher number")
        ranges.append((low, high))
    travel.finish()
    return ranges[0], ranges[1], ranges[2]


def _check_tools(profile: Profile, fields: Fields) -> None:
    numbers = [tool.number for tool in profile.tools]
    if not 2 <= len(numbers) <= MAX_TOOLS:
        raise fields.refuse(
            "tools", f"has to name 2 to {MAX_TOOLS} tools, and names {len(numbers)}"
        )
    if len(set(numbers)) != len(numbers):
        twice = next(number for number in numbers if numbers.count(number) > 1)
        raise fields.refuse("tools", f"names tool {twice} more than once")
    if profile.reference_tool not in numbers:
        raise fields.refuse("reference_tool", "is not among the tools")
