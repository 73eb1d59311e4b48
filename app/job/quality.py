"""Focus and light as words: what a person at the printer can act on."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from vision.bore import BoreFit, BoreRefusal, Reason
from vision.exposure import Exposure

SHARP_BLUR, FAIR_BLUR = 0.06, 0.12
"""Blur of the edge in bore radii up to which a picture is called sharp, and fair: at a
0.4 mm bore 12 and 24 um, about a third and two thirds of the depth of field of a USB
microscope away from focus (seen on the bench's pictures)."""

NOT_BLURRED = 0.02
"""What a picture in focus has of it, through pixels and lens."""

DRIFT_SHARE = 0.25
"""A change of the light by more than this is no flicker of a lamp."""

DARK_MEAN, DIM_BRIGHT, STRONG_BRIGHT = 0.05, 0.3, 0.97
BURNT_SHARE = 0.02


class Grade(StrEnum):
    """How good a thing is."""

    UNKNOWN = "unknown"
    GOOD = "good"
    FAIR = "fair"
    POOR = "poor"


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A thin column with a word.

    Attributes
    ----------
    fraction
        How full the column stands, 0 to 1.
    grade
        Drawn as a colour and a shape.
    word
        One or two words: "sharp", "soft", "too dark", "burnt out".
    advice
        What to do about it, in a sentence; empty when it is good.
    """

    fraction: float
    grade: Grade
    word: str
    advice: str


def focus_level(answer: BoreFit | BoreRefusal | None, sharpness: float, sharpest: float) -> Level:
    """Return how sharp the picture is.

    Parameters
    ----------
    answer
        The finder's; None before the first picture.
    sharpness, sharpest
        Of this picture, and the largest of the run so far (`vision.focus.sharpness`):
        they tell where no rim was found.
    """
    if answer is None:
        return Level(fraction=0.0, grade=Grade.UNKNOWN, word="no picture", advice="")
    if isinstance(answer, BoreFit):
        return _focus_of_rim(answer.blur_px / answer.radius_px)
    share = sharpness / sharpest if sharpest > 0.0 else 0.0
    if answer.reason is Reason.OUT_OF_FOCUS:
        return _blurred(min(share, 0.2))
    return Level(
        fraction=min(share, 1.0) * 0.5,
        grade=Grade.UNKNOWN,
        word="no rim",
        advice="No rim is in view to judge the focus by.",
    )


def _focus_of_rim(blur: float) -> Level:
    """Return the level of a blur in bore radii; the column falls as the blur grows."""
    fraction = min(1.0, (NOT_BLURRED + SHARP_BLUR) / (blur + SHARP_BLUR))
    if blur <= SHARP_BLUR:
        return Level(fraction=fraction, grade=Grade.GOOD, word="sharp", advice="")
    if blur <= FAIR_BLUR:
        return Level(
            fraction=fraction,
            grade=Grade.FAIR,
            word="soft",
            advice="Turn the machine's Z a little until the column stands highest.",
        )
    return _blurred(fraction)


def _blurred(fraction: float) -> Level:
    return Level(
        fraction=fraction,
        grade=Grade.POOR,
        word="out of focus",
        advice="Turn the machine's Z, not the microscope's wheel, until the rim is sharp.",
    )


def light_level(exposure: Exposure | None, answer: BoreFit | BoreRefusal | None) -> Level:
    """Return how well the picture is lit."""
    if exposure is None or answer is None:
        return Level(fraction=0.0, grade=Grade.UNKNOWN, word="no picture", advice="")
    burnt = isinstance(answer, BoreRefusal) and answer.reason is Reason.BURNT_OUT
    dark = isinstance(answer, BoreRefusal) and answer.reason is Reason.TOO_DARK
    lower = "Turn the microscope's lamp down, or the camera's exposure."
    higher = "Turn the microscope's lamp up, or the camera's exposure."
    if burnt or exposure.burnt_share > 4.0 * BURNT_SHARE:
        return Level(fraction=1.0, grade=Grade.POOR, word="burnt out", advice=lower)
    if dark or exposure.mean < DARK_MEAN:
        return Level(
            fraction=min(exposure.bright, 0.15), grade=Grade.POOR, word="too dark", advice=higher
        )
    if exposure.burnt_share > BURNT_SHARE or exposure.bright > STRONG_BRIGHT:
        return Level(fraction=exposure.bright, grade=Grade.FAIR, word="bright", advice=lower)
    if exposure.bright < DIM_BRIGHT:
        return Level(fraction=exposure.bright, grade=Grade.FAIR, word="dim", advice=higher)
    return Level(fraction=exposure.bright, grade=Grade.GOOD, word="good", advice="")


def exposure_drift(first: Exposure, now: Exposure) -> str | None:
    """Return a sentence when the light is no longer what it was, or None."""
    if first.mean <= 0.0:
        return None
    change = now.mean / first.mean - 1.0
    if abs(change) <= DRIFT_SHARE:
        return None
    way = "grown" if change > 0.0 else "fallen"
    return (
        f"The light in the picture has {way} by {abs(change):.0%} since the first sighting: is the "
        "camera's automatic exposure on? Switch it off, or the lamp was changed."
    )
