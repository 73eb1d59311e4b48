"""Sensor noise, read from the quietest patches of the picture."""

from __future__ import annotations

import cv2
import numpy as np

from vision.bore.picture import Plane
from vision.bore.ranks import quantile

_PATCH = 8
_QUANTISATION = 1.0 / (255.0 * 12.0**0.5)
"""An 8-bit step as noise, in parts of full scale: the least that is believed."""


def noise_of(plane: Plane) -> float:
    """Return the noise, one standard deviation, in parts of full scale.

    The second difference both ways takes out anything that varies evenly; the
    lower quartile over patches leaves out turning marks, which are no noise.

    References
    ----------
    Immerkaer 1996, Comput. Vis. Image Underst. 64, 300-302 (the mask; its norm is 6).
    """
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32)
    rough = cv2.filter2D(plane, cv2.CV_32F, mask)[1:-1, 1:-1] / np.float32(6.0)
    high, wide = rough.shape[0] // _PATCH, rough.shape[1] // _PATCH
    if high * wide < 4:
        return float(max(np.std(rough), _QUANTISATION))
    squares = cv2.multiply(rough, rough)[: high * _PATCH, : wide * _PATCH]
    power = np.asarray(
        cv2.resize(squares, (wide, high), interpolation=cv2.INTER_AREA), dtype=np.float32
    )
    return max(float(np.sqrt(quantile(power.ravel(), 0.25))), _QUANTISATION)
