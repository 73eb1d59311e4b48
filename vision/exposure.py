"""How bright a picture is, and how much of it is burnt out."""

from __future__ import annotations

from dataclasses import dataclass


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
