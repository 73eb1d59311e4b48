from __future__ import annotations

import threading
from pathlib import Path

import cv2
import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from app.errors import CameraError
from app.ui.start.cameras import thumbnail
from app.ui.start.pictures import Glimpse, Image, PictureTaker, one_picture


class Heard:
    def __init__(self) -> None:
        self.glimpses: list[Glimpse] = []
        self.ended = threading.Event()

    def __call__(self, glimpse: Glimpse | None) -> None:
        if glimpse is None:
            self.ended.set()
        else:
            self.glimpses.append(glimpse)


def look(source: str) -> Image:
    if source == "usb:1":
        raise CameraError("Camera 1 cannot be opened.", code="camera-not-opened")
    if source == "usb:2":
        raise RuntimeError("driver")
    return np.full((4, 4), 7, dtype=np.uint8)


def test_a_camera_that_fails_has_a_sentence_and_the_others_their_pictures(
    caplog: pytest.LogCaptureFixture,
) -> None:
    heard = Heard()
    taker = PictureTaker(heard, look)
    assert taker.take(["usb:0", "usb:1", "usb:2", "usb:3"])
    assert heard.ended.wait(5.0)
    assert [glimpse.image is not None for glimpse in heard.glimpses] == [True, False, False, True]
    assert heard.glimpses[1].sentence == "Camera 1 cannot be opened."
    assert "RuntimeError" in heard.glimpses[2].sentence
    assert "no picture of usb:2" in caplog.text
    assert taker.take(["usb:0"])
    taker.close()


def test_only_one_camera_is_open_at_a_time_and_closing_leaves_the_rest_out() -> None:
    inside, go = threading.Event(), threading.Event()
    seen: list[str] = []

    def slow(source: str) -> Image:
        seen.append(source)
        inside.set()
        assert go.wait(5.0)
        return np.zeros((2, 2), dtype=np.uint8)

    heard = Heard()
    taker = PictureTaker(heard, slow)
    taker.take(["usb:0", "usb:1"])
    assert inside.wait(5.0)
    assert taker.is_busy
    assert not taker.take(["usb:5"])
    threading.Timer(0.05, go.set).start()
    taker.close()
    taker.close()
    assert (seen, heard.glimpses) == (["usb:0"], [])
    assert all(thread.name != "camera pictures" for thread in threading.enumerate())


def test_a_picture_is_taken_and_the_source_let_go(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), np.full((20, 30), 90, dtype=np.uint8))
    image = one_picture(f"file:{tmp_path}")
    assert image.shape[:2] == (20, 30)
    assert all(not thread.name.startswith("camera ") for thread in threading.enumerate())


def test_a_source_that_is_not_there_says_so() -> None:
    heard = Heard()
    taker = PictureTaker(heard)
    taker.take(["file:/nowhere"])
    assert heard.ended.wait(5.0)
    taker.close()
    assert "does not exist" in heard.glimpses[0].sentence


@pytest.mark.parametrize(
    "image",
    [
        np.full((480, 640, 3), 200, dtype=np.uint8),
        np.full((480, 639), 200, dtype=np.uint8),
        np.full((480, 640), 51200, dtype=np.uint16),
        np.full((960, 1280, 3), 200, dtype=np.uint8)[::2, ::2],
    ],
    ids=["colour", "grey, odd width", "16 bits", "not contiguous"],
)
def test_thumbnails_of_every_kind_of_picture(qtbot: QtBot, image: Image) -> None:
    made = thumbnail(image, 2.0)
    assert (made.height(), made.devicePixelRatioF()) == (84, 2.0)
    assert made.toImage().pixelColor(20, 20).red() == 200
