"""Marlin: M218, and the second carriage's home coordinate on machines with two.

Marlin source, Marlin/src/module/tool_change.cpp, `tool_change()`: the difference of
the two offsets is added to the shown coordinate, L = C + o. With two carriages that
difference has no X; Marlin/src/module/motion.cpp, `x_home_pos()`, takes the stored
X of tool 1, if above zero, for the coordinate of the second carriage at its switch.
"""

from __future__ import annotations

from app.dialects.dialect import SECOND_CARRIAGE, WHERE_THE_NOZZLE_IS, Dialect
from app.dialects.values import OffsetMm, PasteText
from app.dialects.writing import Axis, Writing, words

_BEFORE_THE_SETTINGS = "; before the settings"
_AFTER_THE_SETTINGS = "; after the settings"

_ACTIVE_TOOL = (
    "Send T0 before the settings: an offset that is changed while its tool is active leaves "
    "every coordinate off by the change after the next tool change, until the machine homes."
)
_LASTING = (
    "M500 keeps the values over a restart only if the machine answers 'Settings Stored'; after "
    "'No EEPROM.' it says ok as well, and the M218 lines then belong into the start G-code."
)
_UNITS = "The numbers are millimetres: a machine that was set to inches (G20) needs G21 first."
_ONE_PLACE = "The slicer's own extruder offset has to be 0, or the offset counts twice."
_HOME_X = (
    "X of T1 is the coordinate of the second carriage at its switch; it acts at the next homing "
    "of X, so send G28 X after the settings, with the camera taken away."
)
_SLICER_X = "The slicer's X offset of the second tool has to be 0, or it counts twice."
_BEFORE = (
    "Marlin shows X and Y offsets with two decimals only: before measuring, and with T0 active, "
    "write back with M218 what it shows, so that the old values are exact."
)
_BEFORE_TWO_CARRIAGES = (
    _BEFORE + " Then home X with the camera taken away, since X acts at homing only.",
    "Measure with M605 S0 (each carriage moves by itself), and home X after changing the mode.",
)


def _m218(writing: Writing, tool: int, axes: tuple[Axis, ...]) -> str:
    return f"M218 T{tool} {words(writing.new[tool], axes)}"


def _with_m500(lines: list[str]) -> str:
    return "\n".join([*lines, "M500"]) if lines else ""


def write(writing: Writing) -> PasteText:
    """Return M218 lines; T0, which moves the head, stands apart."""
    lines = [_m218(writing, tool, writing.axes) for tool in writing.changed_tools]
    return PasteText(
        settings=_with_m500(lines),
        moves=f"{_BEFORE_THE_SETTINGS}\nT0",
        notes=(_ACTIVE_TOOL, _LASTING, _UNITS, _ONE_PLACE),
    )


def write_two_carriages(writing: Writing) -> PasteText:
    """Return M218 lines; homing, which makes the new X act, stands apart."""

    def axes(tool: int) -> tuple[Axis, ...]:
        has_x = tool == SECOND_CARRIAGE and writing.home_x is not None
        return writing.axes if has_x else writing.axes_without_x()

    lines = [_m218(writing, tool, axes(tool)) for tool in writing.changed_tools]
    moves = [_BEFORE_THE_SETTINGS, "T0", _AFTER_THE_SETTINGS, "G28 X"]
    return PasteText(
        settings=_with_m500(lines),
        moves="\n".join(moves if writing.home_x is not None else moves[:2]),
        notes=(_ACTIVE_TOOL, _HOME_X, _LASTING, _UNITS, _SLICER_X),
    )


def is_above_zero(home_x_mm: float) -> bool:
    """Return whether Marlin takes this for a coordinate; else it means X2_HOME_POS."""
    return float(words(OffsetMm(x=home_x_mm), ("x",))[1:]) > 0.0


MARLIN = Dialect(
    name="marlin",
    title="Marlin",
    sign=WHERE_THE_NOZZLE_IS,
    decimals=2,
    write=write,
    first_tool_holds=False,
    before_measuring=(_BEFORE,),
)

MARLIN_TWO_CARRIAGES = Dialect(
    name="marlin-two-carriages",
    title="Marlin with two carriages",
    sign=WHERE_THE_NOZZLE_IS,
    decimals=2,
    write=write_two_carriages,
    first_tool_holds=False,
    usable_home_x=is_above_zero,
    tool_limit=2,
    before_measuring=_BEFORE_TWO_CARRIAGES,
)
