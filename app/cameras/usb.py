"""A USB camera as a source of frames."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Sequence

from app.cameras.devices import Device, DeviceList, backend_of, find_again, list_devices
from app.cameras.opencv import Capture, open_capture
from app.cameras.source import Clock, Identical, NoImage, Shot, Traits
from app.cameras.usb_settings import (
    HABITS,
    AskedAndGot,
    UsbSettings,
    ask_for_format,
    format_of,
    lock_controls,
    try_out,
)
from app.errors import CameraError

MOST_MISSES = 10
"""Grabs without a picture in a row after which a camera counts as unplugged. A driver
whose camera is gone answers in some 40 ms, one that waits for it not before 2 s."""

MAC_PERMISSION = (
    "macOS has not let this program use the camera: open System Settings, Privacy & Security, "
    "Camera, switch it on for the program from which Tipwright was started (the terminal, if it "
    "was one), and start Tipwright again."
)

WINDOWS_PERMISSION = (
    "Close other programs that use it, and see that Settings, Privacy & security, Camera lets "
    "desktop apps use the camera."
)


class UsbGrabber:
    """Gives the pictures of a USB camera.

    The number chooses a camera once; after that it is known by its USB numbers, name and
    path, since numbers change with each plugging. No other number is ever tried.

    Parameters
    ----------
    number
        Which camera, as listed by `list_cameras`.
    settings
        What to ask of it.
    opener
        Opens a camera by number and backend; for tests.
    devices
        Lists the cameras; for tests.
    platform
        As `sys.platform`.
    may_use
        Says whether a device file may be read and written.
    clock
        For the trial after opening.
    """

    def __init__(
        self,
        number: int,
        *,
        settings: UsbSettings | None = None,
        opener: Callable[[int, int], Capture] = open_capture,
        devices: DeviceList | None = None,
        platform: str = sys.platform,
        may_use: Callable[[str], bool] = lambda path: os.access(path, os.R_OK | os.W_OK),
        clock: Clock = time.perf_counter,
    ) -> None:
        if number < 0:
            raise ValueError(f"number must not be negative, got {number}")
        self._number = number
        self._settings = settings or UsbSettings()
        self._opener = opener
        self._devices = devices or (lambda: list_devices(platform))
        self._platform = platform
        self._may_use = may_use
        self._clock = clock
        self._device: Device | None = None
        self._had_twin = False
        self._capture: Capture | None = None
        self._report: AskedAndGot | None = None
        self._misses = 0

    @property
    def traits(self) -> Traits:
        """Return that it is live; named by the system once it has been found."""
        name = self._device.name if self._device else f"Camera {self._number}"
        return Traits(name=name, live=True, identical=Identical.FAULT)

    @property
    def report(self) -> AskedAndGot | None:
        """What was asked for against what came, once it has been open."""
        return self._report

    def open(self) -> None:
        """Find the camera, open it, ask for the settings and read some frames.

        Raises
        ------
        CameraError
            It is not there, may not be used, or gives no pictures.
        """
        device = self._find()
        backend = backend_of(self._platform)
        capture = self._opener(device.index, backend)
        self._capture = capture
        self._misses = 0
        if not capture.isOpened():
            self.close()
            raise self._error("camera-refused", self._why_refused(device))
        habits = HABITS[backend]
        ask_for_format(capture, self._settings, habits)
        trial = try_out(capture, self._clock)
        if trial is None:
            self.close()
            raise self._error(
                "camera-silent",
                f"{device.name} is open but gives no pictures: close other programs that use it, "
                f"or give it a USB port of its own.{self._mac_hint()}",
            )
        trial, unlocked = lock_controls(capture, self._settings, habits, trial, self._clock)
        self._report = AskedAndGot(
            asked=self._settings, trial=trial, fourcc=format_of(capture), unlocked=unlocked
        )

    def grab(self, clock: Clock) -> Shot | NoImage:
        """Wait for the next picture. Raises `CameraError` when the camera is gone."""
        if self._capture is None:
            raise self._error("camera-lost", f"{self.traits.name} is not open.")
        if self._capture.grab():
            arrived_at_s = clock()
            decoded, image = self._capture.retrieve()
            if decoded and image is not None:
                self._misses = 0
                return Shot(image=image, arrived_at_s=arrived_at_s)
        self._misses += 1
        if self._misses >= MOST_MISSES:
            raise self._error(
                "camera-lost",
                f"{self.traits.name} gives no more pictures; it is being looked for again. "
                "Check its plug.",
            )
        return NoImage.NOTHING

    def close(self) -> None:
        """Release the camera."""
        if self._capture is not None:
            self._capture.release()
            self._capture = None

    def notes(self) -> tuple[str, ...]:
        """Return what was asked for against what came."""
        report = self._report
        return report.sentences() if report else ()

    def _find(self) -> Device:
        present = self._devices()
        # On macOS the list goes stale inside one process: a camera that it lacks may be there.
        if present is None or (self._platform == "darwin" and not present):
            return self._device or Device(index=self._number, name=f"Camera {self._number}")
        if self._device is None:
            return self._choose(present)
        found = find_again(self._device, self._had_twin, present)
        if found is None:
            raise self._error(
                "camera_missing",
                f"{self._device.name} is not plugged in any more; plug it in again, best into the "
                f"same port. {_present(present)}",
            )
        return found

    def _choose(self, present: Sequence[Device]) -> Device:
        for device in present:
            if device.index == self._number:
                self._device = device
                self._had_twin = sum(other.is_like(device) for other in present) > 1
                return device
        raise self._error(
            "camera_missing",
            f"There is no camera number {self._number}; plug it in or choose another. "
            f"{_present(present)}",
        )

    def _why_refused(self, device: Device) -> str:
        if self._platform == "darwin":
            return f"{device.name} cannot be opened. {MAC_PERMISSION}"
        if self._platform.startswith("win"):
            return f"{device.name} cannot be opened. {WINDOWS_PERMISSION}"
        if device.path and not self._may_use(device.path):
            return (
                f"{device.name} may not be used by you ({device.path}); add yourself to the group "
                "video (sudo usermod -aG video $USER) and log in again."
            )
        return (
            f"{device.name} cannot be opened; close other programs that use it, "
            "or plug it in again."
        )

    def _mac_hint(self) -> str:
        return f" {MAC_PERMISSION}" if self._platform == "darwin" else ""

    def _error(self, code: str, sentence: str) -> CameraError:
        return CameraError(sentence, code=code, value=f"usb:{self._number}")


def _present(devices: Sequence[Device]) -> str:
    if not devices:
        return "No camera is plugged in."
    listed = ", ".join(f"usb:{device.index} {device.name}" for device in devices)
    return f"Plugged in: {listed}."
