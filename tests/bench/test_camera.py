"""The bench's camera: an even pace in World time, one picture for one moment."""

from __future__ import annotations

import math
import threading

import cv2
import numpy as np
import pytest

from app.bench import BenchCamera, BenchMachine, RealClock, World, bench_profile, make_world
from app.bench.picture import draw_tip
from app.job.interfaces import CameraState
from tests.bench.quiet import quiet_world


def dark_centre(image: np.ndarray, near: np.ndarray) -> np.ndarray:
    """Return the middle of the dark bore round a place, shape (2,)."""
    u, v = (round(float(part)) for part in near)
    grey = cv2.GaussianBlur(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), (0, 0), 3.0)
    patch = grey[v - 60 : v + 60, u - 60 : u + 60]
    level = (float(patch.min()) + float(patch.max())) / 2.0
    moments = cv2.moments((patch < level).astype(np.uint8))
    return np.array(
        [moments["m10"] / moments["m00"] + u - 60, moments["m01"] / moments["m00"] + v - 60]
    )


def sharpness_of(image: np.ndarray) -> float:
    """Return how steep the picture's steepest edges are, its noise smoothed away."""
    grey = cv2.GaussianBlur(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), (0, 0), 2.0)
    steep = cv2.magnitude(cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1))
    return float(np.percentile(steep, 99.0))


def test_the_bore_is_drawn_where_the_world_sees_it() -> None:
    world = quiet_world(bench_profile("plover"), seed=3)
    machine, camera = BenchMachine(world), BenchCamera(world)
    start = machine.shown()
    for step in ((0.0, 0.0), (0.4, 0.0), (0.0, 0.3)):
        machine.move_to(x=start.x + step[0], y=start.y + step[1], z=None)
        frame = camera.next_frame(after_s=camera.now_s() + 1.0, timeout_s=5.0)
        assert frame is not None
        truth = world.glimpse(frame.arrived_at_s).centre_px
        # Stains and light pull this plain centroid about by some tenths.
        assert dark_centre(frame.image, truth) == pytest.approx(truth, abs=1.5)


def test_frames_are_new_even_and_numbered() -> None:
    camera = BenchCamera(make_world(bench_profile("avocet"), seed=3), fps=20.0)
    after_s, frames = 0.0, []
    for _ in range(3):
        frame = camera.next_frame(after_s=after_s, timeout_s=5.0)
        assert frame is not None
        assert frame.arrived_at_s > after_s
        after_s = frame.arrived_at_s
        frames.append(frame)
    assert np.diff([frame.arrived_at_s for frame in frames]) == pytest.approx([0.05, 0.05])
    assert [frame.frame_id for frame in frames] == [0, 1, 2]
    assert frames[0].image.shape == (480, 640, 3)
    assert frames[0].image.dtype == np.uint8
    assert not frames[0].image.flags.writeable


def test_asking_for_a_later_frame_jumps_the_virtual_clock_there() -> None:
    camera = BenchCamera(make_world(bench_profile("avocet"), seed=3))
    frame = camera.next_frame(after_s=100.0, timeout_s=200.0)
    assert frame is not None
    assert 100.0 < frame.arrived_at_s < 100.1
    assert camera.now_s() == pytest.approx(frame.arrived_at_s)


def test_without_a_frame_in_time_there_is_none() -> None:
    camera = BenchCamera(make_world(bench_profile("avocet"), seed=3))
    assert camera.next_frame(after_s=100.0, timeout_s=2.0) is None
    assert camera.now_s() == pytest.approx(2.0)


def test_a_frame_is_the_same_whoever_asks_and_when() -> None:
    pictures = []
    for waited_s in (0.0, 3.0):
        world = make_world(bench_profile("avocet"), seed=3)
        camera = BenchCamera(world)
        if waited_s:
            assert camera.next_frame(after_s=waited_s, timeout_s=5.0) is not None
        frame = camera.next_frame(after_s=5.0, timeout_s=9.0)
        assert frame is not None
        pictures.append(frame.image)
    assert np.array_equal(pictures[0], pictures[1])


def test_two_frames_differ_by_their_noise_alone() -> None:
    camera = BenchCamera(quiet_world(bench_profile("avocet"), seed=3))
    one = camera.next_frame(after_s=0.0, timeout_s=5.0)
    two = camera.next_frame(after_s=1.0, timeout_s=5.0)
    assert one is not None
    assert two is not None
    difference = one.image.astype(float) - two.image.astype(float)
    assert 0.5 < difference.std() < 8.0
    assert abs(difference.mean()) < 0.1


def test_a_move_smears_the_picture_that_it_falls_into() -> None:
    world = quiet_world(bench_profile("plover"), seed=3)
    machine, camera = BenchMachine(world), BenchCamera(world)
    start = machine.shown()
    still = camera.next_frame(after_s=1.0, timeout_s=5.0)
    machine.move_to(x=start.x - 1.5, y=None, z=None)
    # The bore comes through the middle while the shutter is open.
    world.controller.go({"x": start.x + 1.5}, speed_mm_per_s=20.0)
    moving = camera.next_frame(after_s=camera.now_s() + 0.11, timeout_s=5.0)
    world.controller.finish()
    assert still is not None
    assert moving is not None
    sharpness = [sharpness_of(frame.image) for frame in (still, moving)]
    assert sharpness[1] < 0.8 * sharpness[0]


def test_a_lifted_head_is_far_out_of_focus() -> None:
    world = quiet_world(bench_profile("plover"), seed=3)
    machine, camera = BenchMachine(world), BenchCamera(world)
    near = camera.next_frame(after_s=1.0, timeout_s=5.0)
    machine.home()
    x, y = world.camera_at_mm
    machine.move_to(x=x, y=y, z=None)
    far = camera.next_frame(after_s=camera.now_s(), timeout_s=5.0)
    assert near is not None
    assert far is not None
    assert sharpness_of(far.image) < 0.3 * sharpness_of(near.image)


def test_one_nozzle_has_a_drop_of_plastic_and_the_others_none() -> None:
    truth = make_world(bench_profile("plover"), seed=3).truth
    dropped = [tool for tool in truth.nozzles_mm if draw_tip(truth, tool).drop is not None]
    assert dropped == [truth.plastic_on]
    clean = make_world(bench_profile("plover"), seed=3, drop_of_plastic=False).truth
    assert all(draw_tip(clean, tool).drop is None for tool in clean.nozzles_mm)


def test_a_closed_camera_says_so_and_gives_nothing() -> None:
    camera = BenchCamera(make_world(bench_profile("avocet"), seed=3))
    assert camera.health().state is CameraState.LIVE
    assert camera.health().frame_age_s == math.inf
    camera.close()
    camera.close()
    assert camera.health().state is CameraState.CLOSED
    assert camera.next_frame(after_s=0.0, timeout_s=1.0) is None


def test_a_shutter_slower_than_the_frames_is_refused() -> None:
    with pytest.raises(ValueError, match="exposure_s"):
        BenchCamera(make_world(bench_profile("avocet"), seed=3), fps=20.0, exposure_s=0.06)


# -- the clock that runs ------------------------------------------------------------


def test_on_a_running_clock_frames_come_by_themselves_and_lost_ones_are_counted(
    fast_world: World,
) -> None:
    camera = BenchCamera(fast_world, fps=20.0)
    first = camera.next_frame(after_s=0.0, timeout_s=60.0)
    assert first is not None
    later = camera.next_frame(after_s=first.arrived_at_s + 1.0, timeout_s=60.0)
    assert later is not None
    assert later.frame_id - first.frame_id >= 20
    assert camera.health().dropped == later.frame_id - first.frame_id - 1


def test_stopping_the_clock_wakes_who_waits_for_a_frame() -> None:
    world = make_world(bench_profile("avocet"), seed=3, clock=RealClock())
    answers: list[object] = []
    waiting = threading.Thread(
        target=lambda: answers.append(
            BenchCamera(world).next_frame(after_s=1000.0, timeout_s=2000.0)
        )
    )
    waiting.start()
    world.close()
    waiting.join(timeout=5.0)
    assert answers == [None]


def test_a_clock_without_speed_is_refused() -> None:
    with pytest.raises(ValueError, match="speed"):
        RealClock(speed=0.0)
