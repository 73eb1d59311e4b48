"""The firmware arithmetic against worked numbers.

P0 = (150.000, 100.000) and P1 = (150.340, 99.880) are the carriage coordinates at
which nozzles 0 and 1 stand over the same point, so n = P0 - P1 = (-0.340, 0.120);
nozzle 1 hangs 0.050 lower. Each text was derived by hand from the firmware's own
transform (see the references in `app.bench.firmware`); for Marlin and Klipper the
numbers were also read off the running programs.
"""

from __future__ import annotations

import math

import pytest

from app.bench import BenchMachine, World, make_world
from app.bench.axes import Mm3
from app.errors import MachineError
from app.job.profile import Profile, parse_profile

P0 = Mm3(150.0, 100.0, 5.0)
P1 = Mm3(150.34, 99.88, 5.05)


def machine_profile(
    dialect: str, *, layout: str = "tool-changer", second: tuple[float, float, float] = (0, 0, 0)
) -> Profile:
    return parse_profile(
        {
            "schema": 1,
            "name": "Test",
            "layout": layout,
            "dialect": dialect,
            "tools": [
                {"number": 0},
                {"number": 1, "stored_raw": list(second)},
            ],
            "travel_mm": {"x": [0, 400], "y": [0, 200], "z": [0, 200]},
        }
    )


def carriage_when_told(world: World, tool: int, point: Mm3) -> Mm3:
    """Say a point of a print to a tool and read where its carriage is sent."""
    board = world.controller
    board.select(tool)
    if world.profile.homes_between_tools:
        board.home()
    return board.firmware.carriage_for_print(point)


def near(expected: Mm3) -> object:
    return pytest.approx(tuple(expected), abs=1e-9)


ONE_CARRIAGE = [
    pytest.param("marlin", "T0\nM218 T1 X-0.340 Y0.120 Z-0.050\nM500", id="marlin"),
    pytest.param("reprapfirmware", "G10 P1 X-0.340 Y0.120 Z-0.050\nM500 P10", id="reprap"),
    pytest.param("reprapfirmware", "G10 L1 P1 X-0.340 Y0.120 Z-0.050", id="reprap-l1"),
    pytest.param(
        "klipper-macro",
        "[gcode_macro T1]\ngcode:\n    SET_GCODE_OFFSET X=0.340 Y=-0.120 Z=0.050",
        id="klipper-section",
    ),
    pytest.param(
        "klipper-macro",
        "# in [gcode_macro T1]:\nSET_GCODE_OFFSET X=0.340 Y=-0.120 Z=0.050",
        id="klipper-heading",
    ),
    pytest.param(
        "klipper-saved-variables",
        "SAVE_VARIABLE VARIABLE=t1_x VALUE=0.340\nSAVE_VARIABLE VARIABLE=t1_y VALUE=-0.120\n"
        "SAVE_VARIABLE VARIABLE=t1_z VALUE=0.050",
        id="klipper-variables",
    ),
    pytest.param(
        "smoothieware",
        "extruder.hotend2.x_offset 0.340\nextruder.hotend2.y_offset -0.120 # mm\n"
        "extruder.hotend2.z_offset 0.050",
        id="smoothie-file",
    ),
    pytest.param("smoothieware", "G10 L1 P2 X0.340 Y-0.120 Z0.050", id="smoothie-command"),
]


@pytest.mark.parametrize(("dialect", "text"), ONE_CARRIAGE)
def test_with_the_text_tool_1_goes_to_the_same_point(dialect: str, text: str) -> None:
    world = make_world(machine_profile(dialect), seed=1)
    BenchMachine(world).apply_text(text)
    assert carriage_when_told(world, 0, P0) == near(P0)
    assert carriage_when_told(world, 1, P0) == near(P1)


def test_the_slicer_takes_its_offset_off_on_the_way() -> None:
    world = make_world(machine_profile("slicer"), seed=1)
    BenchMachine(world).apply_text("extruder 2 offset X-0.340 Y0.120")
    assert carriage_when_told(world, 1, P0) == near(P1._replace(z=5.0))
    assert world.controller.firmware.carriage(P0) == near(P0)


def test_reprapfirmware_keeps_the_x_of_a_second_carriage_under_u() -> None:
    profile = machine_profile("reprapfirmware-two-carriages", layout="independent-carriages")
    world = make_world(profile, seed=1)
    BenchMachine(world).apply_text("G10 P1 U-0.340 Y0.120 Z-0.050\nG10 P1 X7")
    assert carriage_when_told(world, 1, P0) == near(P1)


@pytest.mark.parametrize(
    ("dialect", "old", "text"),
    [
        pytest.param(
            "marlin-two-carriages", 353.0, "M218 T1 X352.660 Y0.120 Z-0.050\nG28 X", id="marlin"
        ),
        pytest.param(
            "klipper-endstop",
            300.0,
            "G28 X\n[dual_carriage]\nposition_endstop: 299.660\n[gcode_macro T1]\n"
            "SET_GCODE_OFFSET Y=-0.120 Z=0.050",
            id="klipper",
        ),
    ],
)
def test_a_coordinate_at_the_switch_acts_at_the_next_homing(
    dialect: str, old: float, text: str
) -> None:
    profile = machine_profile(dialect, layout="independent-carriages", second=(old, 0, 0))
    world = make_world(profile, seed=1)
    machine = BenchMachine(world)
    machine.apply_text(text)
    if dialect == "klipper-endstop":
        assert carriage_when_told(world, 1, P0) == near(P1._replace(x=150.0))
        machine.select_tool(0)
        machine.home()
    assert carriage_when_told(world, 1, P0) == near(P1)
    # The place that read 150.340 reads 150.000.
    assert world.controller.firmware.shown(P1).x == pytest.approx(150.0)


def test_a_second_carriage_shows_its_new_coordinate_at_its_switch() -> None:
    profile = machine_profile(
        "marlin-two-carriages", layout="independent-carriages", second=(353.0, 0, 0)
    )
    machine = BenchMachine(make_world(profile, seed=1))
    machine.select_tool(1)
    machine.home()
    assert machine.shown().x == pytest.approx(353.0)
    machine.apply_text("T0\nM218 T1 X352.660\nT1")
    assert machine.shown().x == pytest.approx(353.0, abs=0.01)
    machine.apply_text("G28 X")
    assert machine.shown().x == pytest.approx(352.66)


def test_marlin_takes_a_home_coordinate_of_zero_for_none_at_all() -> None:
    profile = machine_profile(
        "marlin-two-carriages", layout="independent-carriages", second=(353.0, 0, 0)
    )
    world = make_world(profile, seed=1)
    BenchMachine(world).apply_text("M218 T1 X-0.340\nG28 X")
    assert world.controller.firmware.moved_frame_x_mm(1) == pytest.approx(400.0 - 353.0)


INCREMENTS = [
    pytest.param("marlin", (-0.340, 0.120, 0), "T0\nM218 T1 X-0.390 Y0.140", id="marlin"),
    pytest.param("reprapfirmware", (-0.340, 0.120, 0), "G10 P1 X-0.390 Y0.140", id="reprap"),
    pytest.param(
        "klipper-macro",
        (0.340, -0.120, 0),
        "[gcode_macro T1]\n SET_GCODE_OFFSET X=0.390 Y=-0.140",
        id="klipper",
    ),
    pytest.param(
        "klipper-macro",
        (0.340, -0.120, 0),
        "T1\nSET_GCODE_OFFSET X_ADJUST=0.050 Y_ADJUST=-0.020",
        id="klipper-adjust",
    ),
    pytest.param("smoothieware", (0.340, -0.120, 0), "G10 L1 P2 X0.390 Y-0.140", id="smoothie"),
]


@pytest.mark.parametrize(("dialect", "old", "text"), INCREMENTS)
def test_after_an_increment_tool_1_goes_where_it_was_jogged_to(
    dialect: str, old: tuple[float, float, float], text: str
) -> None:
    """Tool 1 was jogged by (+0.050, -0.020) on top of the offsets in force."""
    world = make_world(machine_profile(dialect, second=old), seed=1)
    BenchMachine(world).apply_text(text)
    assert carriage_when_told(world, 1, P0) == near(Mm3(150.390, 99.860, 5.0))


def test_an_increment_at_the_switch_moves_the_frame() -> None:
    profile = machine_profile(
        "marlin-two-carriages", layout="independent-carriages", second=(352.660, 0.120, 0)
    )
    world = make_world(profile, seed=1)
    BenchMachine(world).apply_text("M218 T1 X352.610 Y0.140\nG28 X")
    # 352.660 is what the frame was built with: 150.340 read 150.000 in it already.
    assert carriage_when_told(world, 1, P0) == near(Mm3(150.050, 99.860, 5.0))


def test_marlin_shifts_the_head_and_keeps_the_coordinate() -> None:
    world = make_world(machine_profile("marlin", second=(-0.340, 0.120, -0.050)), seed=1)
    machine = BenchMachine(world)
    before, carriage = machine.shown(), world.controller.carriage()
    machine.select_tool(1)
    assert machine.shown() == pytest.approx(before)
    assert world.controller.carriage() == near(carriage.plus(Mm3(0.340, -0.120, 0.050)))


@pytest.mark.parametrize(
    ("dialect", "shown_step"),
    [
        ("klipper-macro", Mm3(-0.340, 0.120, -0.050)),
        ("smoothieware", Mm3(-0.340, 0.120, -0.050)),
        ("reprapfirmware", Mm3(0.340, -0.120, 0.050)),
    ],
)
def test_other_firmwares_change_the_coordinate_and_keep_the_head(
    dialect: str, shown_step: Mm3
) -> None:
    world = make_world(machine_profile(dialect, second=(0.340, -0.120, 0.050)), seed=1)
    before, carriage = world.controller.position(), world.controller.carriage()
    world.controller.select(1)
    assert world.controller.carriage() == carriage
    assert world.controller.position() == near(before.plus(shown_step))


def test_changing_an_active_tools_offset_under_marlin_spoils_the_frame_until_homing() -> None:
    world = make_world(machine_profile("marlin"), seed=1)
    machine = BenchMachine(world)
    machine.apply_text("T1\nM218 T1 X-0.340\nT0")
    # The frame was shifted by the new offset though the old one had put it there.
    assert world.controller.firmware.carriage(P0).x == pytest.approx(150.0 - 0.340)
    machine.home()
    assert world.controller.firmware.carriage(P0).x == pytest.approx(150.0)


def test_klippers_offset_survives_homing_and_moves_nothing() -> None:
    world = make_world(machine_profile("klipper-macro"), seed=1)
    machine = BenchMachine(world)
    carriage = world.controller.carriage()
    machine.apply_text("SET_GCODE_OFFSET X=0.340")
    assert world.controller.carriage() == carriage
    machine.home()
    assert world.controller.firmware.gcode_offset.x == pytest.approx(0.340)


def test_the_display_rounds_to_its_step() -> None:
    world = make_world(machine_profile("marlin"), seed=1)
    shown = world.controller.firmware.on_display(Mm3(1.2345, -0.004, 9.996))
    assert shown == (1.23, 0.0, 10.0)
    assert math.copysign(1.0, shown.y) == 1.0


@pytest.mark.parametrize(
    ("dialect", "line"),
    [
        ("marlin", "M218 T7 X1"),
        ("marlin", "FOO"),
        ("klipper-macro", "[gcode_macro T9]\nSET_GCODE_OFFSET X=1"),
        ("klipper-macro", "[gcode_macro T1]\nSET_GCODE_OFFSET X=one"),
        ("klipper-endstop", "[gcode_macro T1]\nSET_GCODE_OFFSET X=1"),
        ("klipper-endstop", "[dual_carriage]\nposition_endstop: far"),
        ("klipper-macro", "SET_GCODE_OFFSET X=one"),
        (
            "klipper-saved-variables",
            "# in [gcode_macro T1]:\nSET_GCODE_OFFSET X={printer.save_variables.variables.t0_x}",
        ),
        ("smoothieware", "extruder.hotend2.x_offset far"),
        ("smoothieware", "extruder.hotend9.x_offset 0.1"),
        ("slicer", "extruder 9 offset X1"),
        ("reprapfirmware", "G10 P9 X1"),
    ],
)
def test_a_line_that_the_firmware_refuses_is_named(dialect: str, line: str) -> None:
    machine = BenchMachine(make_world(machine_profile(dialect), seed=1))
    with pytest.raises(MachineError, match="refuses the line") as caught:
        machine.apply_text(line)
    assert caught.value.value == line.splitlines()[-1].strip()


def test_pasted_moves_frame_the_settings() -> None:
    profile = machine_profile(
        "marlin-two-carriages", layout="independent-carriages", second=(353.0, 0, 0)
    )
    world = make_world(profile, seed=1)
    BenchMachine(world).paste(
        settings="M218 T1 X352.660 Y0.120 Z-0.050\nM500",
        moves="; before the settings\nT0\n; after the settings\nG28 X",
    )
    assert carriage_when_told(world, 1, P0) == near(P1)
