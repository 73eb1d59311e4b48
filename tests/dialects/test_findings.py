"""Stored values that a firmware cannot have are named; names that do not exist, too."""

from __future__ import annotations

import math

import pytest

from app.dialects import DIALECTS, dialect_named
from app.dialects.values import OffsetMm
from app.errors import InputError


@pytest.mark.parametrize(
    ("name", "stored", "codes"),
    [
        ("marlin", {0: OffsetMm(0.1, 0.0, 0.0)}, [(0, "stored-first-tool")]),
        ("marlin", {0: OffsetMm(0.0, 0.0, -0.2)}, [(0, "stored-first-tool")]),
        ("marlin", {0: OffsetMm(), 1: OffsetMm(18.1, -0.05, 0.0)}, []),
        ("marlin-two-carriages", {1: OffsetMm(0.0, 0.1, 0.0)}, [(1, "stored-home-x")]),
        ("marlin-two-carriages", {1: OffsetMm(-1.0, 0.1, 0.0)}, [(1, "stored-home-x")]),
        ("marlin-two-carriages", {0: OffsetMm(), 1: OffsetMm(353.0, 0.1, 0.0)}, []),
        (
            "marlin-two-carriages",
            {1: OffsetMm(353.0, 0.0, 0.0), 2: OffsetMm()},
            [(2, "stored-tool-unknown")],
        ),
        ("klipper-endstop", {1: OffsetMm(0.0, 0.1, 0.0)}, [(1, "stored-home-x")]),
        ("klipper-endstop", {1: OffsetMm(-12.0, 0.1, 0.0)}, []),
        ("klipper-macro", {0: OffsetMm(1.0, 1.0, 1.0), 7: OffsetMm()}, []),
        ("reprapfirmware", {0: OffsetMm(1.0, 1.0, 1.0)}, []),
        ("smoothieware", {0: OffsetMm(1.0, 1.0, 1.0)}, []),
        ("slicer", {1: OffsetMm(1.0, 1.0, 0.1)}, [(1, "stored-axis-unknown")]),
        ("klipper-macro", {1: OffsetMm(math.nan, 0.0, 0.0)}, [(1, "stored-not-finite")]),
    ],
)
def test_findings_name_the_tool_and_the_fault(
    name: str, stored: dict[int, OffsetMm], codes: list[tuple[int, str]]
) -> None:
    found = DIALECTS[name].findings(stored)
    assert [(finding.tool, finding.code) for finding in found] == codes
    assert all(f"T{finding.tool}" in finding.message for finding in found)


def test_facts_that_others_need() -> None:
    assert [name for name in DIALECTS if not DIALECTS[name].can_store(0)] == [
        "marlin",
        "marlin-two-carriages",
    ]
    assert all(dialect.can_store(1) for dialect in DIALECTS.values())
    # Marlin source, Marlin/src/inc/Conditionals-5-post.h (SERIAL_FLOAT_PRECISION);
    # Smoothieware source, src/modules/robot/Robot.cpp (print_position)
    assert {name.split("-")[0]: dialect.decimals for name, dialect in DIALECTS.items()} == {
        "marlin": 2,
        "reprapfirmware": 3,
        "klipper": 3,
        "smoothieware": 4,
        "slicer": 3,
    }
    assert [name for name in DIALECTS if DIALECTS[name].is_home_coordinate(1, "x")] == [
        "marlin-two-carriages",
        "klipper-endstop",
    ]
    assert not DIALECTS["klipper-endstop"].is_home_coordinate(1, "y")
    assert not DIALECTS["klipper-endstop"].is_home_coordinate(0, "x")


def test_an_unknown_name_is_answered_with_the_known_ones() -> None:
    assert dialect_named("klipper-macro") is DIALECTS["klipper-macro"]
    with pytest.raises(InputError) as caught:
        dialect_named("klippr")
    assert caught.value.value == "klippr"
    assert all(name in caught.value.message for name in DIALECTS)
