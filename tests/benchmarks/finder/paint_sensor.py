"""From light to the bytes of a camera: blur, tone curve, noise, JPEG."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.finder.paint_canvas import EDGE_PX, Array, Canvas, Rng


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """What the camera does to the light.

    Attributes
    ----------
    blur_px
        Gaussian blur at the bore's centre, the pixel's own width included.
    blur_slope
        Relative change of the blur over a hundred px along the tilt.
    gamma
        Grey = light ** (1 / gamma).
    noise
        Spread of the noise in grey levels of 255.
    jpeg
        Quality, or None for none.
    """

    blur_px: float = 1.2
    blur_slope: float = 0.0
    blur_way_rad: float = 0.0
    gamma: float = 1.0
    noise: float = 2.0
    jpeg: int | None = None

    def linear(self, grey: float) -> float:
        """Return the light, 0 to 255, that comes out as this grey level."""
        return float(255.0 * (grey / 255.0) ** self.gamma)


def expose(canvas: Canvas, sensor: Sensor, rng: Rng) -> NDArray[np.uint8]:
    """Return the picture, shape (H, W) or (H, W, 3)."""
    light = _blurred(canvas, sensor)
    if sensor.gamma != 1.0:
        power = np.float32(1.0 / sensor.gamma)
        light = np.asarray(255.0 * (np.maximum(light, 0.0) / 255.0) ** power, dtype=np.float32)
    light = light + rng.standard_normal(light.shape, dtype=np.float32) * np.float32(sensor.noise)
    frame = np.clip(np.rint(light), 0, 255).astype(np.uint8)
    frame = frame[0] if len(frame) == 1 else np.ascontiguousarray(np.moveaxis(frame, 0, 2))
    return frame if sensor.jpeg is None else jpeg(frame, sensor.jpeg)


def _blurred(canvas: Canvas, sensor: Sensor) -> Array:
    if sensor.blur_slope == 0.0:
        return soften(canvas.light, sensor.blur_px)
    # A blend of two symmetric blurs leaves the middle of every edge where it is.
    change = 1.0 + sensor.blur_slope * canvas.along(sensor.blur_way_rad) / 100.0
    least, most = float(change.min()), float(change.max())
    sharp = soften(canvas.light, max(sensor.blur_px * least, 0.7))
    dull = soften(canvas.light, sensor.blur_px * most)
    share = (change - least) / (most - least)
    return np.asarray(sharp + (dull - sharp) * share, dtype=np.float32)


def soften(light: Array, blur_px: float) -> Array:
    """Return painted light blurred to `blur_px` in all."""
    spread = float(np.sqrt(blur_px**2 - EDGE_PX**2))
    return np.stack([np.asarray(cv2.GaussianBlur(one, (0, 0), spread), "f4") for one in light])


def jpeg(frame: NDArray[np.uint8], quality: int) -> NDArray[np.uint8]:
    """Return the frame after JPEG."""
    done, data = cv2.imencode(".jpg", frame, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    decoded = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
    assert decoded is not None
    return np.asarray(decoded, dtype=np.uint8)
