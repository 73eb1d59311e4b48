"""How bright a picture is, and how much of it is burnt out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

_Levels = NDArray[np.uint8] | NDArray[np.uint16]

_ENOUGH_PIXELS = 20_000
"""Of so many pixels, evenly spread, a share of 1 % is known to 0.07 % (one sigma of a
binomial share), and looking at them takes a small part of a millisecond."""

_BRIGHT_SHARE = 0.95

_WHITE = 255
"""Full scale of 8 bits; deeper pictures are sorted into as many levels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """The light of one picture, in parts of full scale, 0 to 1.

    Attributes
    ----------
    mean
        Mean grey value of the whole picture.
    bright
        Its 95th percentile: about the land where a tip is in view.
    burnt_share
        Share of pixels at or next to full scale.
    """

    mean: float
    bright: float
    burnt_share: float


def exposure_of(frame: _Levels) -> Exposure:
    """Return how bright a picture is, from pixels on an even grid.

    Parameters
    ----------
    frame
        Grey (H, W) or BGR (H, W, 3), uint8 or uint16, any strides; it is not altered.
        Colours are weighed as the finder weighs them.

    Raises
    ------
    ValueError
        When the frame is no picture.
    """
    if frame.dtype not in (np.uint8, np.uint16):
        raise ValueError(f"frame must be uint8 or uint16, got {frame.dtype}")
    if frame.ndim not in (2, 3) or (frame.ndim == 3 and frame.shape[2] != 3) or frame.size == 0:
        raise ValueError(f"frame must have shape (H, W) or (H, W, 3), got {frame.shape}")
    grey = _sampled(frame)
    full = int(np.iinfo(frame.dtype).max)
    levels = grey if full == _WHITE else grey >> 8
    counts = np.bincount(levels.ravel(), minlength=_WHITE + 1)
    up_to = np.cumsum(counts)
    return Exposure(
        mean=float(grey.mean(dtype=np.float64)) / full,
        bright=int(np.searchsorted(up_to, _BRIGHT_SHARE * grey.size)) / _WHITE,
        burnt_share=int(counts[_WHITE - 1 :].sum()) / grey.size,
    )


def _sampled(frame: _Levels) -> _Levels:
    """Return the grey values on an even grid, each pixel as it is."""
    height, width = frame.shape[:2]
    step = max(1, math.isqrt(height * width // _ENOUGH_PIXELS))
    # Whole rows first: they are copied and weighed many times faster than single pixels.
    rows = cast("_Levels", np.ascontiguousarray(frame[::step]))
    if rows.ndim == 3:
        rows = cast("_Levels", cv2.cvtColor(rows, cv2.COLOR_BGR2GRAY))
    return cast("_Levels", np.ascontiguousarray(rows[:, ::step]))
