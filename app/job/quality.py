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

SHARP_BLUR, FAIR_BLUR, SOFT_BLUR = 0.085, 0.125, 0.18
"""The rest of an edge's blur, in bore radii, up to which a picture is called sharp, fair
and soft. Tips in focus show 0.07 at most, those of 0.25 mm included (pictures of
`vision.synthesis` at 2.75, 5.5 and 8 um a pixel). Out of focus, a bore of 0.4 mm shows
0.05 to 0.08 at 0.3 mm, 0.09 to 0.11 at 0.5 mm, 0.12 to 0.15 at 0.7 mm, 0.19 at 1 mm."""

COLUMN_BLUR = 0.15
"""A column falls by a factor e over this much blur: fast enough to turn Z by it."""

SHARP_SHARE, FAIR_SHARE, SOFT_SHARE = 0.84, 0.7, 0.45
"""The same by whole-picture sharpness, in parts of the best seen: the bench's pictures
keep 0.83 to 0.87 of it at 0.3 mm out of focus, 0.67 to 0.73 at 0.5 mm, 0.4 to 0.5 at 1 mm
(640 x 480 at 5.5 um a pixel and 1920 x 1080 at 2.75; more where pixels are coarser)."""

SHARE_COLUMN = 0.7
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

DIM_LAND = 0.34
"""Of the land beside a rim, below which it is dim. Sample frames: dark and noisy 0.29, dark
steel 0.36. Of a tip that fills a small part of the picture, `bright` says too little."""

STRONG_LAND, BURNT_LAND = 0.3, 0.62
"""Shares of burnt land beside a rim: from the second on, the edge's height is a guess. The
bench: none in its usual light, 0.2 to 0.3 at 2.5 times as much, 0.6 to 0.8 at 4 times."""

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
        Of this picture, and the largest of the run so far, whole pictures by one measure
        (`vision.coarse_focus.coarse_sharpness`).
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
    levels = answer.levels if isinstance(answer, BoreFit) else None
    # Where there is a rim, the land beside it counts: edges are measured there.
    bright = exposure.bright if levels is None else levels.land
    dim = DIM_BRIGHT if levels is None else DIM_LAND
    land_burnt = 0.0 if levels is None else levels.burnt_share
    if reason is Reason.BURNT_OUT or exposure.burnt_share > BURNT_SHARE or land_burnt > BURNT_LAND:
        return Level(fraction=1.0, grade=Grade.POOR, word="burnt out", advice=_LESS)
    if reason is Reason.TOO_DARK or bright < TOO_DARK_BRIGHT:
        dark = min(bright, TOO_DARK_BRIGHT)
        return Level(fraction=dark, grade=Grade.POOR, word="too dark", advice=_MORE)
    if (
        exposure.burnt_share > STRONG_SHARE
        or exposure.bright > STRONG_BRIGHT
        or land_burnt > STRONG_LAND
    ):
        return Level(fraction=bright, grade=Grade.FAIR, word="bright", advice=_LESS)
    if bright < dim:
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
