from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

import pytest

from app.bench import BenchMachine, RealClock, bench_profile, make_world
from app.ui.handset import HandsetDriver
from app.ui.handset.words import Readout
from tests.ui.handset.machines import GatedMachine, bench


class Listener:
    def __init__(self) -> None:
        self._changed = threading.Condition()
        self.readouts: list[Readout] = []
        self.threads: set[str] = set()

    def __call__(self, readout: Readout) -> None:
        with self._changed:
            self.readouts.append(readout)
            self.threads.add(threading.current_thread().name)
            self._changed.notify_all()

    def wait(self, until: Callable[[Readout], bool]) -> Readout:
        with self._changed:
            assert self._changed.wait_for(
                lambda: bool(self.readouts) and until(self.readouts[-1]), 5.0
            ), self.readouts[-3:]
            return self.readouts[-1]


@pytest.fixture
def gated() -> Iterator[tuple[GatedMachine, HandsetDriver, Listener]]:
    machine, listener = GatedMachine(), Listener()
    driver = HandsetDriver(machine, listener)
    yield machine, driver, listener
    machine.go.set()
    driver.close()


def at(x: float, y: float = 50.0, z: float = 20.0) -> Callable[[Readout], bool]:
    return lambda readout: readout.position_mm == (x, y, z)


def test_detents_that_have_not_begun_become_one_move(
    gated: tuple[GatedMachine, HandsetDriver, Listener],
) -> None:
    machine, driver, listener = gated
    driver.jog("x", 1, 0.1)
    assert machine.begun.wait(5.0)
    for _ in range(8):
        driver.jog("x", 1, 0.1)
    machine.go.set()
    listener.wait(at(100.9))
    assert machine.moves == [{"x": 100.1}, {"x": 100.9}]


def test_an_overshoot_and_its_return_stay_two_moves(
    gated: tuple[GatedMachine, HandsetDriver, Listener],
) -> None:
    machine, driver, listener = gated
    driver.jog("y", 1, 1.0)
    assert machine.begun.wait(5.0)
    for detents in [-1] * 9 + [1] * 3:
        driver.jog("x", detents, 0.1)
    machine.go.set()
    listener.wait(at(99.4, 51.0))
    assert machine.moves == [{"y": 51.0}, {"x": 99.1}, {"x": 99.4}]


def test_a_refused_move_drops_what_stood_behind_it_and_says_why(
    gated: tuple[GatedMachine, HandsetDriver, Listener],
) -> None:
    machine, driver, listener = gated
    machine.refuse = "The move would leave the machine's travel."
    driver.jog("x", 5, 1.0)
    assert machine.begun.wait(5.0)
    driver.jog("y", 5, 1.0)
    driver.take(1)
    machine.go.set()
    refused = listener.wait(lambda readout: bool(readout.fault))
    assert refused.fault == "The move would leave the machine's travel."
    assert (machine.moves, machine.others) == ([], [])
    machine.refuse = ""
    driver.jog("y", 1, 0.1)
    assert listener.wait(at(100.0, 50.1)).fault == ""


def test_homing_lifts_first_and_back_returns_with_z_last(
    gated: tuple[GatedMachine, HandsetDriver, Listener],
) -> None:
    machine, driver, listener = gated
    machine.go.set()
    driver.home()
    driver.jog("x", 3, 10.0)
    listener.wait(at(130.0, 50.0, 50.0))
    driver.go_back()
    listener.wait(at(100.0))
    assert machine.others == ["home"]
    assert machine.moves == [{"z": 50.0}, {"x": 130.0}, {"x": 100.0, "y": 50.0}, {"z": 20.0}]


def test_without_a_homing_there_is_no_place_to_go_back_to(
    gated: tuple[GatedMachine, HandsetDriver, Listener],
) -> None:
    _machine, driver, listener = gated
    driver.go_back()
    assert "home the machine first" in listener.wait(lambda r: bool(r.fault)).fault


def test_all_is_told_from_the_thread_named_handset_which_also_closes_the_machine() -> None:
    machine, listener = GatedMachine(), Listener()
    driver = HandsetDriver(machine, listener)
    listener.wait(at(100.0))
    driver.close()
    driver.close()
    assert listener.threads == {"handset"}
    assert machine.closed_by == "handset"


def test_a_fault_of_the_program_is_shown_and_ends_the_thread(
    caplog: pytest.LogCaptureFixture,
) -> None:
    class Broken(GatedMachine):
        def select_tool(self, tool: int) -> None:
            raise RuntimeError("broken")

    machine, listener = Broken(), Listener()
    driver = HandsetDriver(machine, listener)
    driver.take(1)
    assert "The panel stopped (RuntimeError)" in listener.wait(lambda r: bool(r.fault)).fault
    driver.close()
    assert "the thread of the bench's panel stopped" in caplog.text


@pytest.mark.parametrize("axis", ["u", "X", ""])
def test_an_axis_that_is_none_is_the_callers_mistake(
    gated: tuple[GatedMachine, HandsetDriver, Listener], axis: str
) -> None:
    with pytest.raises(ValueError, match="axis has to be x, y or z"):
        gated[1].jog(axis, 1, 0.1)


def test_a_parked_carriage_of_heron_wants_homing_and_then_goes_back_to_the_camera() -> None:
    world, machine, _profile = bench("heron")
    listener = Listener()
    driver = HandsetDriver(machine, listener)
    start = listener.wait(lambda r: r.homed)
    driver.take(1)
    listener.wait(lambda r: r.tool == 1 and not r.homed and not r.doing)
    driver.jog("x", -1, 0.1)
    assert "home it first" in listener.wait(lambda r: bool(r.fault)).fault
    driver.take(0)
    driver.home()
    driver.take(1)
    driver.home()
    assert listener.wait(lambda r: r.tool == 1 and r.homed and not r.doing).fault == ""
    driver.close()
    assert start.position_mm is not None
    assert world.knocks == 0


def test_closing_the_world_ends_a_tool_change_at_once() -> None:
    world, machine, _profile = bench("plover")
    listener = Listener()
    driver = HandsetDriver(machine, listener)
    driver.take(3)
    listener.wait(lambda r: r.doing == "taking T3 ...")
    world.close()
    driver.close()
    assert all(thread.name != "handset" for thread in threading.enumerate())


def test_back_leads_to_where_the_person_had_put_the_other_carriage() -> None:
    # Heron's carriages lose their place when the other one is taken, and each homes anew.
    world = make_world(bench_profile("heron"), seed=3, clock=RealClock(speed=50.0))
    listener = Listener()
    driver = HandsetDriver(BenchMachine(world), listener)
    try:
        start = listener.wait(lambda readout: readout.homed)
        for tool in (1, 0):
            driver.take(tool)
            driver.home()
            driver.go_back()
            there = listener.wait(back(tool, start))
            assert there.homed
        assert world.knocks == 0
    finally:
        world.close()
        driver.close()


def back(tool: int, start: Readout) -> Callable[[Readout], bool]:
    return lambda readout: readout.tool == tool and readout.position_mm == start.position_mm
