"""How sharp a picture is as a whole, so cheaply that each frame of a live picture can be told.

`vision.focus.sharpness` looks at every pixel, which a sweep over heights needs. Here the
picture is halved until it is some hundred pixels wide: what is left of it tells a tip that
is a few tenths of a millimetre out of focus as well, in a fifth to a twentieth of the time.
"""

from __future__ import annotations

from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

_Levels = NDArray[np.uint8] | NDArray[np.uint16]

NARROWEST_PX = 320
"""A picture is halved as long as it stays that wide. A tip's rim is then still 15 px wide
and more, and blurred by a pixel in focus."""

SMOOTHING_PX = 1.0
"""Noise of single pixels is not sharpness."""


def coarse_sharpness(frame: _Levels) -> float:
    """Return the mean squared gradient (Tenengrad) of a picture that was made small.

    Parameters
    ----------
    frame
        Grey (H, W) or BGR (H, W, 3), uint8 or uint16, any strides; it is not altered.

    Returns
    -------
    float
        In squared parts of full scale per pixel of the small picture. Comparable only
        between pictures of one size and exposure, and with no other measure.

    Raises
    ------
    ValueError
        When the frame is no picture.

    References
    ----------
    Pertuz, Puig & Garcia 2013, Pattern Recognition 46, 1415-1432 (operator GRA6).
    """
    if frame.dtype not in (np.uint8, np.uint16):
        raise ValueError(f"frame must be uint8 or uint16, got {frame.dtype}")
    if frame.ndim not in (2, 3) or (frame.ndim == 3 and frame.shape[2] != 3) or frame.size == 0:
        raise ValueError(f"frame must have shape (H, W) or (H, W, 3), got {frame.shape}")
    small = _halved(frame)
    if small.ndim == 3:
        small = cast("_Levels", cv2.cvtColor(small, cv2.COLOR_BGR2GRAY))
    grey = small.astype(np.float32) * np.float32(1.0 / np.iinfo(frame.dtype).max)
    smooth = cv2.GaussianBlur(grey, (0, 0), SMOOTHING_PX)
    # A Sobel kernel sums eight times the derivative.
    slopes = [cv2.Sobel(smooth, cv2.CV_32F, *way, ksize=3, scale=0.125) for way in ((1, 0), (0, 1))]
    return float(sum(cv2.norm(slope) ** 2 for slope in slopes) / grey.size)


def _halved(frame: _Levels) -> _Levels:
    """Return the picture with each pixel the mean of 2 x 2, several times over."""
    picture = frame
    while picture.shape[1] >= 2 * NARROWEST_PX and picture.shape[0] >= 2:
        high, wide = picture.shape[0] // 2, picture.shape[1] // 2
        # Colours are weighed last: three small planes are cheaper than one large one.
        even = cast("_Levels", np.ascontiguousarray(picture[: 2 * high, : 2 * wide]))
        picture = cast("_Levels", cv2.resize(even, (wide, high), interpolation=cv2.INTER_AREA))
    return cast("_Levels", np.ascontiguousarray(picture))
