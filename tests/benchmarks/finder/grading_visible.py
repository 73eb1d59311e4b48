"""Whether a person could say where the rim is."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.finder.grading_plane import Plane

_DIRECTIONS = 72
# Steps an eye finds along a line in a noisy picture: 10 of 255 in the mean over a few pixels.
_LEAST_STEP = 10.0
_STEP_TO_NOISE = 2.0


def rim_shown(frame: NDArray[np.uint8], plane: Plane) -> float:
    """Return the share of the rim's directions with a step from dark to bright at the rim.

    In each direction the darkest place just inside the true rim is set against the brightest
    just outside of it, both smoothed over 1 px.
    """
    dull = frame if frame.ndim == 2 else cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY)
    grey = np.asarray(dull, dtype=np.float32)
    smooth = np.asarray(cv2.GaussianBlur(grey, (0, 0), 1.0), dtype=np.float32)
    reach_px = 2.0 + 1.5 * plane.blur_px
    offsets = np.linspace(0.0, reach_px, 7) / plane.radius_px
    outside = np.stack([_ring(smooth, plane, 1.0 + off) for off in offsets])
    inside = np.stack([_ring(smooth, plane, 1.0 - off) for off in offsets])
    step = outside.max(axis=0) - inside.min(axis=0)
    needed = max(_LEAST_STEP, _STEP_TO_NOISE * _noise(grey))
    return float((step > needed).mean())


def _ring(smooth: NDArray[np.float32], plane: Plane, rims: float) -> NDArray[np.float32]:
    places = plane.rim_px(rims, _DIRECTIONS).astype(np.float32)
    found = cv2.remap(
        smooth,
        places[None, :, 0],
        places[None, :, 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(found[0], dtype=np.float32)


def _noise(grey: NDArray[np.float32]) -> float:
    """Return the noise of a pixel from second differences (Immerkaer 1996), in grey values."""
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32)
    found = cv2.filter2D(grey, -1, mask)
    return float(np.median(np.abs(found)) / 0.6745 / 6.0)
