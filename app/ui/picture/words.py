"""What is written over the picture: plain functions without Qt."""

from __future__ import annotations

import math
from dataclasses import dataclass

from app.job.interfaces import CameraHealth, CameraState
from app.job.quality import Grade, Level
from app.ui.state import DeskState
from app.wiring.glance import BurstProgress
from vision.bore import BoreFit
from vision.geometry import PointMm, PointPx

LATE_S = 0.25
"""A picture that is older than this feels late while jogging (common practice, no source)."""

OLD_S = 1.0
"""A picture that is older than this no longer shows what the machine does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeWord:
    """How old the picture is.

    Attributes
    ----------
    words
        "live", "0.4 s late", "2 s old".
    grade
        Drawn as a shape and a colour.
    """

    words: str
    grade: Grade


def age_word(age_s: float) -> AgeWord:
    """Return how old a picture of this age is, in a word.

    Parameters
    ----------
    age_s
        Seconds since it arrived; infinity where none ever did.

    Examples
    --------
    >>> age_word(0.4).words
    '0.4 s late'
    """
    if not math.isfinite(age_s):
        return AgeWord(words="no picture yet", grade=Grade.UNKNOWN)
    if age_s <= LATE_S:
        return AgeWord(words="live", grade=Grade.GOOD)
    if round(age_s, 1) < OLD_S:
        return AgeWord(words=f"{age_s:.1f} s late", grade=Grade.FAIR)
    if age_s < 90.0:
        return AgeWord(words=f"{age_s:.0f} s old", grade=Grade.POOR)
    return AgeWord(words=f"{age_s / 60.0:.0f} min old", grade=Grade.POOR)


@dataclass(frozen=True, slots=True, kw_only=True)
class Captions:
    """What is written over the picture, beside the overlay.

    Attributes
    ----------
    is_lost
        Whether the picture is no longer what the machine looks like now: the sentence
        stands in its place.
    sentence
        What is the matter with the camera; empty when nothing is.
    age
        How old the picture is; None while it is fresh.
    is_simulated
        Whether the picture is the bench's.
    burst
        How far a sighting under way is; None when there is none.
    """

    is_lost: bool = False
    sentence: str = ""
    age: AgeWord | None = None
    is_simulated: bool = False
    burst: BurstProgress | None = None


def captions_of(state: DeskState) -> Captions:
    """Return what is to be written over the picture."""
    lost = is_lost(state.camera)
    fresh = state.camera.frame_age_s <= LATE_S
    return Captions(
        is_lost=lost,
        sentence=camera_sentence(state.camera),
        age=None if fresh else age_word(state.camera.frame_age_s),
        is_simulated=state.simulated,
        burst=state.burst,
    )


def readout(pixel: PointPx, from_target_mm: PointMm | None) -> str:
    """Return what lies under the pointer.

    Parameters
    ----------
    pixel
        The picture's point there.
    from_target_mm
        How far it lies from the target in machine axes; None without a pixel scale.

    Examples
    --------
    >>> readout(PointPx(312.4, 201.0), PointMm(0.1212, -0.0338))
    'u 312.4 v 201.0   X +0.121 Y -0.034 mm'
    """
    where = f"u {pixel.u:.1f} v {pixel.v:.1f}"
    if from_target_mm is None:
        return where
    return f"{where}   X {_signed(from_target_mm.x)} Y {_signed(from_target_mm.y)} mm"


def length_words(length_mm: float) -> str:
    """Return a round length: ``0.5 mm``, ``0.02 mm``, ``2 mm``."""
    return f"{length_mm:.6f}".rstrip("0").rstrip(".") + " mm"


def burst_words(burst: BurstProgress) -> str:
    """Return how far a sighting under way is: ``5 of 12``."""
    return f"{burst.taken} of {burst.wanted}"


def is_lost(camera: CameraHealth) -> bool:
    """Return whether the picture is no longer what the machine looks like now."""
    return camera.state is not CameraState.LIVE


def camera_sentence(camera: CameraHealth) -> str:
    """Return what to say of a camera; empty for one that is well."""
    if camera.sentence:
        return camera.sentence
    match camera.state:
        case CameraState.OPENING:
            return "The camera is being opened."
        case CameraState.STALLED:
            return "The camera sends no pictures; it is being opened again."
        case CameraState.ENDED:
            return "There are no more pictures: the recording has ended."
        case CameraState.CLOSED:
            return "The camera is closed."
        case CameraState.LIVE:
            return ""


def picture_description(state: DeskState) -> str:
    """Return what there is to see, for those who cannot see it."""
    if is_lost(state.camera):
        return camera_sentence(state.camera)
    where = "on the bench, simulated" if state.simulated else f"from {state.camera_name}"
    if state.glance is None:
        return f"Live picture {where}. Nothing was looked for yet."
    answer = state.glance.seen.fit
    if isinstance(answer, BoreFit):
        return f"Live picture {where}. A bore is in view."
    return f"Live picture {where}. {answer.message}"


def level_name(title: str, level: Level) -> str:
    """Return a column's name with its word and grade: ``Focus: sharp (good)``."""
    return f"{title}: {level.word} ({level.grade})"


def _signed(value_mm: float) -> str:
    # Adding zero turns a negative zero into a plain one.
    return f"{round(value_mm, 3) + 0.0:+.3f}"
