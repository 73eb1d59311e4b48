"""How firmwares turn the coordinates they show into coordinates of the carriage.

Written from the firmwares' sources alone and sharing nothing with the dialects,
so that a wrong sign there cannot cancel itself out here. L is the coordinate that
the firmware shows and takes, C the carriage's with no offset in it.

References
----------
Marlin, ``Marlin/src/module/tool_change.cpp`` `tool_change()` (L = C + o, and the
relabelling by a difference), ``module/motion.cpp`` `x_home_pos()` (two carriages);
RepRapFirmware, ``src/GCodes/GCodes.cpp`` `ToolOffsetTransform` (C = L - o);
Klipper, ``klippy/extras/gcode_move.py`` `cmd_G1` (C = L + g) and
``klippy/kinematics/idex_modes.py``; Smoothieware, ``src/modules/robot/Robot.cpp``
`process_move` (C = L + t); Slic3r, `GCode::point_to_gcode` (G-code = p - s).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from app.bench.axes import Mm3


class Family(StrEnum):
    """Whose firmware it is: how it talks, and what it does when told to go."""

    MARLIN = "marlin"
    REPRAP = "reprapfirmware"
    KLIPPER = "klipper"
    SMOOTHIE = "smoothieware"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What sets one way of storing offsets apart from another.

    Attributes
    ----------
    family
        Whose firmware it is.
    tool_adds
        L = C + tool_adds * stored: +1 where the firmware stores where the nozzle
        is, -1 where it stores where the carriage must go, 0 where it stores none.
    x_at_home
        Whether X of a tool beyond the first is the coordinate that its carriage
        is given at its switch.
    second_axis
        Whether X of a tool beyond the first goes by the letter U.
    macros_read_variables
        Whether the tools' macros read their offsets from saved variables ``t1_x``.
    sliced
        Whether the slicer, not the firmware, subtracts the stored offset.
    decimals
        How many decimals the firmware prints of a position.
    least_steps
        Below this many steps a move is saved up for the next one.
    """

    family: Family
    tool_adds: int
    x_at_home: bool = False
    second_axis: bool = False
    macros_read_variables: bool = False
    sliced: bool = False
    decimals: int = 3
    least_steps: int = 0


_MARLIN_LEAST_STEPS = 6
"""MIN_STEPS_PER_SEGMENT in Marlin's ``Configuration_adv.h``."""

RULES: Mapping[str, Rules] = {
    "marlin": Rules(family=Family.MARLIN, tool_adds=1, decimals=2, least_steps=_MARLIN_LEAST_STEPS),
    "marlin-two-carriages": Rules(
        family=Family.MARLIN,
        tool_adds=1,
        x_at_home=True,
        decimals=2,
        least_steps=_MARLIN_LEAST_STEPS,
    ),
    "reprapfirmware": Rules(family=Family.REPRAP, tool_adds=1),
    "reprapfirmware-two-carriages": Rules(family=Family.REPRAP, tool_adds=1, second_axis=True),
    "klipper-macro": Rules(family=Family.KLIPPER, tool_adds=-1),
    "klipper-saved-variables": Rules(
        family=Family.KLIPPER, tool_adds=-1, macros_read_variables=True
    ),
    "klipper-endstop": Rules(family=Family.KLIPPER, tool_adds=-1, x_at_home=True),
    "smoothieware": Rules(family=Family.SMOOTHIE, tool_adds=-1, decimals=4),
    "slicer": Rules(
        family=Family.MARLIN,
        tool_adds=0,
        sliced=True,
        decimals=2,
        least_steps=_MARLIN_LEAST_STEPS,
    ),
}


class Firmware:
    """The offsets of one controller, and the frame that its coordinates are in.

    Parameters
    ----------
    rules
        Which firmware's arithmetic it is.
    stored
        What it has stored, per tool, in its own sign.
    display_step_mm
        The last digit of its display.
    first_tool
        The tool of the first carriage, whose offsets are the frame itself.
    factory_home_x_mm
        What a second carriage's switch is called when nothing sensible is stored.
    """

    def __init__(
        self,
        rules: Rules,
        stored: Mapping[int, Mm3],
        *,
        display_step_mm: float,
        first_tool: int,
        factory_home_x_mm: float,
    ) -> None:
        self.rules = rules
        self.stored = dict(stored)
        self.active = first_tool
        self._first_tool = first_tool
        self._display_step_mm = display_step_mm
        self._factory_home_x_mm = factory_home_x_mm
        self._frame = self._offset(first_tool)
        self._home_x_mm = {tool: self._stored_home_x(tool) for tool in stored}
        self.switch_x_mm = dict(self._home_x_mm)
        """Per tool of its own carriage: the X of its switch in motor coordinates."""

    def shown(self, carriage: Mm3) -> Mm3:
        """Return the coordinate that the active tool is shown at."""
        return carriage.plus(self._frame).plus(self._relabelled())

    def carriage(self, shown: Mm3) -> Mm3:
        """Return the carriage coordinate for a shown coordinate of the active tool."""
        return shown.minus(self._frame).minus(self._relabelled())

    def carriage_for_print(self, point: Mm3) -> Mm3:
        """Return where the carriage goes when a print says this point to the active tool.

        The same as `carriage`, but for offsets that the slicer subtracts on the way.
        """
        if self.rules.sliced:
            return self.carriage(point.minus(self.stored[self.active]))
        return self.carriage(point)

    def on_display(self, shown: Mm3) -> Mm3:
        """Return a shown coordinate as the display rounds it."""
        step = self._display_step_mm
        return Mm3(*(round(round(value / step) * step, 6) for value in shown))

    def take(self, tool: int) -> None:
        """Make a tool the active one.

        Marlin shifts its frame by the difference of the two offsets as they are
        now, so what was done to an active tool's offset stays wrong until homing.
        """
        if self.rules.family is Family.MARLIN:
            difference = self._offset(tool).minus(self._offset(self.active))
            self._frame = self._frame.plus(difference)
        else:
            self._frame = self._offset(tool)
        self.active = tool

    def homed(self, *, x: bool = True) -> None:
        """Note that the machine was homed, all axes or all but X."""
        if self.rules.family is Family.MARLIN:
            self._frame = self._offset(self.active)
        if x:
            self._home_x_mm = {tool: self._stored_home_x(tool) for tool in self.stored}

    def store(self, tool: int, axes: Mapping[str, float]) -> None:
        """Store an offset for the axes that are named: ``{"x": -0.34}``.

        Klipper's macros are read when they run, Marlin's offsets at the next tool
        change or homing; the others' are in force at once.
        """
        self.stored[tool] = self.stored[tool]._replace(**axes)
        at_once = self.rules.family in (Family.REPRAP, Family.SMOOTHIE)
        if at_once and tool == self.active:
            self._frame = self._offset(tool)

    def set_gcode_offset(self, axes: Mapping[str, float], adjust: Mapping[str, float]) -> None:
        """Change Klipper's one offset in force: C = L + g, values and steps of g."""
        g = self._frame.times(-1.0)
        g = g._replace(**axes)
        g = g._replace(**{axis: getattr(g, axis) + step for axis, step in adjust.items()})
        self._frame = g.times(-1.0)

    @property
    def gcode_offset(self) -> Mm3:
        """Klipper's offset in force, g in C = L + g."""
        return self._frame.times(-1.0)

    def in_display(self, tool: int) -> Mm3:
        """Return how much of a tool's stored offset its shown coordinate contains."""
        return self._offset(tool)

    def moved_frame_x_mm(self, tool: int) -> float:
        """Return by how much a second carriage's X reads more than when it was built."""
        if not self._has_home_x(tool):
            return 0.0
        return self._home_x_mm[tool] - self.switch_x_mm[tool]

    def _relabelled(self) -> Mm3:
        return Mm3(x=self.moved_frame_x_mm(self.active))

    def _offset(self, tool: int) -> Mm3:
        """Return d in C = L - d for a tool."""
        offset = self.stored[tool].times(float(self.rules.tool_adds))
        return offset._replace(x=0.0) if self._has_home_x(tool) else offset

    def _has_home_x(self, tool: int) -> bool:
        return self.rules.x_at_home and tool != self._first_tool

    def _stored_home_x(self, tool: int) -> float:
        """Return the X that a carriage is given at its switch.

        Marlin takes a stored value that is not above zero for no value at all.
        """
        stored_mm = self.stored[tool].x
        if self.rules.family is Family.MARLIN and stored_mm <= 0.0:
            return self._factory_home_x_mm
        return stored_mm
