"""Slicers: the offset is taken off the coordinates when the G-code is written.

PrusaSlicer source, src/libslic3r/GCode.cpp, `gcode_to_point`, adds it on the way
back; CuraEngine source, src/gcodeExport.cpp, `getGcodePos`, subtracts it: the
G-code holds p - s. The printer knows nothing of it, so its display contains none.
"""

from __future__ import annotations

from app.dialects.dialect import WHERE_THE_NOZZLE_IS, Dialect
from app.dialects.values import PasteText
from app.dialects.writing import Writing, words

_ONE_PLACE = (
    "The printer's own tool offsets have to be 0, in X and in Y, or the offset counts twice."
)
_COUNTING = "Slicers count extruders from 1: extruder 2 is T1."
_PLACE = "Enter the numbers in the printer's profile; a G-code file has to be sliced again."
_NO_Z = "Slicers hold no Z offset of a tool: level the nozzles on the machine, or by its firmware."
_OPTION = (
    "Some slicers have a switch that says whether the offset goes into the coordinates: it has to "
    "be on."
)


def write(writing: Writing) -> PasteText:
    """Return one line a tool to type into the slicer's profile."""
    lines = [
        f"extruder {tool + 1} offset {words(writing.new[tool], writing.axes)}"
        for tool in writing.changed_tools
    ]
    return PasteText(
        settings="\n".join(lines),
        moves="",
        notes=(_PLACE, _COUNTING, _ONE_PLACE, _OPTION, _NO_Z),
    )


SLICER = Dialect(
    name="slicer",
    title="The slicer",
    sign=WHERE_THE_NOZZLE_IS,
    decimals=3,
    write=write,
    axes=("x", "y"),
    in_display=False,
)
