"""RepRapFirmware: G10, with X stored under U for a tool on the second carriage.

RepRapFirmware source, src/GCodes/GCodes.cpp, `ToolOffsetTransform`: machine = user -
tool offset, that is L = C + o; for a tool whose X is mapped to another axis, the
offset of that axis is used.
"""

from __future__ import annotations

from functools import partial

from app.dialects.dialect import SECOND_CARRIAGE, WHERE_THE_NOZZLE_IS, Dialect
from app.dialects.values import PasteText
from app.dialects.writing import Axis, Writing, words

_PLACE = (
    "Put the lines into config.g after the M563 line of their tool, in place of the G10 lines "
    "that are there; sent by hand they act at once and move nothing, whichever tool is active."
)
_OVERRIDE = (
    "A G10 line in config-override.g is read later, by M501, and wins over config.g: delete it."
)
_LASTING = (
    "To keep values that were sent by hand, send M500 P10 (plain M500 leaves them out); it "
    "writes config-override.g, and config.g has to end with M501 to read that."
)
_ONE_PLACE = "The slicer's own extruder offset has to be 0, or the offset counts twice."
_U_AXIS = (
    "T1 drives the U axis, so its X offset is stored under U; the letter X does nothing for it."
)
_BEFORE = "Clear babysteps before measuring: they are part of the machine's height."
_BEFORE_U = (
    "For T1 the carriage is U: read U, not X, where the machine's own coordinates are listed."
)


def write(writing: Writing, *, second_carriage: bool) -> PasteText:
    """Return one G10 line a tool; nothing moves."""

    def letters(tool: int) -> dict[Axis, str]:
        return {"x": "U"} if second_carriage and tool == SECOND_CARRIAGE else {}

    lines = [
        f"G10 P{tool} {words(writing.new[tool], writing.axes, letters=letters(tool))}"
        for tool in writing.changed_tools
    ]
    carriage_notes = (_U_AXIS,) if second_carriage else ()
    return PasteText(
        settings="\n".join(lines),
        moves="",
        notes=(*carriage_notes, _PLACE, _OVERRIDE, _LASTING, _ONE_PLACE),
    )


REPRAPFIRMWARE = Dialect(
    name="reprapfirmware",
    title="RepRapFirmware",
    sign=WHERE_THE_NOZZLE_IS,
    decimals=3,
    write=partial(write, second_carriage=False),
    before_measuring=(_BEFORE,),
)

REPRAPFIRMWARE_TWO_CARRIAGES = Dialect(
    name="reprapfirmware-two-carriages",
    title="RepRapFirmware with two carriages",
    sign=WHERE_THE_NOZZLE_IS,
    decimals=3,
    write=partial(write, second_carriage=True),
    before_measuring=(_BEFORE, _BEFORE_U),
)
