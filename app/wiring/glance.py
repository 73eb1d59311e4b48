"""What the threads that look at a camera hand over: frozen values, newest wins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.job.interfaces import Frame
from app.job.live import Seen
from app.job.procedures import Burst
from vision.exposure import Exposure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shown:
    """A frame ready to be painted.

    Attributes
    ----------
    frame
        As it arrived.
    bgra
        Shape (H, W, 4), uint8, contiguous: blue, green, red and 255, as Qt's
        ``Format_RGB32`` lies in memory on every machine that Qt runs on here.
    """

    frame: Frame
    bgra: NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Glance:
    """What the measuring thread made of one frame.

    Attributes
    ----------
    seen
        The finder's answer.
    sharpness
        As `vision.coarse_focus.coarse_sharpness` has it; of every frame alike, whether a
        bore was found or not, since it is compared with the largest so far.
    exposure
        How bright it is.
    picture_size_px
        Width and height.
    took_s
        How long the finder took.
    """

    seen: Seen
    sharpness: float
    exposure: Exposure
    picture_size_px: tuple[int, int]
    took_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstProgress:
    """A sighting is being taken: so many of its frames are there."""

    ask: int
    taken: int
    wanted: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BurstTaken:
    """All frames of a sighting are there; its fit may still be a refusal.

    Attributes
    ----------
    ask
        The number that `Watching.sight` gave out.
    burst
        Fit, pictures to keep, size and generation.
    moved
        A sentence when the bore wandered while the frames were taken, else empty:
        such a burst is no sighting.
    """

    ask: int
    burst: Burst
    moved: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstFailed:
    """No frames came, or the person stopped it: why, in a sentence."""

    ask: int
    sentence: str


BurstEnd = BurstTaken | BurstFailed
