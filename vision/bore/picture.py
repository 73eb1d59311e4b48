"""The frame as the finder reads it: checked, grey, halved, cut out on demand."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bore.result import BoreRefusal, Reason

Plane = NDArray[np.float32]
Frame = NDArray[np.integer | np.floating]

_REMEDY = "Hand over one picture as it comes from the camera, grey or colour, 8 or 16 bits deep."


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A frame that was checked; it is only ever read.

    Attributes
    ----------
    frame
        Shape (H, W) or (H, W, 3), as handed over.
    full_scale
        The value of white.
    """

    frame: Frame
    full_scale: float

    @property
    def width(self) -> int:
        """Width in pixels."""
        return int(self.frame.shape[1])

    @property
    def height(self) -> int:
        """Height in pixels."""
        return int(self.frame.shape[0])

    def part(self, left: int, top: int, right: int, bottom: int) -> Picture:
        """Return that part, not copied."""
        return Picture(frame=self.frame[top:bottom, left:right], full_scale=self.full_scale)

    def grey(self) -> Picture:
        """Return it with one plane: the one copy of the frame that the finder makes."""
        frame: Frame = self.frame
        if frame.dtype not in (np.uint8, np.uint16):
            frame = np.asarray(frame, dtype=np.float32)
        if frame.ndim == 3:
            frame = np.asarray(cv2.cvtColor(np.ascontiguousarray(frame), cv2.COLOR_BGR2GRAY))
        grey: Frame = np.ascontiguousarray(frame)
        return Picture(frame=grey, full_scale=self.full_scale)

    def cut(self, left: int, top: int, right: int, bottom: int) -> Plane:
        """Return that part of a grey picture in parts of full scale."""
        part = self.frame[top:bottom, left:right]
        scaled: Plane = part.astype(np.float32) * np.float32(1.0 / self.full_scale)
        return scaled


@dataclass(frozen=True, slots=True, kw_only=True)
class Planes:
    """A grey picture and its halves.

    Attributes
    ----------
    pictures
        The k-th has 2**k x 2**k pixels of the first made one: its pixel i lies at
        2**k i + (2**k - 1) / 2 of the first.
    """

    pictures: tuple[Picture, ...]

    @property
    def whole(self) -> Picture:
        """The picture itself."""
        return self.pictures[0]


def halved(picture: Picture, smallest_side: int) -> Planes:
    """Halve a grey picture as often as both sides stay that long."""
    pictures = [picture]
    while min(pictures[-1].width, pictures[-1].height) >= 2 * smallest_side:
        last = pictures[-1]
        wide, high = last.width // 2, last.height // 2
        half = cv2.resize(
            last.frame[: 2 * high, : 2 * wide], (wide, high), interpolation=cv2.INTER_AREA
        )
        pictures.append(Picture(frame=half, full_scale=picture.full_scale))
    return Planes(pictures=tuple(pictures))


def to_plane(level: int, coordinate: float) -> float:
    """Return where a coordinate of the picture lies in its k-th half."""
    return float((coordinate + 0.5) / 2**level - 0.5)


def from_plane(level: int, coordinate: float) -> float:
    """Return where a coordinate of the k-th half lies in the picture."""
    return float((coordinate + 0.5) * 2**level - 0.5)


def read_picture(frame: object) -> Picture | BoreRefusal:
    """Check a frame; return it as a `Picture`, or say why it is none."""
    if not isinstance(frame, np.ndarray):
        return _refused(f"This is no picture but a {type(frame).__name__}.")
    if frame.ndim not in (2, 3) or (frame.ndim == 3 and frame.shape[2] not in (1, 3)):
        return _refused(
            f"A picture has rows and columns and one or three colours, not {frame.shape}."
        )
    if frame.ndim == 3 and frame.shape[2] == 1:
        frame = frame[:, :, 0]
    if min(frame.shape[:2]) < 16:
        return _refused(
            f"The picture has only {frame.shape[1]} x {frame.shape[0]} pixels, too few for a bore."
        )
    if frame.dtype == np.uint8:
        return Picture(frame=frame, full_scale=255.0)
    if frame.dtype == np.uint16:
        return Picture(frame=frame, full_scale=65535.0)
    if frame.dtype.kind != "f":
        return _refused(f"Pixels of type {frame.dtype} are not understood.")
    return _read_floats(frame)


def _read_floats(frame: NDArray[np.floating]) -> Picture | BoreRefusal:
    low, high = float(frame.min()), float(frame.max())
    if not (math.isfinite(low) and math.isfinite(high)):
        return _refused("Some pixels are not numbers or without bounds.")
    if low < 0 or high > 65535.0:
        return _refused(f"Pixels run from {low:g} to {high:g}; 0 to 1, 255 or 65535 is understood.")
    # Floats come as parts of full scale, or as 8 or 16 bits that were averaged.
    full_scale = 1.0 if high <= 1.0 else 255.0 if high <= 255.0 else 65535.0
    return Picture(frame=frame, full_scale=full_scale)


def _refused(message: str) -> BoreRefusal:
    return BoreRefusal(reason=Reason.NOT_A_PICTURE, message=message, remedy=_REMEDY)
