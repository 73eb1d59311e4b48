"""Focus and light as words: what a person at the printer can act on."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


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
