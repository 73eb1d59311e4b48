"""Smoothieware: offsets in the configuration file, or by G10 until the next reset.

Smoothieware source, src/modules/robot/Robot.cpp, `wcs2mcs`: machine = work + tool
offset, so C = L + t. In G10 the tools count from 1.

The configuration file knows a comment by its hash (src/libs/ConfigSources), the line
of commands by its semicolon; a command line that begins with a hash gets no answer,
and a sender would wait for it (src/modules/communication/GcodeDispatch.cpp).
"""

from __future__ import annotations

from app.dialects.dialect import WHERE_THE_CARRIAGE_GOES, Dialect
from app.dialects.values import PasteText
from app.dialects.writing import Writing, component, mm_text, words

_LASTING = (
    "Only the configuration file lasts: M500 writes no tool offsets, and what G10 sets is gone at "
    "the next reset."
)
_NAMES = (
    "'hotend', 'hotend2' and so on are the usual names of the extruder sections: use the names "
    "that stand in your own file."
)
_COUNTING = "In G10 the tools count from 1, so P2 is T1."
_ONE_PLACE = "The slicer's own extruder offset has to be 0, or the offset counts twice."


def _section(tool: int) -> str:
    return "hotend" if tool == 0 else f"hotend{tool + 1}"


def write(writing: Writing) -> PasteText:
    """Return lines for the configuration file, then the same as commands."""
    in_file = [
        f"extruder.{_section(tool)}.{axis}_offset {mm_text(component(writing.new[tool], axis))}"
        for tool in writing.changed_tools
        for axis in writing.axes
    ]
    commands = [
        f"G10 L1 P{tool + 1} {words(writing.new[tool], writing.axes)}"
        for tool in writing.changed_tools
    ]
    lines = ["# in the configuration file:", *in_file, "; or, until the next reset:", *commands]
    return PasteText(
        settings="\n".join(lines) if in_file else "",
        moves="",
        notes=(_LASTING, _NAMES, _COUNTING, _ONE_PLACE),
        comment="#",
    )


SMOOTHIEWARE = Dialect(
    name="smoothieware",
    title="Smoothieware",
    sign=WHERE_THE_CARRIAGE_GOES,
    decimals=4,
    write=write,
)
