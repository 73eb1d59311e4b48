"""What every source promises, whatever it is."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from app.cameras import CameraFeed, Grabber, SourceOptions, make_grabber
from app.cameras.devices import Device
from app.cameras.opencv import cv2
from app.cameras.usb import UsbGrabber
from app.job.interfaces import Camera, CameraState
from tests.cameras.fakes import FakeCapture, noise
from tests.cameras.mjpeg_server import MjpegServer
from tests.cameras.waiting import QUICK, frame_of

MakeGrabber = Callable[[], Grabber]


def write_video(path: Path, frames: int = 8) -> Path:
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), 25.0, (64, 48))
    assert writer.isOpened()
    for number in range(frames):
        writer.write(np.full((48, 64, 3), 10 + 20 * number, np.uint8))
    writer.release()
    return path


def write_folder(path: Path, frames: int = 8) -> Path:
    path.mkdir()
    for number in range(frames):
        assert cv2.imwrite(str(path / f"f{number}.png"), noise(number))
    return path


def noisy_camera() -> UsbGrabber:
    def pictures() -> Iterator[np.ndarray]:
        yield from (noise(seed, (48, 64, 3)) for seed in range(1_000_000))

    return UsbGrabber(
        0,
        opener=lambda index, backend: FakeCapture(pictures()),
        devices=lambda: (Device(index=0, name="Microscope"),),
        platform="linux",
    )


@pytest.fixture(params=["folder", "video", "network", "usb"])
def make(request: pytest.FixtureRequest, tmp_path: Path, server: MjpegServer) -> MakeGrabber:
    options = SourceOptions(fps=100.0, loop=True)
    makers: dict[str, MakeGrabber] = {
        "folder": lambda: make_grabber(f"file:{write_folder(tmp_path / 'frames')}", options),
        "video": lambda: make_grabber(f"file:{write_video(tmp_path / 'video.avi')}", options),
        "network": lambda: make_grabber(server.url),
        "usb": noisy_camera,
    }
    return makers[request.param]


@pytest.fixture
def feed(make: MakeGrabber) -> Iterator[CameraFeed]:
    with CameraFeed(make(), timing=QUICK).start() as running:
        running.wait_ready(5.0)
        yield running


class TestEverySource:
    def test_is_a_camera(self, feed: CameraFeed) -> None:
        camera: Camera = feed
        assert camera.name

    def test_gives_pictures_of_a_kind_that_the_finder_takes(self, feed: CameraFeed) -> None:
        image = frame_of(feed).image
        assert image.dtype in (np.uint8, np.uint16)
        assert image.ndim == 2 or image.shape[2] == 3
        assert not image.flags.writeable

    def test_gives_only_frames_from_after_the_request(self, feed: CameraFeed) -> None:
        for _ in range(5):
            asked_s = feed.now_s()
            assert frame_of(feed, asked_s).arrived_at_s > asked_s

    def test_numbers_and_times_only_grow(self, feed: CameraFeed) -> None:
        first = frame_of(feed)
        second = frame_of(feed, first.arrived_at_s)
        assert second.frame_id > first.frame_id
        assert second.camera_generation == first.camera_generation

    def test_is_live_without_a_sentence(self, feed: CameraFeed) -> None:
        frame_of(feed)
        health = feed.health()
        assert (health.state, health.sentence) == (CameraState.LIVE, "")
        assert 0.0 <= health.frame_age_s < 2.0

    def test_counts_the_frames_that_nobody_took(self, feed: CameraFeed) -> None:
        first = frame_of(feed)
        later = frame_of(feed, first.arrived_at_s + 0.1)
        assert feed.health().dropped >= later.frame_id - first.frame_id - 1 > 0

    def test_closes_twice_and_then_gives_nothing(self, feed: CameraFeed) -> None:
        feed.close()
        feed.close()
        assert feed.health().state is CameraState.CLOSED
        assert feed.next_frame(after_s=-math.inf, timeout_s=5.0) is None

    def test_leaves_no_thread_after_many_openings(self, make: MakeGrabber) -> None:
        grabber = make()
        for _ in range(30):
            with CameraFeed(grabber, timing=QUICK).start() as feed:
                feed.wait_ready(5.0)
        # The fixture of all tests looks for threads that stayed.
