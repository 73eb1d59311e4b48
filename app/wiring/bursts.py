"""What becomes of a burst of frames: its pictures to keep, and whether it stood still."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from app.job.interfaces import Frame, Picture, PictureKind
from app.job.procedures import Burst
from vision.bore import BoreFit, BoreRefusal, BurstFit
from vision.geometry import PointPx

Grey = NDArray[np.uint8] | NDArray[np.uint16]

MOVED_FLOOR_PX = 0.5
"""Less than this between the halves of a burst is no motion worth a sentence: at the usual
5 um per pixel it is a few micrometres, what machines scatter by."""

_MOVED_SIGMA = 4.0
"""How far apart two means may lie by their own scatter, which a dozen frames tell only to a
fifth or so: with it fewer than one noisy burst in a hundred is called moved."""

_FEWEST = 4
"""Fewer frames say nothing of scatter beside motion."""


def burst_of(frames: Sequence[Frame], fit: BurstFit | BoreRefusal, crop_radii: float) -> Burst:
    """Return a burst from its frames, all of one generation, and what the finder made of them.

    Parameters
    ----------
    frames
        At least one, in order of arrival.
    fit
        Its indices are those of `frames`.
    crop_radii
        Half side of a kept crop, in rim radii.
    """
    height, width = frames[0].image.shape[:2]
    return Burst(
        fit=fit,
        pictures=kept_pictures(frames, fit, crop_radii),
        picture_size_px=(width, height),
        camera_generation=frames[0].camera_generation,
    )


def kept_pictures(
    frames: Sequence[Frame], fit: BurstFit | BoreRefusal, crop_radii: float
) -> tuple[Picture, ...]:
    """Return what is kept of a burst: one full grey frame, and crops of the rest."""
    if isinstance(fit, BoreRefusal) or not frames:
        return ()
    first = fit.frames_used[0] if fit.frames_used else 0
    return tuple(
        _picture(frame, None if i == first else fit.centre_px, crop_radii * fit.radius_px)
        for i, frame in enumerate(frames)
    )


def grey(image: Grey) -> Grey:
    """Return the grey plane of a frame."""
    if image.ndim == 2:
        return image
    return cast("Grey", cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_BGR2GRAY))


def moved_between(fit: BurstFit | BoreRefusal) -> str:
    """Return a sentence when the bore wandered while a burst was taken, else empty.

    The means of the first and the second half of the frames that were used are
    compared, against the scatter from frame to frame; so a machine that still creeps
    is told from a noisy picture. All frames count through the medians, since a machine
    that came to rest within the burst leaves its first frames out of the mean.
    """
    if isinstance(fit, BoreRefusal):
        return ""
    found = [i for i, one in enumerate(fit.fits) if isinstance(one, BoreFit)]
    apart_px = max(
        _apart_px(_centres(fit, fit.frames_used), np.mean),
        _apart_px(_centres(fit, found), np.median),
    )
    if apart_px == 0.0:
        return ""
    return (
        f"The bore moved by {apart_px:.1f} px while the frames were taken: wait until the machine "
        "and the camera stand still, then sight again."
    )


def _centres(fit: BurstFit, which: Sequence[int]) -> NDArray[np.float64]:
    """Return the centres of these frames in order, shape (N, 2)."""
    centres = [one.centre_px for i in which if isinstance(one := fit.fits[i], BoreFit)]
    return np.array(centres, dtype=np.float64).reshape(-1, 2)


def _apart_px(centres: NDArray[np.float64], middle: Callable[..., NDArray[np.float64]]) -> float:
    """Return how far apart the halves lie; zero where that is no more than scatter."""
    if len(centres) < _FEWEST:
        return 0.0
    half = len(centres) // 2
    step = np.abs(middle(centres[-half:], axis=0) - middle(centres[:half], axis=0))
    allowed = _MOVED_SIGMA * _scatter_px(centres) * math.sqrt(2.0 / half)
    is_moved = bool((step > np.maximum(MOVED_FLOOR_PX, allowed)).any())
    return math.hypot(*step) if is_moved else 0.0


def _scatter_px(centres: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return one sigma of a single frame per axis, whatever the bore's even motion.

    From second differences, whose variance is 6 sigma^2 for independent frames and which
    an even motion leaves out; by their median, so that a wild frame hides no motion.
    """
    bends = np.abs(centres[:-2] - 2.0 * centres[1:-1] + centres[2:])
    return np.asarray(1.4826 * np.median(bends, axis=0) / math.sqrt(6.0), dtype=np.float64)


def _picture(frame: Frame, centre: PointPx | None, half_px: float) -> Picture:
    if centre is None:
        return Picture(
            image=grey(frame.image),
            kind=PictureKind.FULL,
            origin_px=(0, 0),
            frame_id=frame.frame_id,
        )
    height, width = frame.image.shape[:2]
    left, right = (min(max(round(centre.u + s * half_px), 0), width) for s in (-1, 1))
    top, bottom = (min(max(round(centre.v + s * half_px), 0), height) for s in (-1, 1))
    return Picture(
        # A copy, so that a crop does not hold on to its whole frame.
        image=grey(frame.image[top:bottom, left:right]).copy(),
        kind=PictureKind.CROP,
        origin_px=(left, top),
        frame_id=frame.frame_id,
    )
