"""Jogs end from the wanted side, in whole steps of the display."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.job.facts import Approach, Position
from app.job.jogs import approach_between, decimals_of, plan_jog, rounded_step
from vision.geometry import PointMm

STEPS = st.floats(-3.0, 3.0, allow_nan=False)
DISPLAYS = st.sampled_from([0.1, 0.01, 0.001, 0.05])


def test_a_growing_jog_is_one_step() -> None:
    plan = plan_jog(PointMm(0.6, 0.3), display_step_mm=0.01, arrived=Approach(1, 1))
    assert plan.sentence(2) == "X +0.60; Y +0.30"


def test_a_falling_jog_is_asked_for_as_overshoot_and_return() -> None:
    plan = plan_jog(PointMm(-0.2, 0.0), display_step_mm=0.1, arrived=Approach(1, 1))
    assert plan.sentence(1) == "X -0.5, then +0.3"
    assert plan.approach == Approach(1, 1)


def test_an_axis_that_stands_but_came_from_the_wrong_side_goes_out_and_back() -> None:
    plan = plan_jog(PointMm(0.0, 0.0), display_step_mm=0.1, arrived=Approach(1, -1))
    assert plan.sentence(1) == "Y -0.3, then +0.3"


def test_the_sum_has_no_residue_of_binary_fractions() -> None:
    plan = plan_jog(PointMm(0.2, 0.1), display_step_mm=0.1, arrived=Approach(1, 1))
    assert plan.to(Position(150.1, 0.2, 5.0)) == Position(150.3, 0.3, 5.0)


@given(STEPS, STEPS, DISPLAYS, st.sampled_from([-1, 0, 1]), st.sampled_from([-1, 0, 1]))
def test_jogs_add_up_to_the_rounded_step_and_end_growing(
    x: float, y: float, display: float, came_x: int, came_y: int
) -> None:
    plan = plan_jog(PointMm(x, y), display_step_mm=display, arrived=Approach(came_x, came_y))
    for axis, asked in (("X", x), ("Y", y)):
        steps = [jog.step_mm for jog in plan.jogs if jog.axis == axis]
        assert sum(steps) == pytest.approx(asked, abs=display / 2 + 1e-9)
        assert not steps or steps[-1] > 0
        assert all(abs(step / display - round(step / display)) < 1e-6 for step in steps)
    assert plan.approach == Approach(1, 1)


@pytest.mark.parametrize(("step", "shown"), [(0.1, 1), (0.01, 2), (0.001, 3), (1.0, 0), (0.05, 2)])
def test_decimals_follow_the_display(step: float, shown: int) -> None:
    assert decimals_of(step) == shown


def test_rounding_to_the_display() -> None:
    assert rounded_step(0.25000001, 0.1) == 0.3
    assert rounded_step(-0.34, 0.1) == -0.3


def test_approach_follows_the_motion_and_stays_where_nothing_moved() -> None:
    here, there = Position(1.0, 2.0), Position(0.5, 2.0)
    assert approach_between(here, there, Approach(1, 1)) == Approach(-1, 1)
