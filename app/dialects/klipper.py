"""Klipper: one global offset that each tool's macro sets, or a carriage's endstop.

Klipper source, klippy/extras/gcode_move.py: `cmd_SET_GCODE_OFFSET` adds to the base
position and `cmd_G1` adds the base position to the value, so C = L + g. There is one
offset for the whole machine, so every tool's macro has to set every axis, the
reference's too.
"""

from __future__ import annotations

from app.dialects.dialect import WHERE_THE_CARRIAGE_GOES, Dialect
from app.dialects.values import PasteText
from app.dialects.writing import Axis, Writing, component, mm_text, words

_PLACE = (
    "Put each line into the macro that its heading names, in place of the SET_GCODE_OFFSET line "
    "that is there, save the file and send RESTART."
)
_LASTING = "SAVE_CONFIG does not save these offsets; only what stands in the macros lasts."
_GLOBAL = (
    "Klipper has one offset for the whole machine: each tool's macro has to set it, T{}'s as well, "
    "or the last tool's stays in force."
)
_VARIABLES = (
    "SAVE_VARIABLE needs a [save_variables] section in printer.cfg; the lines are sent once, and "
    "what they save lasts over a restart. Only the lines under a heading go into macros."
)
_BABYSTEP = (
    "A height that was trimmed by hand is part of the same Z offset, and these lines end it."
)
_ENDSTOP = (
    "position_endstop acts after RESTART and the next homing of X, with the camera taken away; "
    "take X out of every SET_GCODE_OFFSET line, or it counts twice."
)
_ONE_PLACE = "The slicer's own extruder offset has to be 0, or the offset counts twice."
_BEFORE = (
    "Undo any height trimmed by hand (SET_GCODE_OFFSET Z_ADJUST) before measuring, and select "
    "the tool again, so that the offset in force is the one in its macro."
)


def _heading(tool: int) -> str:
    return f"# in [gcode_macro T{tool}]:"


def _macro_lines(writing: Writing, axes: tuple[Axis, ...]) -> list[str]:
    lines = []
    for tool in writing.all_tools():
        lines += [
            _heading(tool),
            f"SET_GCODE_OFFSET {words(writing.new[tool], axes, equals='=')}",
        ]
    return lines


def _z_notes(writing: Writing) -> tuple[str, ...]:
    return (_BABYSTEP,) if "z" in writing.axes else ()


def _notes(writing: Writing, *first: str) -> tuple[str, ...]:
    return (
        *first,
        _LASTING,
        _GLOBAL.format(writing.reference_tool),
        *_z_notes(writing),
        _ONE_PLACE,
    )


def write_macros(writing: Writing) -> PasteText:
    """Return the line that each tool's macro wants, under the macro's name."""
    lines = _macro_lines(writing, writing.axes)
    return PasteText(settings="\n".join(lines), moves="", notes=_notes(writing, _PLACE))


def write_saved_variables(writing: Writing) -> PasteText:
    """Return lines that save each number, then the macro lines that read them."""

    def variable(tool: int, axis: Axis) -> str:
        return f"t{tool}_{axis}"

    lines = [
        f"SAVE_VARIABLE VARIABLE={variable(tool, axis)} "
        f"VALUE={mm_text(component(writing.new[tool], axis))}"
        for tool in writing.all_tools()
        for axis in writing.axes
    ]
    for tool in writing.all_tools():
        read = [
            f"{axis.upper()}={{printer.save_variables.variables.{variable(tool, axis)}}}"
            for axis in writing.axes
        ]
        lines += [_heading(tool), f"SET_GCODE_OFFSET {' '.join(read)}"]
    return PasteText(settings="\n".join(lines), moves="", notes=_notes(writing, _VARIABLES, _PLACE))


def write_endstop(writing: Writing) -> PasteText:
    """Return the second carriage's endstop for X, macro lines for the other axes."""
    macros = _macro_lines(writing, writing.axes_without_x())
    if writing.home_x is None:
        return PasteText(settings="\n".join(macros), moves="", notes=_notes(writing, _PLACE))
    endstop = ["[dual_carriage]", f"position_endstop: {mm_text(writing.home_x)}"]
    return PasteText(
        settings="\n".join([*endstop, *macros]),
        moves="; after the settings and RESTART\nG28 X",
        notes=_notes(writing, _ENDSTOP, _PLACE),
    )


def is_given(home_x_mm: float) -> bool:
    """Return whether an endstop was entered: zero is what an empty profile holds.

    A wrong one is no small matter: Klipper tells from it to which end a carriage
    homes (klippy/stepper.py, from memory).
    """
    return float(mm_text(home_x_mm)) != 0.0


KLIPPER_MACRO = Dialect(
    name="klipper-macro",
    title="Klipper with tool macros",
    sign=WHERE_THE_CARRIAGE_GOES,
    decimals=3,
    write=write_macros,
    before_measuring=(_BEFORE,),
)

KLIPPER_SAVED_VARIABLES = Dialect(
    name="klipper-saved-variables",
    title="Klipper with saved variables",
    sign=WHERE_THE_CARRIAGE_GOES,
    decimals=3,
    write=write_saved_variables,
    before_measuring=(_BEFORE,),
)

KLIPPER_ENDSTOP = Dialect(
    name="klipper-endstop",
    title="Klipper with two carriages, X by endstop",
    sign=WHERE_THE_CARRIAGE_GOES,
    decimals=3,
    write=write_endstop,
    usable_home_x=is_given,
    tool_limit=2,
    before_measuring=(_BEFORE,),
)
