"""From linear light to the picture a USB microscope delivers."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A small colour sensor behind a Bayer mosaic.

    Attributes
    ----------
    exposure
        Factor from linear light to full scale.
    full_well
        Electrons at full scale: sets the photon noise.
    read_noise
        Electrons, one standard deviation.
    gamma
        Of the transfer curve.
    sharpening
        Strength of the unsharp mask that such cameras apply.
    mosaic
        Whether there is a Bayer mosaic; without one every pixel sees all three colours, as
        in a picture that the camera has made smaller.
    """

    exposure: float = 1.0
    full_well: float = 6000.0
    read_noise: float = 8.0
    gamma: float = 2.2
    sharpening: float = 0.35
    mosaic: bool = True


def developed(light: Array, sensor: Sensor, *, seed: int) -> Picture:
    """Return an 8-bit BGR picture of linear red, green, blue light."""
    rng = np.random.default_rng(seed)
    exposed = np.maximum(light, 0.0) * sensor.exposure
    seen = _mosaic(exposed) if sensor.mosaic else exposed[..., ::-1]
    electrons = rng.poisson(np.minimum(seen, 4.0) * sensor.full_well).astype(np.float64)
    electrons += rng.normal(0.0, sensor.read_noise, seen.shape)
    raw = np.clip(electrons / sensor.full_well, 0.0, 1.0)
    sixteen_bits = np.round(raw * 65535.0).astype(np.uint16)
    if sensor.mosaic:
        # Red is at (0, 0): what OpenCV calls BayerBG after the second row's colours.
        sixteen_bits = cv2.cvtColor(sixteen_bits, cv2.COLOR_BayerBG2BGR)
    linear = sixteen_bits.astype(np.float64) / 65535.0
    curved = np.clip(linear, 0.0, 1.0) ** (1.0 / sensor.gamma)
    soft = cv2.GaussianBlur(curved, (0, 0), 1.2)
    sharp = curved + sensor.sharpening * (curved - soft)
    return np.asarray(np.clip(np.round(sharp * 255.0), 0, 255), dtype=np.uint8)


def _mosaic(light: Array) -> Array:
    """Return what the sensor sees behind its filters, shape (height, width)."""
    mosaic = light[..., 1].copy()
    mosaic[0::2, 0::2] = light[0::2, 0::2, 0]
    mosaic[1::2, 1::2] = light[1::2, 1::2, 2]
    return mosaic
