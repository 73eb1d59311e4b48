"""Focus and light as words: what a person at the printer can act on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from vision.bore import BoreFit, BoreRefusal, Reason
from vision.exposure import Exposure

PIXEL_BLUR_PX = 2.0
"""What pixels and their colour filter blur the sharpest edge by; it adds as a variance.
Tips of the bench in focus show 2.0 px and more, whatever their bore."""

SHARP_BLUR, FAIR_BLUR, SOFT_BLUR = 0.095, 0.125, 0.18
"""The rest of an edge's blur, in bore radii, up to which a picture is called sharp, fair
and soft. Tips in focus show 0.09 at most, worn ones of 0.25 mm included (pictures of
`vision.synthesis` at 2.75, 5.5 and 8 um a pixel; rendered sample frames 0.07). Out of
focus, a bore of 0.4 mm shows 0.08 to 0.10 at 0.3 mm, 0.12 at 0.5 mm, 0.2 at 1 mm."""

COLUMN_BLUR = 0.15
"""A column falls by a factor e over this much blur: fast enough to turn Z by it."""

SHARP_SHARE, FAIR_SHARE, SOFT_SHARE = 0.7, 0.5, 0.3
"""The same by whole-picture sharpness, in parts of the best seen: the bench's pictures
keep 0.7 of it at 0.3 mm out of focus, 0.57 at 0.5 mm, 0.4 at 1 mm."""

SHARE_COLUMN = 0.8
"""Brings the column to where a rim of the same grade would bring it."""

DRIFT_SHARE = 0.25
"""A change of grey by more than this is no flicker of a lamp."""

TOO_DARK_BRIGHT, DIM_BRIGHT, STRONG_BRIGHT = 0.12, 0.26, 0.95
"""Of `Exposure.bright`. Sample frames: an unlit one 0.10; dark and noisy, but measured,
0.24; dark steel 0.27; one-sided light, near full scale, 0.98. The bench: 0.34 to 0.71."""

STRONG_SHARE, BURNT_SHARE = 0.003, 0.02
"""Shares of burnt pixels. The land round a bore of 0.4 mm is 3 to 7 % of a picture, so
the second is most of it (three and four times the bench's light burn 0.4 to 1.5 and 1.6
to 4.3 %); glints alone stay under 0.1 % in the sample frames."""

WHITE_BRIGHT = 0.97
"""So near to full scale brightness cannot tell any more by how much light has grown."""


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
        Of this picture, and the largest of the run so far (`vision.focus.sharpness`).
        They tell where a tip is in view but no whole rim; tips differ in it by a factor
        of two, so that a fitted rim goes by its own blur.
    """
    if answer is None:
        return _NO_PICTURE
    if isinstance(answer, BoreFit):
        rest_px = math.sqrt(max(answer.blur_px**2 - PIXEL_BLUR_PX**2, 0.0))
        blur = rest_px / answer.radius_px
        bands = (blur <= SHARP_BLUR, blur <= FAIR_BLUR, blur <= SOFT_BLUR)
        return _focus(math.exp(-blur / COLUMN_BLUR), bands)
    share = min(sharpness / sharpest, 1.0) if sharpest > 0.0 else 0.0
    if answer.reason is Reason.OUT_OF_FOCUS:
        return _focus(SHARE_COLUMN * min(share, SOFT_SHARE), (False, False, False))
    if answer.reason not in _SHOWING_A_TIP:
        return Level(
            fraction=SHARE_COLUMN * share,
            grade=Grade.UNKNOWN,
            word="no rim",
            advice="Bring a tip into view first; then turn the machine's Z, not the "
            "microscope's wheel.",
        )
    bands = (share >= SHARP_SHARE, share >= FAIR_SHARE, share >= SOFT_SHARE)
    return _focus(SHARE_COLUMN * share, bands)


_NO_PICTURE = Level(fraction=0.0, grade=Grade.UNKNOWN, word="no picture", advice="")
_SHOWING_A_TIP = (Reason.PART_IN_VIEW, Reason.COVERED, Reason.SEVERAL)
_FINER = "Turn the machine's Z a little, not the microscope's wheel, until the column is highest."
_COARSER = "Turn the machine's Z, not the microscope's wheel, until the rim is sharp."


def _focus(fraction: float, bands: tuple[bool, bool, bool]) -> Level:
    """Return the level of the first band that holds: sharp, fair, soft, or none of them."""
    match bands:
        case (True, _, _):
            grade, word, advice = Grade.GOOD, "sharp", ""
        case (_, True, _):
            grade, word, advice = Grade.FAIR, "fair", _FINER
        case (_, _, True):
            grade, word, advice = Grade.POOR, "soft", _FINER
        case _:
            grade, word, advice = Grade.POOR, "out of focus", _COARSER
    return Level(fraction=fraction, grade=grade, word=word, advice=advice)


_MORE = "Turn the microscope's lamp up, or the camera's exposure."
_LESS = "Turn the microscope's lamp down, or the camera's exposure."


def light_level(exposure: Exposure | None, answer: BoreFit | BoreRefusal | None) -> Level:
    """Return how well the picture is lit.

    Parameters
    ----------
    exposure, answer
        Of the newest picture; None before the first. The finder's own word on a picture
        that is too dark or burnt out goes first.
    """
    if exposure is None:
        return _NO_PICTURE
    reason = answer.reason if isinstance(answer, BoreRefusal) else None
    bright, burnt = exposure.bright, exposure.burnt_share
    if reason is Reason.BURNT_OUT or burnt > BURNT_SHARE:
        return Level(fraction=1.0, grade=Grade.POOR, word="burnt out", advice=_LESS)
    if reason is Reason.TOO_DARK or bright < TOO_DARK_BRIGHT:
        dark = min(bright, TOO_DARK_BRIGHT)
        return Level(fraction=dark, grade=Grade.POOR, word="too dark", advice=_MORE)
    if burnt > STRONG_SHARE or bright > STRONG_BRIGHT:
        return Level(fraction=bright, grade=Grade.FAIR, word="bright", advice=_LESS)
    if bright < DIM_BRIGHT:
        return Level(fraction=bright, grade=Grade.FAIR, word="dim", advice=_MORE)
    return Level(fraction=bright, grade=Grade.GOOD, word="good", advice="")


def exposure_drift(first: Exposure, now: Exposure) -> str | None:
    """Return a sentence when the light is no longer what it was, or None.

    More or less light changes all greys alike. Another tip, or the same at another
    place, does not: a larger land lifts the bright end alone (by 40 % between bores of
    0.25 and 0.8 mm), a tip off the middle lowers the mean alone (by 20 %). So the
    smaller of the two changes counts.

    Parameters
    ----------
    first, now
        Of two pictures with a bore in view, the earlier one first.
    """
    if first.mean <= 0.0 or first.bright <= 0.0:
        return None
    mean = now.mean / first.mean - 1.0
    bright = now.bright / first.bright - 1.0
    if now.bright >= WHITE_BRIGHT and mean > 0.0:
        bright = max(bright, mean)
    change = min(mean, bright, key=abs)
    if mean * bright <= 0.0 or abs(change) <= DRIFT_SHARE:
        return None
    way = "grown brighter" if change > 0.0 else "grown darker"
    return (
        f"The picture has {way} by {abs(change):.0%} since the first sighting: automatic exposure "
        "seems to be on. Switch it off; if the lamp was turned, turn it back."
    )
