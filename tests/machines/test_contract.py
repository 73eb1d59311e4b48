"""What every `Machine` does, whatever hangs behind it."""

from __future__ import annotations

import pytest

from app.bench import World
from app.errors import MachineError
from app.job.interfaces import Machine


def test_it_has_a_name(machine: Machine, world: World) -> None:
    assert world.profile.name in machine.name


def test_it_goes_where_it_is_told_and_shows_it(machine: Machine, world: World) -> None:
    step = world.profile.display_step_mm
    before = machine.shown()
    machine.move_to(x=100.3, y=90.7, z=None)
    after = machine.shown()
    assert after == pytest.approx((100.3, 90.7, before.z), abs=step)


def test_an_axis_that_is_not_named_stays(machine: Machine) -> None:
    before = machine.shown()
    machine.move_to(x=None, y=None, z=60.0)
    assert machine.shown() == pytest.approx((before.x, before.y, 60.0))
    machine.move_to(x=None, y=None, z=None)
    assert machine.shown() == pytest.approx((before.x, before.y, 60.0))


def test_when_a_move_returns_its_motion_has_ended(machine: Machine, world: World) -> None:
    machine.move_to(x=60.0, y=60.0, z=None)
    at_once = world.controller.tip(world.clock.now_s() + 0.5).at_mm
    later = world.controller.tip(world.clock.now_s() + 60.0).at_mm
    # What still moves is ringing that dies away.
    assert at_once == pytest.approx(later, abs=0.02)


def test_homing_lifts_clear_of_the_camera(machine: Machine, world: World) -> None:
    machine.home()
    shown = machine.shown()
    assert shown.z is not None
    assert shown.z > world.truth.eye.focus_z_mm + 10.0
    assert world.knocks == 0


def test_a_tool_is_taken_and_given_back(machine: Machine, world: World) -> None:
    machine.select_tool(1)
    assert world.controller.active == 1
    machine.home()
    machine.move_to(x=100.0, y=100.0, z=None)
    assert machine.shown()[:2] == pytest.approx((100.0, 100.0))
    machine.select_tool(0)
    assert world.controller.active == 0


@pytest.mark.parametrize("machine_name", ["heron", "plover", "avocet", "sandpiper"], indirect=True)
def test_every_machine_of_the_bench_brings_its_second_tool_to_the_camera(
    machine: Machine, world: World
) -> None:
    start = machine.shown()
    assert start.z is not None
    machine.move_to(x=None, y=None, z=start.z + 30.0)
    machine.select_tool(1)
    if world.profile.homes_between_tools:
        machine.home()
    machine.move_to(x=start.x, y=start.y, z=None)
    machine.move_to(x=None, y=None, z=start.z)
    tip = world.controller.tip(world.clock.now_s() + 10.0)
    assert tip.tool == 1
    assert tip.at_mm[:2] == pytest.approx(world.truth.eye.at_mm, abs=1.5)
    assert world.knocks == 0


def test_a_tool_that_is_not_there_is_refused(machine: Machine, world: World) -> None:
    with pytest.raises(MachineError):
        machine.select_tool(9)
    assert world.controller.active == 0


def test_a_move_beyond_the_travel_is_an_error(machine: Machine) -> None:
    with pytest.raises(MachineError):
        machine.move_to(x=999.0, y=None, z=None)


def test_a_machine_that_was_halted_raises(machine: Machine, world: World) -> None:
    world.controller.halt()
    with pytest.raises(MachineError):
        machine.home()


def test_after_closing_nothing_works_and_a_second_close_does_nothing(machine: Machine) -> None:
    machine.close()
    machine.close()
    with pytest.raises(MachineError, match="closed"):
        machine.shown()
    with pytest.raises(MachineError, match="closed"):
        machine.move_to(x=1.0, y=None, z=None)
