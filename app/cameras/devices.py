"""Which USB cameras there are, and how to know one of them again."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from app.cameras.opencv import cv2


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A USB camera as the system lists it.

    Attributes
    ----------
    index
        Its number now, for the backend of this system; another after the next plugging.
    name, path
        What the system calls it; the path may be empty.
    vendor_id, product_id
        Numbers of USB; None where they are not told.
    """

    index: int
    name: str
    path: str = ""
    vendor_id: int | None = None
    product_id: int | None = None

    def is_like(self, other: Device) -> bool:
        """Say whether both are of one kind: the same camera, or its twin."""
        mine = (self.name, self.vendor_id, self.product_id)
        return mine == (other.name, other.vendor_id, other.product_id)


DeviceList = Callable[[], Sequence[Device] | None]
"""Returns the cameras, or None if they cannot be listed here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedCamera:
    """A camera that can be chosen.

    Attributes
    ----------
    name
        For people.
    source
        What to hand to `open_camera`.
    """

    name: str
    source: str


def backend_of(platform: str) -> int:
    """Return OpenCV's backend for USB cameras on a system (`sys.platform`)."""
    if platform.startswith("win"):
        return cv2.CAP_DSHOW
    return cv2.CAP_AVFOUNDATION if platform == "darwin" else cv2.CAP_V4L2


def list_devices(platform: str = sys.platform) -> tuple[Device, ...] | None:
    """Return the cameras of this system; None if the library that lists them is not there."""
    try:
        from cv2_enumerate_cameras import enumerate_cameras
    except ImportError:
        return None
    try:
        found = enumerate_cameras(backend_of(platform))
    except (NotImplementedError, OSError):
        return None
    devices = [
        Device(
            index=camera.index,
            name=camera.name or f"Camera {camera.index}",
            path=camera.path or "",
            vendor_id=camera.vid,
            product_id=camera.pid,
        )
        for camera in found
    ]
    return tuple(sorted(devices, key=lambda device: device.index))


def list_cameras(devices: DeviceList = list_devices) -> tuple[ListedCamera, ...]:
    """Return the USB cameras that can be chosen.

    No camera is opened for it. Where cameras cannot be listed, the first one is
    offered by its number.
    """
    found = devices()
    if found is None:
        found = (Device(index=0, name="Camera 0"),)
    return tuple(ListedCamera(name=device.name, source=f"usb:{device.index}") for device in found)


def find_again(wanted: Device, had_twin: bool, present: Sequence[Device]) -> Device | None:
    """Return a camera in a new list, whatever its number is now.

    Parameters
    ----------
    wanted
        The camera as it was listed when it was chosen.
    had_twin
        Whether a second one of its kind was plugged in then; if so, only its path can
        tell it from the other.
    present
        The cameras that are there now.
    """
    alike = [device for device in present if device.is_like(wanted)]
    for device in alike:
        if device.path == wanted.path:
            return device
    return alike[0] if len(alike) == 1 and not had_twin else None
