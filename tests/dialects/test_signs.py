"""Each firmware's sign, by a worked example: stored values, canonical d, references.

The worked example throughout: each nozzle stands over one and the same point when
its carriage is at P0 = (150.000, 100.000, 1.000) and P1 = (150.340, 99.880, 1.050).
"""

from __future__ import annotations

import math

import pytest

from app.dialects import DIALECTS
from app.dialects.values import NozzleVectorMm, OffsetMm

N1 = NozzleVectorMm(-0.340, 0.120, -0.050)
"""P0 - P1."""

# dialect, T1's old value, new value, and the source of the transform
FIRST_TIME = [
    # Marlin source, Marlin/src/module/tool_change.cpp, tool_change()
    ("marlin", (0, 0, 0), (-0.340, 0.120, -0.050)),
    # Marlin source, Marlin/src/module/motion.cpp, x_home_pos()
    ("marlin-two-carriages", (353.000, 0, 0), (352.660, 0.120, -0.050)),
    # RepRapFirmware source, src/GCodes/GCodes.cpp, ToolOffsetTransform
    ("reprapfirmware", (0, 0, 0), (-0.340, 0.120, -0.050)),
    # the same, for a tool whose X is mapped to U: X here is what is stored under U
    ("reprapfirmware-two-carriages", (0, 0, 0), (-0.340, 0.120, -0.050)),
    # Klipper source, klippy/extras/gcode_move.py, cmd_SET_GCODE_OFFSET and cmd_G1
    ("klipper-macro", (0, 0, 0), (0.340, -0.120, 0.050)),
    ("klipper-saved-variables", (0, 0, 0), (0.340, -0.120, 0.050)),
    # Klipper source, config/sample-idex.cfg and klippy/kinematics/idex_modes.py
    ("klipper-endstop", (300.000, 0, 0), (299.660, -0.120, 0.050)),
    # Smoothieware source, src/modules/robot/Robot.cpp, wcs2mcs
    ("smoothieware", (0, 0, 0), (0.340, -0.120, 0.050)),
    # PrusaSlicer source, src/libslic3r/GCode.cpp; CuraEngine source, src/gcodeExport.cpp
    ("slicer", (0, 0, 0), (-0.340, 0.120, 0)),
]

# dialect, T1's value in force, its canonical d, where the display stood with each
# nozzle over the point, and the new value. With the old value active T1 had to be
# jogged by (+0.050, -0.020) more, to the carriage place (150.390, 99.860).
SHOWN_1 = (150.050, 99.980)
SECOND_TIME = [
    ("marlin", (-0.340, 0.120, 0), (-0.340, 0.120, 0), SHOWN_1, (-0.390, 0.140)),
    ("reprapfirmware", (-0.340, 0.120, 0), (-0.340, 0.120, 0), SHOWN_1, (-0.390, 0.140)),
    (
        "reprapfirmware-two-carriages",
        (-0.340, 0.120, 0),
        (-0.340, 0.120, 0),
        SHOWN_1,
        (-0.390, 0.140),
    ),
    # the frame itself was moved by the 0.340, so X contains nothing
    ("marlin-two-carriages", (352.660, 0.120, 0), (0, 0.120, 0), SHOWN_1, (352.610, 0.140)),
    ("klipper-macro", (0.340, -0.120, 0), (-0.340, 0.120, 0), SHOWN_1, (0.390, -0.140)),
    ("klipper-saved-variables", (0.340, -0.120, 0), (-0.340, 0.120, 0), SHOWN_1, (0.390, -0.140)),
    ("klipper-endstop", (299.660, -0.120, 0), (0, 0.120, 0), SHOWN_1, (299.610, -0.140)),
    ("smoothieware", (0.340, -0.120, 0), (-0.340, 0.120, 0), SHOWN_1, (0.390, -0.140)),
    # the printer knows nothing of a slicer's offset: it shows the carriage itself
    ("slicer", (-0.340, 0.120, 0), (0, 0, 0), (150.390, 99.860), (-0.390, 0.140)),
]


@pytest.mark.parametrize(("name", "old", "expected"), FIRST_TIME)
def test_a_first_measurement_gives_the_worked_value(
    name: str, old: tuple[float, float, float], expected: tuple[float, float, float]
) -> None:
    new = DIALECTS[name].new_stored(
        vectors={0: NozzleVectorMm(0.0, 0.0, 0.0), 1: N1},
        stored_raw={0: OffsetMm(), 1: OffsetMm(*old)},
        reference_tool=0,
    )
    assert new[1] == pytest.approx(expected, abs=1e-9)
    assert new[0] == OffsetMm(0.0, 0.0, 0.0)


@pytest.mark.parametrize(("name", "old", "d", "shown", "expected"), SECOND_TIME)
def test_a_second_measurement_refines_the_value_in_force(
    name: str,
    old: tuple[float, float, float],
    d: tuple[float, float, float],
    shown: tuple[float, float],
    expected: tuple[float, float],
) -> None:
    dialect = DIALECTS[name]
    contained = dialect.in_display_mm(OffsetMm(*old))
    assert contained == pytest.approx(d, abs=1e-12)
    vector = NozzleVectorMm(150.0 - (shown[0] - contained.x), 100.0 - (shown[1] - contained.y))
    new = dialect.new_stored(vectors={1: vector}, stored_raw={1: OffsetMm(*old)}, reference_tool=0)
    assert new[1][:2] == pytest.approx(expected, abs=1e-9)


def test_every_dialect_has_its_rows() -> None:
    assert [name for name, *_ in FIRST_TIME] == list(DIALECTS)
    assert {name for name, *_ in SECOND_TIME} == set(DIALECTS)


def test_in_display_never_holds_a_negative_zero() -> None:
    for dialect in DIALECTS.values():
        assert all(math.copysign(1.0, part) == 1.0 for part in dialect.in_display_mm(OffsetMm()))


def test_a_reference_with_an_offset_of_its_own_keeps_it() -> None:
    stored = {0: OffsetMm(1.0, 2.0, 0.5), 1: OffsetMm(7.0, 7.0, 7.0)}
    vectors = {0: NozzleVectorMm(0.0, 0.0, 0.0), 1: N1}

    def new(name: str) -> dict[int, OffsetMm]:
        return DIALECTS[name].new_stored(vectors=vectors, stored_raw=stored, reference_tool=0)

    assert new("reprapfirmware")[0] == stored[0]
    assert new("reprapfirmware")[1] == pytest.approx((0.660, 2.120, 0.450))
    assert new("klipper-macro")[0] == stored[0]
    assert new("klipper-macro")[1] == pytest.approx((1.340, 1.880, 0.550))
    assert new("smoothieware")[1] == pytest.approx((1.340, 1.880, 0.550))
    assert new("slicer")[1] == pytest.approx((0.660, 2.120, 7.0))


# Seen from T1 as the reference: T0 at -N1, T2 0.2 further in X than T1.
FROM_T1 = {
    0: NozzleVectorMm(0.340, -0.120, 0.050),
    1: NozzleVectorMm(0.0, 0.0, 0.0),
    2: NozzleVectorMm(0.2, 0.0, 0.0),
}


def test_marlin_counts_from_t0_whatever_the_reference() -> None:
    new = DIALECTS["marlin"].new_stored(
        vectors=FROM_T1, stored_raw={1: OffsetMm(5.0, 5.0, 5.0)}, reference_tool=1
    )
    assert new[0] == OffsetMm(0.0, 0.0, 0.0)
    assert new[1] == pytest.approx((-0.340, 0.120, -0.050))
    assert new[2] == pytest.approx((-0.140, 0.120, -0.050))


def test_marlin_keeps_the_reference_where_t0_was_not_measured() -> None:
    new = DIALECTS["marlin"].new_stored(
        vectors={2: FROM_T1[2]},
        stored_raw={0: OffsetMm(), 1: OffsetMm(5.0, 5.0, 5.0)},
        reference_tool=1,
    )
    assert new == {0: OffsetMm(), 1: OffsetMm(5.0, 5.0, 5.0), 2: pytest.approx((5.2, 5.0, 5.0))}


def test_other_firmwares_leave_a_reference_other_than_t0_alone() -> None:
    stored = {0: OffsetMm(), 1: OffsetMm(5.0, 5.0, 5.0), 2: OffsetMm()}
    rrf = DIALECTS["reprapfirmware"].new_stored(
        vectors=FROM_T1, stored_raw=stored, reference_tool=1
    )
    klipper = DIALECTS["klipper-macro"].new_stored(
        vectors=FROM_T1, stored_raw=stored, reference_tool=1
    )
    assert rrf[1] == klipper[1] == stored[1]
    assert rrf[0] == pytest.approx((5.340, 4.880, 5.050))
    assert klipper[0] == pytest.approx((4.660, 5.120, 4.950))


@pytest.mark.parametrize(
    ("name", "t0", "t1"),
    [
        ("marlin-two-carriages", (0, 0, 0), (352.660, 0.120, -0.050)),
        # only the second carriage's endstop is told; Y and Z stay at the reference, T1
        ("klipper-endstop", (0, 0.120, -0.050), (352.660, 0, 0)),
    ],
)
def test_a_home_coordinate_changes_whichever_carriage_is_the_reference(
    name: str, t0: tuple[float, float, float], t1: tuple[float, float, float]
) -> None:
    new = DIALECTS[name].new_stored(
        vectors={0: FROM_T1[0], 1: FROM_T1[1]},
        stored_raw={0: OffsetMm(), 1: OffsetMm(353.0, 0.0, 0.0)},
        reference_tool=1,
    )
    assert new[0] == pytest.approx(t0)
    assert new[1] == pytest.approx(t1)


@pytest.mark.parametrize("name", DIALECTS)
def test_an_unmeasured_height_stays(name: str) -> None:
    stored = {0: OffsetMm(0.0, 0.0, 0.0), 1: OffsetMm(300.0, 0.1, 0.7)}
    new = DIALECTS[name].new_stored(
        vectors={1: NozzleVectorMm(-0.340, 0.120)}, stored_raw=stored, reference_tool=0
    )
    assert new[1].z == 0.7
    assert new[1].y != 0.1


@pytest.mark.parametrize("name", DIALECTS)
def test_an_unmeasured_tool_stays(name: str) -> None:
    stored = {0: OffsetMm(), 1: OffsetMm(300.0, 0.1, 0.0), 2: OffsetMm(0.3, 0.2, 0.1)}
    new = DIALECTS[name].new_stored(vectors={1: N1}, stored_raw=stored, reference_tool=0)
    assert new[2] == stored[2]


@pytest.mark.parametrize(
    "vectors", [{1: NozzleVectorMm(math.nan, 0.0)}, {0: NozzleVectorMm(0.1, 0.0)}]
)
def test_vectors_that_make_no_sense_are_the_callers_mistake(
    vectors: dict[int, NozzleVectorMm],
) -> None:
    with pytest.raises(ValueError, match=r"vectors\["):
        DIALECTS["marlin"].new_stored(vectors=vectors, stored_raw={}, reference_tool=0)
