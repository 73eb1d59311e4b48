"""Positions that cannot be, and runs by jogs alone."""

from __future__ import annotations

import math

import pytest

from app.dialects.values import Layout, OffsetMm
from app.job.facts import Approach, Fact, Position, PositionMode, Purpose, Sighted
from app.job.jogs import Jog, after_jogs
from app.job.places import mode_problem, position_problem
from app.job.profile import Profile, Tool
from app.job.sheet import SightScale, Step, sentence
from app.job.snapshot import snapshot_of
from tests.job.conftest import PaperMachine, make_profile, run_of
from tests.job.test_sheet import Person

TRAVEL = ((0.0, 300.0), (0.0, 300.0), (0.0, 250.0))


def test_a_position_inside_the_travel_is_believed() -> None:
    profile = make_profile(travel_mm=TRAVEL)
    assert position_problem(profile, Position(150.34, 99.88, 5.0)) is None
    assert position_problem(profile, Position(-0.34, 300.1, None)) is None
    assert position_problem(make_profile(), Position(1503.4, 99.88)) is None


@pytest.mark.parametrize(
    ("position", "says"),
    [
        (Position(1503.4, 99.88), "X 1503.40 lies outside the travel of Plover (0 to 300)"),
        (Position(150.34, -99.88), "Y -99.88 lies outside"),
        (Position(150.34, 99.88, 500.0), "Z 500.00 lies outside"),
        (Position(math.nan, 99.88), "X nan cannot be"),
        (Position(150.0, 1e9), "Y 1e+09 cannot be"),
    ],
)
def test_a_position_outside_is_named(position: Position, says: str) -> None:
    problem = position_problem(make_profile(travel_mm=TRAVEL), position)
    assert problem is not None
    assert says in problem


def test_jogs_add_up_and_tell_the_side() -> None:
    place, approach = after_jogs(
        Position(0.0, 0.0),
        [Jog(axis="X", step_mm=-0.5), Jog(axis="X", step_mm=0.3), Jog(axis="Y", step_mm=-0.1)],
        Approach(1, 1),
    )
    assert place == Position(-0.2, -0.1)
    assert approach == Approach(1, -1)


@pytest.mark.parametrize(
    ("profile", "says"),
    [
        (make_profile(homes_between_tools=True), "homes between"),
        (make_profile(layout=Layout.INDEPENDENT_CARRIAGES), "coordinate of its own"),
    ],
)
def test_jogs_alone_are_refused_where_they_cannot_tell(profile: Profile, says: str) -> None:
    problem = mode_problem(profile, PositionMode.JOGS_ONLY)
    assert problem is not None
    assert says in problem


def test_a_panel_without_coordinates_needs_jogs_only() -> None:
    blind = make_profile(shows_coordinates=False)
    assert mode_problem(blind, PositionMode.SHOWN) is not None
    assert mode_problem(blind, PositionMode.JOGS_ONLY) is None
    assert mode_problem(make_profile(), PositionMode.SHOWN) is None


def test_a_run_by_jogs_alone_finds_the_offsets() -> None:
    """Nobody reads a display: places are sums of jogs from the start at (0, 0)."""
    profile = make_profile(
        layout=Layout.FIXED_NOZZLES,
        dialect="marlin",
        shows_coordinates=False,
        tools=(Tool(number=0), Tool(number=1, stored_raw=OffsetMm(17.9, 0.1, 0.0))),
    )
    paper = PaperMachine(
        profile=profile,
        vectors_mm={0: (0.0, 0.0), 1: (18.05, -0.07)},
        origin_mm=(0.0, 0.0),
        mode=PositionMode.JOGS_ONLY,
    )
    person = JogsOnly(paper)
    person.go_on()
    run = run_of(*person.facts)
    solution = snapshot_of(run).solution
    assert solution is not None
    found = solution.tool(1).vector_mm
    assert (found.x, found.y) == pytest.approx((18.05, -0.07), abs=1e-6)
    assert found.z is None
    asked = [sentence(step, run) for step in person.asked if isinstance(step, SightScale)]
    assert "read" not in asked[0]


class JogsOnly(Person):
    """Does the jogs as they are asked for, and reads no display."""

    def do(self, step: Step) -> list[Fact]:
        if not isinstance(step, SightScale):
            return super().do(step)
        place = Position(0.0, 0.0)
        if step.plan is not None:
            last = self.facts[-1]
            assert isinstance(last, Sighted)
            place, _ = after_jogs(last.position, step.plan.jogs, last.approach)
        return [self.sight(step.tool, place, Purpose.SCALE)]
