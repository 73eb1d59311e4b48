from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from app.cameras import CameraFeed, NoImage, Shot, SourceOptions, open_camera
from app.cameras.folder import FolderGrabber, pictures_in
from app.cameras.opencv import cv2
from app.cameras.video import VideoGrabber
from app.errors import InputError
from app.job.interfaces import CameraState
from tests.cameras.fakes import noise
from tests.cameras.test_contract import write_folder, write_video
from tests.cameras.waiting import frame_of, until_state

ON_DEMAND = SourceOptions(on_demand=True)


def all_frames(feed: CameraFeed) -> list[np.ndarray]:
    frames = []
    after_s = float("-inf")
    while (frame := feed.next_frame(after_s=after_s, timeout_s=5.0)) is not None:
        frames.append(frame.image)
        after_s = frame.arrived_at_s
    return frames


def test_a_folder_is_read_in_natural_order(tmp_path: Path) -> None:
    for name in ("f10.png", "f2.PNG", "f1.bmp", "g1.jpg", "f3.tiff"):
        assert cv2.imwrite(str(tmp_path / name), noise(1))
    (tmp_path / "truth.json").write_text("{}")
    names = [file.name for file in pictures_in(tmp_path)]
    assert names == ["f1.bmp", "f2.PNG", "f3.tiff", "f10.png", "g1.jpg"]


def test_a_broken_file_in_a_folder_is_named_and_skipped(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "frames", frames=3)
    (folder / "f1.png").write_bytes(b"no picture")
    with open_camera(f"file:{folder}", ON_DEMAND) as feed:
        frames = all_frames(feed)
        notes = feed.notes()
    assert [np.array_equal(frames[0], noise(0)), np.array_equal(frames[1], noise(2))] == [True] * 2
    assert len(frames) == 2
    assert len(notes) == 1
    assert "f1.png is no picture" in notes[0]


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no pictures"):
        open_camera(f"file:{tmp_path}")


def test_a_folder_without_one_good_picture_is_refused_even_in_a_loop(tmp_path: Path) -> None:
    for name in ("a.png", "b.png"):
        (tmp_path / name).write_bytes(b"no picture")
    with pytest.raises(InputError, match=r"None of the 2 pictures .*a\.png is no picture"):
        open_camera(f"file:{tmp_path}", SourceOptions(loop=True))


def test_a_folder_keeps_its_pace(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "frames", frames=4)
    with open_camera(f"file:{folder}", SourceOptions(fps=20.0)) as feed:
        first = frame_of(feed)
        until_state(feed, CameraState.ENDED)
        last = frame_of(feed)
    assert last.frame_id == 4
    assert last.arrived_at_s - first.arrived_at_s >= 3 / 20.0 - 0.01


def test_a_single_picture_in_a_loop_is_a_camera(tmp_path: Path) -> None:
    file = tmp_path / "tip.png"
    cv2.imwrite(str(file), noise(1))
    with open_camera(f"file:{file}", SourceOptions(loop=True, fps=200.0)) as feed:
        frames = [frame_of(feed, feed.now_s()) for _ in range(5)]
    assert {frame.camera_generation for frame in frames} == {1}


def test_a_single_broken_picture_is_refused_by_name(tmp_path: Path) -> None:
    file = tmp_path / "tip.png"
    file.write_bytes(b"no picture")
    with pytest.raises(InputError, match=r"tip\.png is no picture"):
        open_camera(f"file:{file}")


def test_a_video_is_played_to_its_end_and_its_last_picture_stays(tmp_path: Path) -> None:
    video = write_video(tmp_path / "video.avi", frames=6)
    with open_camera(f"file:{video}", ON_DEMAND) as feed:
        frames = all_frames(feed)
        assert feed.health().state is CameraState.ENDED
        assert frame_of(feed).frame_id == 6
    # MJPG loses some grey levels, not twenty.
    assert [abs(frame.mean() - 10 - 20 * n) < 10 for n, frame in enumerate(frames)] == [True] * 6


def test_a_video_has_a_pace_of_its_own(tmp_path: Path) -> None:
    grabber = VideoGrabber(write_video(tmp_path / "video.avi"))
    grabber.open()
    shot = grabber.grab(time.perf_counter)
    grabber.close()
    assert isinstance(shot, Shot)
    assert shot.hold_s == pytest.approx(1 / 25.0)


def test_a_video_in_a_loop_begins_again(tmp_path: Path) -> None:
    grabber = VideoGrabber(write_video(tmp_path / "video.avi", frames=2), loop=True)
    grabber.open()
    shots = [grabber.grab(time.perf_counter) for _ in range(5)]
    grabber.close()
    means = [round(float(shot.image.mean())) for shot in shots if not isinstance(shot, NoImage)]
    assert means[0] == means[2] == means[4] != means[1]


def test_a_file_that_is_no_video_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("no video")
    with pytest.raises(InputError, match="neither a picture nor a video"):
        open_camera(f"file:{file}")


@pytest.mark.parametrize("fps", [0.0, -1.0, float("nan")])
def test_a_pace_must_be_above_zero(tmp_path: Path, fps: float) -> None:
    folder = write_folder(tmp_path / "frames", frames=1)
    with pytest.raises(ValueError, match="fps"):
        FolderGrabber(folder, fps=fps)
    with pytest.raises(ValueError, match="fps"):
        VideoGrabber(folder, fps=fps)
