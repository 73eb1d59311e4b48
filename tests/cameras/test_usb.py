from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from app.cameras import Image, NoImage, Shot, UsbSettings
from app.cameras.devices import Device, find_again, list_cameras
from app.cameras.opencv import Capture, cv2
from app.cameras.usb import MOST_MISSES, UsbGrabber
from app.errors import CameraError
from tests.cameras.fakes import MJPG, FakeCapture, noise

SCOPE = Device(index=0, name="Scope", path="/dev/video0", vendor_id=0x1111, product_id=2)
ROOM = Device(index=2, name="Room", path="/dev/video2", vendor_id=0x2222, product_id=3)


def steady_clock() -> Callable[[], float]:
    ticks = itertools.count()
    return lambda: next(ticks) / 30.0


def pictures(grey: Callable[[], int] = lambda: 0) -> Iterator[Image | None]:
    for seed in itertools.count():
        image: Image = (noise(seed, (960, 8)) // 4 + grey()).astype(np.uint8)
        yield image


class Bus:
    """The cameras that are plugged in, and what was opened."""

    def __init__(self, *devices: Device) -> None:
        self.devices = devices
        self.opened: list[tuple[int, int]] = []
        self.captures: list[FakeCapture] = []
        self.make: Callable[[], FakeCapture] = lambda: FakeCapture(pictures())

    def open(self, index: int, backend: int) -> Capture:
        self.opened.append((index, backend))
        self.captures.append(self.make())
        return self.captures[-1]

    def grabber(
        self, number: int = 0, *, platform: str = "linux", settings: UsbSettings | None = None
    ) -> UsbGrabber:
        return UsbGrabber(
            number,
            settings=settings,
            opener=self.open,
            devices=lambda: self.devices,
            platform=platform,
            may_use=lambda path: True,
            clock=steady_clock(),
        )


FORMAT_CONTROLS = {
    cv2.CAP_PROP_FOURCC: "format",
    cv2.CAP_PROP_FRAME_WIDTH: "width",
    cv2.CAP_PROP_FRAME_HEIGHT: "height",
    cv2.CAP_PROP_FPS: "rate",
}


@pytest.mark.parametrize(
    ("platform", "backend", "order"),
    [
        ("linux", cv2.CAP_V4L2, "format width height rate"),
        ("win32", cv2.CAP_DSHOW, "width height rate format width height rate format"),
        ("darwin", cv2.CAP_AVFOUNDATION, "width height rate"),
    ],
)
def test_each_system_has_its_backend_and_order(platform: str, backend: int, order: str) -> None:
    bus = Bus(SCOPE)
    bus.grabber(platform=platform).open()
    assert bus.opened == [(0, backend)]
    asked = [FORMAT_CONTROLS[c] for c, _ in bus.captures[0].asked if c in FORMAT_CONTROLS]
    assert " ".join(asked) == order


def test_no_other_number_is_ever_tried() -> None:
    bus = Bus(ROOM)
    with pytest.raises(CameraError, match=r"no camera number 0.*usb:2 Room"):
        bus.grabber(0).open()
    assert bus.opened == []


def test_without_any_camera_it_says_so() -> None:
    with pytest.raises(CameraError, match="No camera is plugged in"):
        Bus().grabber(0).open()


def test_a_camera_is_found_again_under_another_number() -> None:
    bus = Bus(SCOPE, ROOM)
    grabber = bus.grabber(0)
    grabber.open()
    grabber.close()
    bus.devices = (
        Device(index=0, name="Room", path="/dev/video0", vendor_id=0x2222, product_id=3),
        Device(index=4, name="Scope", path="/dev/video4", vendor_id=0x1111, product_id=2),
    )
    grabber.open()
    assert [index for index, _ in bus.opened] == [0, 4]


def test_another_camera_never_takes_the_place_of_one_that_is_gone() -> None:
    bus = Bus(SCOPE, ROOM)
    grabber = bus.grabber(0)
    grabber.open()
    grabber.close()
    bus.devices = (ROOM,)
    with pytest.raises(CameraError, match="Scope is not plugged in any more"):
        grabber.open()
    assert len(bus.opened) == 1


def test_of_two_twins_only_the_path_tells() -> None:
    twin = Device(index=1, name="Scope", path="/dev/video1", vendor_id=0x1111, product_id=2)
    assert find_again(SCOPE, True, (twin,)) is None
    assert find_again(SCOPE, True, (twin, SCOPE)) is SCOPE
    assert find_again(SCOPE, False, (twin,)) is twin


def test_what_was_asked_is_told_against_what_came() -> None:
    bus = Bus(SCOPE)
    bus.make = lambda: FakeCapture(
        pictures(), refuses=frozenset({cv2.CAP_PROP_FOURCC}), properties={cv2.CAP_PROP_FOURCC: MJPG}
    )
    grabber = bus.grabber(settings=UsbSettings(fps=60.0))
    grabber.open()
    first, second = grabber.notes()
    assert first == (
        "Asked for 1280 x 960 at 60 frames/s (MJPG), got 8 x 960 at 30 frames/s (MJPG)."
    )
    assert "slower than asked for" in second


def test_automatic_controls_are_switched_off_and_the_exposure_in_use_is_kept() -> None:
    bus = Bus(SCOPE)
    bus.make = lambda: FakeCapture(
        pictures(), properties={cv2.CAP_PROP_EXPOSURE: 157.0, cv2.CAP_PROP_AUTOFOCUS: 1.0}
    )
    grabber = bus.grabber()
    grabber.open()
    asked = bus.captures[0].asked
    assert (cv2.CAP_PROP_AUTOFOCUS, 0.0) in asked
    assert (cv2.CAP_PROP_AUTO_EXPOSURE, 1.0) in asked
    assert (cv2.CAP_PROP_EXPOSURE, 157.0) in asked
    assert grabber.report is not None
    assert grabber.report.unlocked == ()


def test_an_exposure_that_turns_the_picture_dark_is_given_back() -> None:
    level = {"grey": 120}

    def driver(control: int, value: float) -> None:
        if control == cv2.CAP_PROP_AUTO_EXPOSURE:
            level["grey"] = 120 if value == 3.0 else 0

    bus = Bus(SCOPE)
    bus.make = lambda: FakeCapture(pictures(lambda: level["grey"]), on_set=driver)
    grabber = bus.grabber()
    grabber.open()
    assert grabber.report is not None
    assert grabber.report.unlocked == ("exposure",)
    assert grabber.report.trial.mean_grey > 100
    assert "Automatic exposure could not be switched off" in " ".join(grabber.notes())


def test_where_there_are_no_controls_it_is_said() -> None:
    grabber = Bus(SCOPE).grabber(platform="darwin")
    grabber.open()
    assert "Automatic focus, white balance and exposure" in " ".join(grabber.notes())


@pytest.mark.parametrize(
    ("platform", "words"),
    [
        ("darwin", "Privacy & Security, Camera"),
        ("win32", "Close other programs"),
        ("linux", "close other programs"),
    ],
)
def test_a_camera_that_does_not_open_says_what_to_do(platform: str, words: str) -> None:
    bus = Bus(SCOPE)
    bus.make = lambda: FakeCapture(pictures(), opens=False)
    with pytest.raises(CameraError, match=words):
        bus.grabber(platform=platform).open()
    assert bus.captures[0].released


def test_a_device_file_that_may_not_be_used_names_the_group() -> None:
    grabber = UsbGrabber(
        0,
        opener=lambda index, backend: FakeCapture(pictures(), opens=False),
        devices=lambda: (SCOPE,),
        platform="linux",
        may_use=lambda path: False,
    )
    with pytest.raises(CameraError, match=r"/dev/video0.*group video"):
        grabber.open()


def test_a_camera_that_opens_but_shows_nothing_is_released() -> None:
    bus = Bus(SCOPE)
    bus.make = lambda: FakeCapture(iter(()))
    with pytest.raises(CameraError, match="gives no pictures"):
        bus.grabber().open()
    assert bus.captures[0].released


def test_an_unplugged_camera_is_lost_after_some_misses() -> None:
    bus = Bus(SCOPE)
    bus.make = lambda: FakeCapture(itertools.islice(pictures(), 21))
    grabber = bus.grabber()
    grabber.open()  # two trials of ten frames
    assert isinstance(grabber.grab(steady_clock()), Shot)
    for _ in range(MOST_MISSES - 1):
        assert grabber.grab(steady_clock()) is NoImage.NOTHING
    with pytest.raises(CameraError, match="Check its plug"):
        grabber.grab(steady_clock())


def test_cameras_are_listed_with_what_opens_them() -> None:
    listed = list_cameras(lambda: (SCOPE, ROOM))
    assert [(camera.name, camera.source) for camera in listed] == [
        ("Scope", "usb:0"),
        ("Room", "usb:2"),
    ]
    assert [camera.name for camera in list_cameras(lambda: None)] == ["Camera 0"]


def test_without_a_list_the_number_itself_is_opened() -> None:
    bus = Bus()
    grabber = UsbGrabber(3, opener=bus.open, devices=lambda: None, platform="linux")
    grabber.open()
    assert bus.opened == [(3, cv2.CAP_V4L2)]
    assert grabber.traits.name == "Camera 3"
