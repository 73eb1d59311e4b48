"""The states that a badge can show, with the word for each: no Qt."""

from __future__ import annotations

from enum import StrEnum


class State(StrEnum):
    """How a thing of the run is doing. The value is the word that stands beside the shape."""

    WAITING = "to do"
    NEXT = "next"
    GOOD = "good"
    WARNING = "doubtful"
    BAD = "bad"
    STRUCK = "struck out"
    REFERENCE = "reference"
    SIMULATED = "simulated"
