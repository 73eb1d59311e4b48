"""G-code as the firmwares answer it.

Replies named golden were read off a running Marlin (bugfix-2.1.x, dual extruder, 80
steps a millimetre, homed, T0 at X150 Y100 Z5); the others follow the sources named
in `app.bench.gcode`.
"""

from __future__ import annotations

from functools import reduce
from itertools import pairwise
from operator import xor

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.bench import make_world
from app.bench.firmware import RULES
from app.bench.gcode import Interpreter, parse_line
from app.job.profile import Profile, parse_profile


def profile(dialect: str, layout: str = "fixed-nozzles") -> Profile:
    return parse_profile(
        {
            "schema": 1,
            "name": "Test",
            "layout": layout,
            "dialect": dialect,
            "tools": [{"number": 0}, {"number": 1}],
            "travel_mm": {"x": [0, 200], "y": [0, 200], "z": [0, 200]},
        }
    )


def talk(dialect: str = "marlin", *, layout: str = "fixed-nozzles") -> Interpreter:
    """Return a conversation with a machine that stands at X150 Y100 Z5."""
    made = Interpreter(make_world(profile(dialect, layout), seed=1).controller)
    made.answer("G90")
    made.answer("G0 X150 Y100 Z5")
    return made


def test_marlins_golden_replies_come_out_as_they_were_read() -> None:
    board = talk()
    here = "X:150.00 Y:100.00 Z:5.00 E:0.00 Count X:12000 Y:8000 Z:2000"
    for sent, answered in [
        ("M114", [here, "ok"]),
        ("M218 T1 X-0.340 Y0.120 Z-0.050", ["ok"]),
        ("M218", ["  M218 T1 X-0.34 Y0.12 Z-0.050", "ok"]),
        ("T1", ["Active Extruder: 1", "ok"]),
        ("M114", [here, "ok"]),
        (
            "M211",
            [
                "  M211 S1 ; ON",
                "  Min:  X-0.34 Y0.12 Z-0.05   Max:  X199.66 Y200.12 Z199.95",
                "ok",
            ],
        ),
        ("T5", ["echo:T5 Invalid extruder", "ok"]),
        ("M218 T7 X1", ["echo:M218 Invalid extruder 7", "ok"]),
        ("M500", ["echo:Settings Stored (648 bytes; crc 30273)", "ok"]),
        ("m114", ['echo:Unknown command: "m114"', "ok"]),
        ("T", ["Active Extruder: 1", "ok"]),
    ]:
        assert board.answer(sent) == answered


def checksum(body: str) -> int:
    """Return the exclusive or of all bytes."""
    return reduce(xor, body.encode())


def test_line_numbers_are_checked_as_marlin_does() -> None:
    board = talk()
    assert board.answer("M110 N2")[-1] == "ok"
    assert board.answer("N4 M114*35") == [
        "Error:Line Number is not Last Line Number+1, Last Line: 2",
        "Resend: 3",
        "ok",
    ]
    assert board.answer("N3 M114*99")[0] == "Error:checksum mismatch, Last Line: 2"
    assert board.answer("N3 M114")[0] == "Error:No Checksum with line number, Last Line: 2"
    assert board.answer("N3 M114*36")[0].startswith("X:150.00")
    assert board.answer(f"N9 M110 N9*{checksum('N9 M110 N9')}") == ["ok"]
    assert board.answer(f"N10 M400*{checksum('N10 M400')}") == ["ok"]


@pytest.mark.parametrize(
    ("dialect", "unhomed", "too_far"),
    [
        ("marlin-two-carriages", "echo:Home X First", None),
        ("reprapfirmware-two-carriages", "Error: G0: insufficient axes homed", None),
        ("klipper-endstop", "!! Must home axis first: ", "!! Move out of range: 999.000"),
    ],
)
def test_each_firmware_words_its_refusals(dialect: str, unhomed: str, too_far: str | None) -> None:
    made = parse_profile(
        {
            "schema": 1,
            "name": "Test",
            "layout": "independent-carriages",
            "dialect": dialect,
            "homes_between_tools": True,
            "tools": [{"number": 0}, {"number": 1, "stored_raw": [200.0, 0, 0]}],
        }
    )
    board = Interpreter(make_world(made, seed=1).controller)
    far = board.answer("G0 X999")
    assert far == (["ok"] if too_far is None else [too_far, "ok"])
    board.answer("T1")
    refusal = board.answer("G0 X5")
    assert refusal[0].startswith(unhomed)
    assert refusal[-1] == "ok"


def test_relative_moves_add_up_and_feed_is_in_millimetres_a_minute() -> None:
    board = talk()
    board.answer("G91")
    board.answer("G0 X0.5 F600")
    board.answer("G1 X0.5 Y-1")
    board.answer("G90")
    assert board.answer("M114")[0].startswith("X:151.00 Y:99.00 Z:5.00 ")


def test_a_full_queue_keeps_the_next_move_waiting() -> None:
    world = make_world(profile("marlin"), seed=1)
    board = Interpreter(world.controller)
    for step in range(100):
        assert board.answer(f"G0 X{100 + step % 2}") == ["ok"]
    board.answer("M400")
    done_s = world.clock.now_s()
    assert done_s > 10.0
    # While it ran, the head was on the way all the time and never leapt.
    places = [world.controller.tip(done_s - 2.0 + 0.01 * k).at_mm.x for k in range(200)]
    steps = [abs(after - before) for before, after in pairwise(places)]
    assert max(steps) < 0.15


def test_klipper_shows_the_coordinate_and_moves_the_carriage() -> None:
    """Read off the running program: after the offset, X150 Y100 puts it at 150.34, 99.88."""
    world = make_world(profile("klipper-macro"), seed=1)
    board = Interpreter(world.controller)
    board.answer("SET_GCODE_OFFSET X=0.340 Y=-0.120")
    board.answer("G0 X150 Y100 Z5")
    assert board.answer("M114") == ["X:150.000 Y:100.000 Z:5.000 E:0.000", "ok"]
    assert world.controller.carriage()[:2] == pytest.approx((150.34, 99.88))
    assert board.answer("NONSENSE") == ['// Unknown command:"NONSENSE"', "ok"]


def test_reprapfirmware_shows_user_and_machine_coordinates() -> None:
    board = talk("reprapfirmware")
    board.answer("T1")
    board.answer("G10 P1 X-0.340 Y0.120")
    board.answer("G0 X150 Y100 Z5")
    reply = board.answer("M114")[0]
    assert reply.startswith("X:150.000 Y:100.000 Z:5.000 E:0.000 E0:0.0 Count 12027 7990 2000")
    assert reply.endswith("Machine 150.340 99.880 5.000 Bed comp 0.000")
    assert board.answer("G10 P1")[0].startswith("Tool 1: offsets X-0.340 Y0.120 Z0.000")


def test_smoothieware_answers_on_the_ok_line() -> None:
    board = talk("smoothieware")
    assert board.answer("M114") == ["ok C: X:150.0000 Y:100.0000 Z:5.0000 E:0.0000"]


def test_after_an_emergency_marlin_is_deaf_and_klipper_says_why() -> None:
    board = talk()
    assert board.answer("M112") == [
        "echo:M112 Shutdown",
        "Error:Printer halted. kill() called!",
    ]
    assert board.answer("M114") == []
    board = talk("klipper-macro")
    assert board.answer("M112")[-1] == "ok"
    assert board.answer("G0 X1") == ["!! Shutdown due to M112 command", "ok"]
    assert board.answer("FIRMWARE_RESTART") == ["ok"]
    assert board.answer("G0 X1")[0].startswith("!! Must home axis first")


@pytest.mark.parametrize("dialect", sorted(RULES))
def test_each_firmware_says_who_it_is_and_that_its_heaters_are_off(dialect: str) -> None:
    board = talk(dialect)
    names = {"klipper": "Klipper", "reprap": "RepRapFirmware", "smooth": "Smoothieware"}
    name = next((name for key, name in names.items() if dialect.startswith(key)), "Marlin")
    identity = " ".join(board.answer("M115"))
    assert f"FIRMWARE_NAME:{name}" in identity.replace("NAME: ", "NAME:")
    assert "/0.0" in board.answer("M105")[0]


def test_comments_and_blank_lines_are_nothing() -> None:
    assert parse_line("  ; only a comment") is None
    board = talk()
    assert board.answer("") == []
    assert board.answer("; hello") == []
    assert talk("klipper-macro").answer("") == ["ok"]


WORDS = st.sampled_from(
    [
        "G0",
        "G1",
        "G28",
        "T",
        "T1",
        "M114",
        "M218",
        "G10",
        "M211",
        "N3",
        "SET_GCODE_OFFSET",
        "SAVE_VARIABLE",
        "X",
        "X=",
        "X1",
        "Y-",
        "P",
        "L1",
        "U.5",
        "*",
        ";",
        "(",
        "F0",
        "M410",
    ]
)


@pytest.mark.parametrize("dialect", sorted(RULES))
@settings(max_examples=60, deadline=None)
@given(
    lines=st.lists(
        st.one_of(st.text(max_size=40), st.lists(WORDS, max_size=6).map(" ".join)), max_size=6
    )
)
def test_no_line_breaks_the_conversation(dialect: str, lines: list[str]) -> None:
    board = talk(dialect)
    for line in lines:
        for reply in board.answer(line):
            assert isinstance(reply, str)
            assert "\n" not in reply.rstrip("\r\n") or "\n" in line


@pytest.mark.parametrize("number", ["9" * 400, "-" + "9" * 400, "1e5", "nan", ".", "-"])
@pytest.mark.parametrize("dialect", ["marlin", "smoothieware", "klipper-macro"])
def test_a_number_that_is_none_moves_nothing_far(dialect: str, number: str) -> None:
    board = talk(dialect)
    board.answer(f"G0 X{number}")
    board.answer(f"SET_GCODE_OFFSET X={number}")
    board.answer("M400")
