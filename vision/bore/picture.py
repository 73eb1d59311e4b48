"""The frame as the finder reads it: checked, grey, in parts of full scale, cut out on demand."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bore.result import BoreRefusal, Reason

Plane = NDArray[np.float32]

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

    frame: NDArray[np.generic]
    full_scale: float

    @property
    def width(self) -> int:
        """Width in pixels."""
        return int(self.frame.shape[1])

    @property
    def height(self) -> int:
        """Height in pixels."""
        return int(self.frame.shape[0])

    def cut(self, left: int, top: int, right: int, bottom: int) -> Plane:
        """Return that part in grey, in parts of full scale."""
        part = self.frame[top:bottom, left:right]
        grey = _grey(part)
        return np.asarray(grey, dtype=np.float32) * np.float32(1.0 / self.full_scale)

    def reduced(self, factor: int) -> Plane:
        """Return the whole picture in grey, each `factor` x `factor` pixels made one.

        Pixel i of the result lies at factor * i + (factor - 1) / 2 of the picture.
        """
        if factor == 1:
            return self.cut(0, 0, self.width, self.height)
        high, wide = self.height // factor, self.width // factor
        part = self.frame[: high * factor, : wide * factor]
        if part.dtype not in (np.uint8, np.uint16):
            part = np.asarray(part, dtype=np.float32)
        small = cv2.resize(np.ascontiguousarray(part), (wide, high), interpolation=cv2.INTER_AREA)
        return np.asarray(_grey(small), dtype=np.float32) * np.float32(1.0 / self.full_scale)


def _grey(part: NDArray[np.generic]) -> NDArray[np.generic]:
    if part.ndim == 2:
        return part
    if part.dtype not in (np.uint8, np.uint16):
        part = np.asarray(part, dtype=np.float32)
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(part), cv2.COLOR_BGR2GRAY))


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
