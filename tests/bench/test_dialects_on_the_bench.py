"""Each dialect's text on each firmware of the bench: one point for all nozzles.

The two sides share no code: the bench reads the text as the firmware would.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.bench import BenchMachine, World, make_world
from app.bench.axes import Mm3
from app.bench.firmware import RULES
from app.dialects import DIALECTS
from app.dialects.values import NozzleVectorMm, OffsetMm
from app.job.profile import Profile, parse_profile

TOLD = Mm3(150.0, 100.0, 30.0)
TWO_CARRIAGES = {"marlin-two-carriages", "reprapfirmware-two-carriages", "klipper-endstop"}


def profile(dialect: str, old: tuple[float, float, float]) -> Profile:
    two = dialect in TWO_CARRIAGES
    x = 300.0 + old[0] if dialect in {"marlin-two-carriages", "klipper-endstop"} else old[0]
    z = 0.0 if dialect == "slicer" else old[2]
    return parse_profile(
        {
            "schema": 1,
            "name": "Test",
            "layout": "independent-carriages" if two else "tool-changer",
            "dialect": dialect,
            "homes_between_tools": two,
            "tools": [{"number": 0}, {"number": 1, "stored_raw": [x, old[1], z]}],
            "travel_mm": {"x": [0, 400], "y": [0, 300], "z": [0, 200]},
        }
    )


def nozzle_told_to(world: World, tool: int) -> Mm3:
    """Say one point of a print to a tool; return where its nozzle is sent."""
    board = world.controller
    board.select(tool)
    if world.profile.homes_between_tools:
        board.home()
    return board.firmware.carriage_for_print(TOLD).plus(world.truth.nozzles_mm[tool])


def test_the_bench_knows_every_dialect() -> None:
    assert set(RULES) == set(DIALECTS)


@pytest.mark.parametrize("name", sorted(DIALECTS))
def test_both_sides_agree_what_the_display_contains(name: str) -> None:
    made = profile(name, (0.3, -0.2, 0.1))
    firmware = make_world(made, seed=1).controller.firmware
    for tool in made.tools:
        assert firmware.in_display(tool.number) == pytest.approx(
            DIALECTS[name].in_display_mm(tool.stored_raw)
        )


@pytest.mark.parametrize("name", sorted(DIALECTS))
@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 1000),
    old=st.tuples(st.floats(-2.0, 2.0), st.floats(-2.0, 2.0), st.floats(-0.4, 0.4)),
)
def test_after_pasting_all_nozzles_go_to_one_point(
    name: str, seed: int, old: tuple[float, float, float]
) -> None:
    made = profile(name, (round(old[0], 3), round(old[1], 3), round(old[2], 3)))
    world = make_world(made, seed=seed)
    dialect = DIALECTS[name]
    stored = {tool.number: OffsetMm(*tool.stored_raw) for tool in made.tools}
    vectors = {tool: NozzleVectorMm(*vector) for tool, vector in world.true_vectors_mm().items()}
    new = dialect.new_stored(vectors=vectors, stored_raw=stored, reference_tool=0)
    text = dialect.text(new=new, stored_raw=stored, reference_tool=0, z_measured=True)
    BenchMachine(world).paste(settings=text.settings, moves=text.moves)
    apart = nozzle_told_to(world, 1).minus(nozzle_told_to(world, 0))
    # Three decimals in the text.
    assert apart[:2] == pytest.approx((0.0, 0.0), abs=0.0006)
    if "z" in dialect.axes:
        assert apart.z == pytest.approx(0.0, abs=0.0006)
