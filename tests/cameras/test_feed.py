from __future__ import annotations

import math
import threading

import numpy as np
import pytest

from app.cameras import CameraFeed, Identical, NoImage
from app.cameras.freeze import FreezeWatch
from app.errors import CameraError, InputError
from app.job.interfaces import CameraState
from tests.cameras.fakes import ScriptedGrabber, lost, noise
from tests.cameras.waiting import PATIENCE_S, QUICK, frame_of, until, until_state


def test_the_newest_frame_wins() -> None:
    grabber = ScriptedGrabber()
    for seed in range(5):
        grabber.items.put(noise(seed))
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        until(lambda: feed.health().dropped == 4, "four frames dropped")
        frame = frame_of(feed)
    assert np.array_equal(frame.image, noise(4))
    assert frame.frame_id == 5


def test_a_frame_from_before_the_request_is_never_given() -> None:
    grabber = ScriptedGrabber()
    grabber.items.put(noise(1))
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        feed.wait_ready(PATIENCE_S)
        assert feed.next_frame(after_s=feed.now_s(), timeout_s=0.05) is None


def test_a_reader_is_woken_by_the_next_frame() -> None:
    grabber = ScriptedGrabber()
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        threading.Timer(0.02, lambda: grabber.items.put(noise(1))).start()
        assert np.array_equal(frame_of(feed).image, noise(1))


def test_a_stalled_source_is_opened_again_and_comes_back() -> None:
    grabber = ScriptedGrabber()
    grabber.items.put(noise(1))
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        first = frame_of(feed)
        health = until_state(feed, CameraState.STALLED)
        assert "no new picture for 0.2 s" in health.sentence
        for _ in range(2):
            assert grabber.opened.acquire(timeout=PATIENCE_S)
        grabber.items.put(noise(2))
        second = frame_of(feed, first.arrived_at_s)
        assert until_state(feed, CameraState.LIVE).sentence == ""
    assert second.camera_generation > first.camera_generation


def test_a_source_whose_driver_hangs_is_called_stalled_all_the_same() -> None:
    class Hanging(ScriptedGrabber):
        let_go = threading.Event()

        def grab(self, clock: object) -> NoImage:
            self.let_go.wait(PATIENCE_S)
            return NoImage.NOTHING

    grabber = Hanging()
    feed = CameraFeed(grabber, timing=QUICK).start()
    grabber.opened.acquire(timeout=PATIENCE_S)
    until(lambda: feed.health().state is CameraState.STALLED, "stalled while grab blocks")
    grabber.let_go.set()
    feed.close()


def test_the_reason_of_a_loss_is_shown_until_the_source_is_back() -> None:
    grabber = ScriptedGrabber()
    grabber.items.put(noise(1))
    grabber.items.put(lost("Its plug was pulled."))
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        health = until_state(feed, CameraState.STALLED)
        assert health.sentence == "Its plug was pulled."
        grabber.items.put(noise(2))
        until_state(feed, CameraState.LIVE)


def test_failed_openings_do_not_count_as_generations() -> None:
    grabber = ScriptedGrabber()
    grabber.open_failures = [lost(), lost(), lost()]
    grabber.items.put(noise(1))
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        assert frame_of(feed).camera_generation == 1


def test_a_change_of_size_is_a_new_generation() -> None:
    grabber = ScriptedGrabber()
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        generations = []
        after_s = -math.inf
        for seed, shape in enumerate([(48, 64), (48, 64), (96, 128), (96, 128)]):
            grabber.items.put(noise(seed, shape))
            frame = frame_of(feed, after_s)
            generations.append(frame.camera_generation)
            after_s = frame.arrived_at_s
    assert generations == [1, 1, 2, 2]


def test_the_source_is_released_in_the_thread_that_opened_it() -> None:
    grabber = ScriptedGrabber()
    feed = CameraFeed(grabber, timing=QUICK).start()
    grabber.opened.acquire(timeout=PATIENCE_S)
    feed.close()
    assert grabber.closed_in == grabber.opened_in
    assert grabber.opened_in[0] != threading.get_ident()


def test_a_fault_in_the_program_is_kept_and_shown(caplog: pytest.LogCaptureFixture) -> None:
    grabber = ScriptedGrabber()
    grabber.items.put(ZeroDivisionError("by nought"))
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        health = until_state(feed, CameraState.ENDED)
        with pytest.raises(CameraError, match="fault in the program"):
            feed.wait_ready(PATIENCE_S)
    assert "ZeroDivisionError: by nought" in health.sentence
    assert "Traceback" in caplog.text


def test_a_recorded_source_ends_and_keeps_its_last_frame() -> None:
    grabber = ScriptedGrabber(live=False, identical=Identical.USUAL)
    grabber.items.put(noise(1))
    grabber.items.put(NoImage.END)
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        until_state(feed, CameraState.ENDED)
        last = frame_of(feed)
        assert np.array_equal(last.image, noise(1))
        assert frame_of(feed) is last
        assert feed.next_frame(after_s=last.arrived_at_s, timeout_s=60.0) is None


def test_on_demand_no_picture_is_dropped() -> None:
    grabber = ScriptedGrabber(live=False, identical=Identical.USUAL)
    for seed in range(20):
        grabber.items.put(noise(seed))
    grabber.items.put(NoImage.END)
    seen = []
    with CameraFeed(grabber, timing=QUICK, on_demand=True).start() as feed:
        after_s = -math.inf
        while (frame := feed.next_frame(after_s=after_s, timeout_s=PATIENCE_S)) is not None:
            seen.append(frame.image)
            after_s = frame.arrived_at_s
        assert feed.health().dropped == 0
    assert len(seen) == 20
    assert all(np.array_equal(image, noise(seed)) for seed, image in enumerate(seen))


def test_a_source_that_cannot_be_used_is_not_tried_again() -> None:
    grabber = ScriptedGrabber()
    grabber.open_failures = [InputError("No such thing.", code="x"), lost()]
    with CameraFeed(grabber, timing=QUICK).start() as feed:
        with pytest.raises(InputError, match="No such thing"):
            feed.wait_ready(PATIENCE_S)
        assert until_state(feed, CameraState.ENDED).sentence == "No such thing."
    assert len(grabber.open_failures) == 1


def keep_giving(grabber: ScriptedGrabber, image: np.ndarray, stop: threading.Event) -> None:
    while not stop.wait(0.01):
        grabber.items.put(image.copy())


class TestAPictureThatStandsStill:
    def test_from_a_sensor_is_a_fault_and_the_camera_is_opened_again(self) -> None:
        grabber = ScriptedGrabber(identical=Identical.FAULT)
        health = self.run_still(grabber, noise(1))
        assert len(grabber.opened_in) == 2
        # It is the same even after that: a still picture then, doubted but shown.
        assert "stands still" in health

    def test_from_a_server_is_doubted_but_shown(self) -> None:
        grabber = ScriptedGrabber(identical=Identical.DOUBTFUL)
        health = self.run_still(grabber, noise(1))
        assert len(grabber.opened_in) == 1
        assert "stands still" in health

    @staticmethod
    def run_still(grabber: ScriptedGrabber, image: np.ndarray) -> str:
        stop = threading.Event()
        giver = threading.Thread(target=keep_giving, args=(grabber, image, stop))
        giver.start()
        with CameraFeed(grabber, timing=QUICK).start() as feed:
            until(lambda: "stands still" in feed.health().sentence, "said that it stands still")
            health = feed.health()
            stop.set()
            giver.join()
        assert health.state is CameraState.LIVE
        return health.sentence

    def test_of_one_single_grey_is_no_fault(self) -> None:
        watch = FreezeWatch()
        black = np.zeros((48, 64), np.uint8)
        assert [watch.frozen_for_s(black.copy(), float(t)) for t in range(4)] == [0, 0, 0, 0]

    def test_is_told_from_one_grey_level_of_noise(self) -> None:
        watch = FreezeWatch()
        still, stirred = noise(1), noise(1).copy()
        stirred[5, 5] ^= 1
        pictures = [still, still.copy(), stirred, stirred.copy()]
        times = [watch.frozen_for_s(image, float(t)) for t, image in enumerate(pictures)]
        assert times == [0.0, 1.0, 0.0, 1.0]
