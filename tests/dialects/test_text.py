"""What is pasted: the worked rows word for word, and the numbers read back."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.dialects import DIALECTS
from app.dialects.values import NozzleVectorMm, OffsetMm, PasteText

N1 = NozzleVectorMm(-0.340, 0.120, -0.050)
HOME_X = {"marlin-two-carriages": 353.0, "klipper-endstop": 300.0}

ROWS = {
    "marlin": ("M218 T1 X-0.340 Y0.120 Z-0.050\nM500", "T0"),
    "marlin-two-carriages": ("M218 T1 X352.660 Y0.120 Z-0.050\nM500", "T0\nG28 X"),
    "reprapfirmware": ("G10 P1 X-0.340 Y0.120 Z-0.050", ""),
    "reprapfirmware-two-carriages": ("G10 P1 U-0.340 Y0.120 Z-0.050", ""),
    "klipper-macro": (
        "# in [gcode_macro T0]:\nSET_GCODE_OFFSET X=0.000 Y=0.000 Z=0.000\n"
        "# in [gcode_macro T1]:\nSET_GCODE_OFFSET X=0.340 Y=-0.120 Z=0.050",
        "",
    ),
    "klipper-saved-variables": (
        "SAVE_VARIABLE VARIABLE=t0_x VALUE=0.000\n"
        "SAVE_VARIABLE VARIABLE=t0_y VALUE=0.000\n"
        "SAVE_VARIABLE VARIABLE=t0_z VALUE=0.000\n"
        "SAVE_VARIABLE VARIABLE=t1_x VALUE=0.340\n"
        "SAVE_VARIABLE VARIABLE=t1_y VALUE=-0.120\n"
        "SAVE_VARIABLE VARIABLE=t1_z VALUE=0.050\n"
        "# in [gcode_macro T0]:\n"
        "SET_GCODE_OFFSET X={printer.save_variables.variables.t0_x} "
        "Y={printer.save_variables.variables.t0_y} Z={printer.save_variables.variables.t0_z}\n"
        "# in [gcode_macro T1]:\n"
        "SET_GCODE_OFFSET X={printer.save_variables.variables.t1_x} "
        "Y={printer.save_variables.variables.t1_y} Z={printer.save_variables.variables.t1_z}",
        "",
    ),
    "klipper-endstop": (
        "[dual_carriage]\nposition_endstop: 299.660\n"
        "# in [gcode_macro T0]:\nSET_GCODE_OFFSET Y=0.000 Z=0.000\n"
        "# in [gcode_macro T1]:\nSET_GCODE_OFFSET Y=-0.120 Z=0.050",
        "G28 X",
    ),
    "smoothieware": (
        "# in the configuration file:\n"
        "extruder.hotend2.x_offset 0.340\nextruder.hotend2.y_offset -0.120\n"
        "extruder.hotend2.z_offset 0.050\n"
        "; or, until the next reset:\nG10 L1 P2 X0.340 Y-0.120 Z0.050",
        "",
    ),
    "slicer": ("extruder 2 offset X-0.340 Y0.120", ""),
}


def paste(
    name: str,
    vectors: dict[int, NozzleVectorMm],
    stored: dict[int, OffsetMm],
    *,
    reference: int = 0,
    z_measured: bool = True,
) -> PasteText:
    dialect = DIALECTS[name]
    new = dialect.new_stored(vectors=vectors, stored_raw=stored, reference_tool=reference)
    return dialect.text(new=new, stored_raw=stored, reference_tool=reference, z_measured=z_measured)


def worked(name: str, *, z_measured: bool = True) -> PasteText:
    vector = N1 if z_measured else N1._replace(z=None)
    stored = {0: OffsetMm(), 1: OffsetMm(x=HOME_X.get(name, 0.0))}
    return paste(name, {1: vector}, stored, z_measured=z_measured)


def without_comments(text: str) -> str:
    return "\n".join(line for line in text.splitlines() if not line.startswith(";"))


@pytest.mark.parametrize(("name", "row"), ROWS.items())
def test_the_worked_example_reads_word_for_word(name: str, row: tuple[str, str]) -> None:
    text = worked(name)
    assert text.settings == row[0]
    assert without_comments(text.moves) == row[1]


def test_every_dialect_has_its_row() -> None:
    assert list(ROWS) == list(DIALECTS)


@pytest.mark.parametrize("name", DIALECTS)
def test_nothing_that_moves_stands_among_the_settings(name: str) -> None:
    lines = worked(name).settings.splitlines()
    assert not [line for line in lines if re.match(r"(T\d|G0|G1|G28|M605)\b", line)]


@pytest.mark.parametrize("name", DIALECTS)
def test_notes_are_sentences_and_say_that_only_one_place_may_hold_it(name: str) -> None:
    notes = worked(name).notes
    assert all(note.endswith(".") and note == note.strip() for note in notes)
    assert any("twice" in note for note in notes)


@pytest.mark.parametrize(
    ("name", "trap"),
    [
        ("marlin", "Settings Stored"),
        ("marlin", "its tool is active"),
        ("marlin-two-carriages", "next homing"),
        ("reprapfirmware", "config-override.g"),
        ("reprapfirmware", "M500 P10"),
        ("reprapfirmware-two-carriages", "U axis"),
        ("klipper-macro", "SAVE_CONFIG does not"),
        ("klipper-macro", "one offset for the whole machine"),
        ("klipper-saved-variables", "[save_variables]"),
        ("klipper-endstop", "RESTART"),
        ("smoothieware", "M500 writes no tool offsets"),
        ("slicer", "from 1"),
    ],
)
def test_each_firmwares_trap_is_named(name: str, trap: str) -> None:
    assert any(trap in note for note in worked(name).notes)


@pytest.mark.parametrize("name", DIALECTS)
def test_a_height_that_nobody_measured_is_not_written(name: str) -> None:
    assert not re.search(r"Z|_z", worked(name, z_measured=False).settings.replace("Z_", ""))


def test_a_height_that_is_there_is_not_lost_with_its_line() -> None:
    stored = {0: OffsetMm(), 1: OffsetMm(z=0.2)}
    text = paste("klipper-macro", {1: N1._replace(z=None)}, stored, z_measured=False)
    assert "SET_GCODE_OFFSET X=0.000 Y=0.000 Z=0.000" in text.settings
    assert "SET_GCODE_OFFSET X=0.340 Y=-0.120 Z=0.200" in text.settings


@pytest.mark.parametrize("name", DIALECTS)
def test_a_negative_zero_is_never_written(name: str) -> None:
    stored = {0: OffsetMm(), 1: OffsetMm(x=HOME_X.get(name, 0.0))}
    for value in (-0.0004, 0.0004, -0.0):
        text = paste(name, {1: NozzleVectorMm(value, value, value)}, stored)
        assert "-0.000" not in text.settings
        assert "0.000" in text.settings or name in HOME_X


def test_marlin_says_that_it_counts_from_t0() -> None:
    vectors = {0: NozzleVectorMm(0.34, -0.12), 2: NozzleVectorMm(0.1, 0.2)}
    text = paste("marlin", vectors, {1: OffsetMm(9, 9)}, reference=1, z_measured=False)
    assert text.settings == "M218 T1 X-0.340 Y0.120\nM218 T2 X-0.240 Y0.320\nM500"
    assert "counted from T0" in text.notes[0]


def test_a_reference_whose_value_stays_needs_no_line() -> None:
    stored = {0: OffsetMm(), 2: OffsetMm(1.0, 1.0, 0.0)}
    vectors = {0: NozzleVectorMm(0.5, 0.5)}
    text = paste("reprapfirmware", vectors, stored, reference=2, z_measured=False)
    assert text.settings == "G10 P0 X1.500 Y1.500"


def test_klippers_reference_macro_resets_to_its_own_value() -> None:
    stored = {0: OffsetMm(), 1: OffsetMm(1.0, 2.0, 0.0)}
    vectors = {0: NozzleVectorMm(0.5, 0.5)}
    text = paste("klipper-macro", vectors, stored, reference=1, z_measured=False)
    assert text.settings.endswith("# in [gcode_macro T1]:\nSET_GCODE_OFFSET X=1.000 Y=2.000")


def test_marlins_second_carriage_is_never_told_a_coordinate_that_means_another() -> None:
    unknown = paste("marlin-two-carriages", {1: N1}, {0: OffsetMm(), 1: OffsetMm()})
    assert unknown.settings == "M218 T1 Y0.120 Z-0.050\nM500"
    assert without_comments(unknown.moves) == "T0"
    assert "add -0.340 mm" in unknown.notes[0]

    sunk = paste("marlin-two-carriages", {1: N1}, {0: OffsetMm(), 1: OffsetMm(0.3)})
    assert sunk.settings == "M218 T1 Y0.120 Z-0.050\nM500"
    assert "-0.040" in sunk.notes[0]


def test_klippers_endstop_is_left_out_when_nobody_entered_the_old_one() -> None:
    text = paste("klipper-endstop", {1: N1}, {0: OffsetMm(), 1: OffsetMm()})
    assert "position_endstop" not in text.settings
    assert text.moves == ""
    assert "add -0.340 mm" in text.notes[0]


def test_with_nothing_but_the_reference_there_is_nothing_to_paste() -> None:
    for name in ("marlin", "reprapfirmware", "smoothieware", "slicer"):
        assert paste(name, {}, {0: OffsetMm()}).settings == ""


Numbers = dict[tuple[int, str], float]
NUMBER = r"-?\d+\.\d{3}"


def _commands(pattern: str, shift: int = 0) -> Callable[[str], Numbers]:
    """Read lines such as `M218 T1 X-0.340 Y0.120`, the tool counted from `shift`."""

    def read(text: str) -> Numbers:
        return {
            (int(tool) - shift, "x" if letter == "U" else letter.lower()): float(value)
            for tool, rest in re.findall(rf"^{pattern} (.+)$", text, re.MULTILINE)
            for letter, value in re.findall(rf"([XYZU])=?({NUMBER})(?= |$)", rest)
        }

    return read


def _saved_variables(text: str) -> Numbers:
    pattern = rf"^SAVE_VARIABLE VARIABLE=t(\d+)_([xyz]) VALUE=({NUMBER})$"
    return {(int(t), a): float(v) for t, a, v in re.findall(pattern, text, re.MULTILINE)}


def _endstop(text: str) -> Numbers:
    home = re.search(rf"^\[dual_carriage\]\nposition_endstop: ({NUMBER})$", text, re.MULTILINE)
    assert home is not None
    return _MACROS(text) | {(1, "x"): float(home[1])}


def _configuration(text: str) -> Numbers:
    pattern = rf"^extruder\.hotend(\d*)\.([xyz])_offset ({NUMBER})$"
    found = re.findall(pattern, text, re.MULTILINE)
    in_file = {(int(t or 1) - 1, a): float(v) for t, a, v in found}
    assert in_file == _commands(r"G10 L1 P(\d+)", shift=1)(text)
    return in_file


_MACROS = _commands(r"# in \[gcode_macro T(\d+)\]:\nSET_GCODE_OFFSET")

READERS: dict[str, Callable[[str], Numbers]] = {
    "marlin": _commands(r"M218 T(\d+)"),
    "marlin-two-carriages": _commands(r"M218 T(\d+)"),
    "reprapfirmware": _commands(r"G10 P(\d+)"),
    "reprapfirmware-two-carriages": _commands(r"G10 P(\d+)"),
    "klipper-macro": _MACROS,
    "klipper-saved-variables": _saved_variables,
    "klipper-endstop": _endstop,
    "smoothieware": _configuration,
    "slicer": _commands(r"extruder (\d+) offset", shift=1),
}


@pytest.mark.parametrize("name", DIALECTS)
@settings(deadline=None)  # a busy machine is not a failure
@given(
    x=st.floats(-30.0, 30.0), y=st.floats(-30.0, 30.0), z=st.floats(-3.0, 3.0),
    reference=st.sampled_from([0, 1]),
)  # fmt: skip
def test_the_text_reads_back_as_the_numbers(
    name: str, x: float, y: float, z: float, reference: int
) -> None:
    dialect = DIALECTS[name]
    stored = {0: OffsetMm(), 1: OffsetMm(HOME_X.get(name, 0.0), 0.0, 0.0)}
    vectors = {1 - reference: NozzleVectorMm(x, y, z)}
    new = dialect.new_stored(vectors=vectors, stored_raw=stored, reference_tool=reference)
    text = dialect.text(new=new, stored_raw=stored, reference_tool=reference, z_measured=True)
    read = READERS[name](text.settings)
    told = {tool for tool, _ in read}
    assert told >= {tool for tool in new if new[tool] != pytest.approx(stored[tool], abs=1e-6)}
    assert read == {
        (tool, axis): pytest.approx(new[tool]["xyz".index(axis)], abs=0.000501)
        for tool in told
        for axis in dialect.axes
        if not (name == "klipper-endstop" and (tool, axis) == (0, "x"))
    }
