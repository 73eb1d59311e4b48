"""The world's geometry and mechanics against computations of their own."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from app.bench import BenchMachine, VirtualClock, World, bench_profile, make_world
from app.bench.axes import Mm3
from app.bench.mechanics import Mechanics
from app.bench.noise import draw_scatter, draw_wander
from app.errors import InputError, MachineError
from tests.bench.quiet import quiet, quiet_world


def settle(world: World) -> float:
    """Let some seconds pass and return the time."""
    world.clock.wait_until(world.clock.now_s() + 5.0)
    return world.clock.now_s()


def bring(machine: BenchMachine, world: World, tool: int, x: float, y: float, z: float) -> None:
    machine.select_tool(tool)
    if world.profile.homes_between_tools:
        machine.home()
    machine.move_to(x=x, y=y, z=None)
    machine.move_to(x=None, y=None, z=z)


@pytest.mark.parametrize("name", ["heron", "plover", "avocet", "sandpiper"])
def test_the_nozzle_vector_follows_from_carriages_and_pictures(name: str) -> None:
    """n_i = (C_0 - C_i) + (e_i - e_0), e = M^-1 (p - p_target), all tips at one height.

    Without distortion and scatter this holds to the motors' steps.
    """
    profile = bench_profile(name)
    truth = quiet(make_world(profile, seed=11).truth)
    truth = replace(truth, eye=replace(truth.eye, distortion=0.0))
    world = World(profile, truth, VirtualClock())
    machine = BenchMachine(world)
    inverse = np.linalg.inv(truth.eye.matrix_px_per_mm)
    start, places, seen = machine.shown(), {}, {}
    for tool in profile.tools:
        assert start.z is not None
        height = start.z - truth.nozzles_mm[tool.number].z
        d = world.controller.firmware.in_display(tool.number)
        bring(machine, world, tool.number, start.x, start.y, height + d.z)
        shown = world.controller.position()
        places[tool.number] = np.array([shown.x - d.x, shown.y - d.y])
        seen[tool.number] = inverse @ world.glimpse(settle(world)).centre_px
    for number, vector in world.true_vectors_mm().items():
        found = (places[0] - places[number]) + (seen[number] - seen[0])
        assert found == pytest.approx(vector[:2], abs=1.5 * profile.motor_step_mm)
    assert world.knocks == 0


def test_a_nozzle_further_to_plus_x_is_seen_further_along_the_x_column() -> None:
    world = quiet_world(bench_profile("plover"), seed=5)
    machine = BenchMachine(world)
    before = world.glimpse(settle(world)).centre_px
    start = machine.shown()
    machine.move_to(x=start.x + 0.5, y=None, z=None)
    step = world.glimpse(settle(world)).centre_px - before
    column = world.truth.eye.matrix_px_per_mm[:, 0]
    assert step == pytest.approx(0.5 * column, abs=0.02 * float(np.hypot(*column)))


def test_tilt_shifts_the_picture_with_the_height() -> None:
    """dz tan(theta): 4 degrees and 0.5 mm are 35 um."""
    profile = bench_profile("plover")
    truth = quiet(make_world(profile, seed=5).truth)
    eye = replace(truth.eye, tilt_rad=math.radians(4.0), tilt_towards_rad=0.0, distortion=0.0)
    world = World(profile, replace(truth, eye=eye), VirtualClock())
    machine = BenchMachine(world)
    low = world.glimpse(settle(world)).centre_px
    z = machine.shown().z
    assert z is not None
    machine.move_to(x=None, y=None, z=z + 0.5)
    shift_mm = np.linalg.inv(eye.matrix_px_per_mm) @ (world.glimpse(settle(world)).centre_px - low)
    assert shift_mm == pytest.approx([0.5 * math.tan(math.radians(4.0)), 0.0], abs=2e-4)


def test_distortion_grows_with_the_cube_of_the_distance() -> None:
    profile = bench_profile("plover")
    truth = quiet(make_world(profile, seed=5).truth)
    world = World(profile, replace(truth, eye=replace(truth.eye, distortion=0.005)), VirtualClock())
    start = BenchMachine(world).shown()
    offsets = []
    for step in (0.4, 0.8):
        BenchMachine(world).move_to(x=round(truth.eye.at_mm[0], 3) + step, y=start.y, z=None)
        glimpse = world.glimpse(settle(world))
        far = math.hypot(*(glimpse.flat_centre_px - truth.eye.middle_px))
        off = math.hypot(*(glimpse.centre_px - glimpse.flat_centre_px))
        offsets.append(off / far**3)
    assert offsets[0] == pytest.approx(0.005 / 400.0**2, rel=1e-6)
    assert offsets[1] == pytest.approx(offsets[0], rel=1e-6)


@pytest.mark.parametrize("flipped", [False, True])
def test_only_a_flipped_picture_has_a_negative_determinant(flipped: bool) -> None:
    for seed in range(20):
        eye = make_world(bench_profile("heron"), seed=seed, flipped=flipped).truth.eye
        assert bool(np.linalg.det(eye.matrix_px_per_mm) < 0.0) is flipped
        assert math.degrees(eye.tilt_rad) <= 4.0


def test_the_truth_keeps_its_promises() -> None:
    for seed in range(20):
        profile = bench_profile("plover")
        truth = make_world(profile, seed=seed).truth
        heights = [vector.z for vector in truth.nozzles_mm.values()]
        assert max(heights) - min(heights) <= 0.5
        for tool in profile.tools:
            vector = truth.nozzles_mm[tool.number]
            assert abs(vector.x - tool.nominal_mm[0]) <= 1.0
            assert abs(vector.y - tool.nominal_mm[1]) <= 1.0
        assert truth.nozzles_mm[0] == Mm3()
        assert truth.plastic_on in {1, 2, 3, 4}


def test_true_vectors_are_seen_from_the_reference_tool() -> None:
    profile = replace(bench_profile("plover"), reference_tool=2)
    assert make_world(profile, seed=3).true_vectors_mm()[2] == (0.0, 0.0, 0.0)


def test_an_entered_home_coordinate_leaves_nothing_to_be_found() -> None:
    profile = bench_profile("heron")
    world = make_world(profile, seed=6)
    machine = BenchMachine(world)
    found = world.true_vectors_mm()[1][0]
    machine.paste(
        settings=f"M218 T1 X{353.0 + found:.3f}\nM500",
        moves="; before the settings\nT0\n; after the settings\nG28 X",
    )
    assert world.true_vectors_mm()[1][0] == pytest.approx(0.0, abs=0.001)


# -- mechanics ------------------------------------------------------------------


def mechanics(*, backlash_mm: float = 0.0, step_mm: float = 0.0125) -> Mechanics:
    play = quiet(make_world(bench_profile("plover"), seed=1).truth).play
    play = replace(play, backlash_mm=Mm3(backlash_mm, 0.0, 0.0))
    made = Mechanics(play, step_mm=step_mm, has_second_carriage=False, rng=np.random.default_rng(1))
    made.stand_at({"x": 0.0, "y": 0.0, "z": 0.0})
    return made


def go(made: Mechanics, x: float) -> float:
    made.travel({"x": x}, now_s=made.busy_until_s, speed_mm_per_s=50.0)
    return made.place("x", made.busy_until_s + 10.0).x


def test_motors_go_whole_steps() -> None:
    assert go(mechanics(), 1.0) == pytest.approx(1.0)
    assert go(mechanics(), 1.008) == pytest.approx(1.0125)
    assert go(mechanics(), 1.005) == pytest.approx(1.0)


def test_backlash_shows_only_where_the_direction_changes() -> None:
    made = mechanics(backlash_mm=0.02)
    rising = [go(made, x) for x in (1.0, 2.0, 1.5, 1.0, 2.0)]
    assert rising == pytest.approx([0.99, 1.99, 1.51, 1.01, 1.99])


def test_a_reversal_smaller_than_the_play_moves_nothing() -> None:
    made = mechanics(backlash_mm=0.05)
    up = go(made, 1.0)
    assert go(made, 1.0 - 0.025) == pytest.approx(up)


def test_steps_below_marlins_least_are_saved_up() -> None:
    """80 steps a millimetre: three jogs of 0.02 move nothing, the fourth all six steps."""
    world = quiet_world(bench_profile("avocet"), seed=2)
    start = world.controller.motor().x
    moved = []
    for jog in range(1, 5):
        world.controller.go({"x": start + 0.02 * jog})
        moved.append(round((world.controller.motor().x - start) / 0.0125))
    assert moved == [0, 0, 0, 6]


def test_a_load_is_on_its_way_while_the_move_runs() -> None:
    made = mechanics()
    made.travel({"x": 10.0}, now_s=0.0, speed_mm_per_s=50.0)
    half = made.place("x", made.busy_until_s / 2.0).x
    assert half == pytest.approx(5.0)


def test_stopping_leaves_the_load_where_it_was() -> None:
    made = mechanics()
    made.travel({"x": 10.0}, now_s=0.0, speed_mm_per_s=50.0)
    middle_s = made.busy_until_s / 2.0
    made.stop(middle_s)
    assert made.place("x", middle_s + 60.0).x == pytest.approx(5.0)
    assert made.busy_until_s == pytest.approx(middle_s)
    assert go(made, 6.0) == pytest.approx(6.0)


def test_ringing_dies_away() -> None:
    play = replace(make_world(bench_profile("plover"), seed=1).truth.play, scatter_mm=0.0)
    made = Mechanics(play, step_mm=0.0125, has_second_carriage=False, rng=np.random.default_rng(1))
    made.stand_at({"x": 0.0, "y": 0.0, "z": 0.0})
    made.travel({"x": 20.0}, now_s=0.0, speed_mm_per_s=100.0)
    end_s = made.busy_until_s
    rest = made.place("x", end_s + 10.0).x
    times = end_s + np.linspace(0.0, 0.1, 200)
    early = max(abs(made.place("x", float(t)).x - rest) for t in times)
    late = max(abs(made.place("x", float(t) + 1.0).x - rest) for t in times)
    assert early > 0.3 * play.ring_mm
    assert late < 1e-3 * play.ring_mm


def test_scatter_has_the_stated_spread_and_heavy_tails() -> None:
    rng = np.random.default_rng(3)
    draws = np.array([draw_scatter(rng, sigma=5.0) for _ in range(20_000)])
    assert draws.std() == pytest.approx(5.0, rel=0.03)
    # A Gaussian has the kurtosis 3; half uniform (1.8), half Laplace (6) is 3.9.
    assert np.mean(draws**4) / np.mean(draws**2) ** 2 > 3.5


def test_slow_scatter_remembers_its_past() -> None:
    wander = draw_wander(np.random.default_rng(3), sigma=5.0, periods_s=(90.0, 1500.0))
    values = np.array([wander.at(10.0 * k) for k in range(5000)])
    assert values.std() == pytest.approx(5.0, rel=0.15)
    assert np.corrcoef(values[:-1], values[1:])[0, 1] > 0.8


def test_picking_a_tool_up_again_lands_elsewhere_but_near() -> None:
    world = make_world(bench_profile("plover"), seed=9)
    machine = BenchMachine(world)
    places = []
    for _ in range(30):
        machine.select_tool(1)
        places.append(world.controller.tip(settle(world)).at_mm.x)
        machine.select_tool(0)
    spread_um = 1000.0 * float(np.std(places))
    assert 2.0 < spread_um < 8.0


# -- what the machine refuses, and what hits the camera ---------------------------


def test_a_second_carriage_that_homes_between_tools_must_home_first() -> None:
    machine = BenchMachine(make_world(bench_profile("heron"), seed=1))
    machine.select_tool(1)
    with pytest.raises(MachineError, match="does not know where X is"):
        machine.move_to(x=100.0, y=None, z=None)
    machine.home()
    machine.move_to(x=100.0, y=100.0, z=None)
    assert machine.shown()[:2] == (100.0, 100.0)


def test_a_silently_clamped_move_is_named() -> None:
    machine = BenchMachine(make_world(bench_profile("avocet"), seed=1))
    with pytest.raises(MachineError, match=r"X stopped at 230\.000 instead of 999\.000"):
        machine.move_to(x=999.0, y=None, z=None)


def test_klipper_refuses_a_move_out_of_range_and_stays() -> None:
    machine = BenchMachine(make_world(bench_profile("plover"), seed=1))
    before = machine.shown()
    with pytest.raises(MachineError, match="leave the machine's travel"):
        machine.move_to(x=999.0, y=None, z=None)
    assert machine.shown() == before


def test_an_unknown_tool_is_refused_with_those_there_are() -> None:
    machine = BenchMachine(make_world(bench_profile("avocet"), seed=1))
    with pytest.raises(MachineError, match="no tool 7; it has T0, T1"):
        machine.select_tool(7)


def test_homing_and_lifted_travel_leave_the_camera_alone_but_a_low_head_hits_it() -> None:
    world = quiet_world(bench_profile("plover"), seed=2)
    machine = BenchMachine(world)
    x, y = world.camera_at_mm
    machine.home()
    machine.move_to(x=x, y=y, z=None)
    assert world.knocks == 0
    before = world.truth.eye.focus_z_mm
    machine.move_to(x=None, y=None, z=before)
    seen = world.glimpse(settle(world)).centre_px
    machine.move_to(x=None, y=None, z=5.0)
    assert world.knocks == 1
    machine.move_to(x=None, y=None, z=before)
    moved_px = math.hypot(*(world.glimpse(settle(world)).centre_px - seen))
    assert moved_px > 15.0


def test_a_halted_machine_says_so_until_it_is_reset_and_homed() -> None:
    world = make_world(bench_profile("avocet"), seed=1)
    machine = BenchMachine(world)
    world.controller.halt()
    with pytest.raises(MachineError, match="halted"):
        machine.move_to(x=10.0, y=None, z=None)
    world.controller.reset()
    with pytest.raises(MachineError, match="home it first"):
        machine.move_to(x=10.0, y=None, z=None)
    machine.home()
    machine.move_to(x=10.0, y=None, z=None)


def test_a_closed_view_does_nothing_more_and_closes_twice() -> None:
    machine = BenchMachine(make_world(bench_profile("avocet"), seed=1))
    machine.close()
    machine.close()
    with pytest.raises(MachineError, match="closed"):
        machine.shown()


# -- seeds and names --------------------------------------------------------------


def test_the_same_seed_gives_the_same_world_and_another_seed_another() -> None:
    def story(seed: int) -> list[float]:
        world = make_world(bench_profile("plover"), seed=seed)
        machine = BenchMachine(world)
        machine.select_tool(1)
        x, y = world.camera_at_mm
        machine.move_to(x=x, y=y, z=None)
        return [*world.controller.tip(settle(world)).at_mm, *world.true_vectors_mm()[1]]

    assert story(8) == story(8)
    assert story(8) != story(9)


def test_an_unknown_machine_or_dialect_is_refused_by_name() -> None:
    with pytest.raises(InputError, match='no machine "osprey"; it has heron, plover, avocet'):
        bench_profile("osprey")
    with pytest.raises(InputError, match='does not know the dialect "latin"'):
        make_world(replace(bench_profile("heron"), dialect="latin"), seed=1)
