"""What a person types while doing a run by hand, and whether the picture agrees.

Pure: the texts of the fields, the run and the newest picture in; the place, and what
is to be said about it, out.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from app.job.facts import Approach, Position


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """The texts of the fields as they stand.

    Attributes
    ----------
    x, y, z
        What the display shows; in a run of jogs only, the jog that was made since
        the last sighting. Empty where nothing was typed.
    last_jogs_plus
        Whether the last jog of X and of Y was a plus, as is asked for.
    """

    x: str = ""
    y: str = ""
    z: str = ""
    last_jogs_plus: bool = True


class Agreement(StrEnum):
    """What the picture says of a typed number."""

    UNKNOWN = "unknown"
    """Nothing can be told from the picture yet."""
    AGREES = "agrees"
    DOUBTFUL = "doubtful"


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisEntry:
    """One field.

    Attributes
    ----------
    axis
        "X", "Y" or "Z".
    text
        As typed.
    value_mm
        What it says; None when empty or no number.
    problem
        What is wrong with it, in a sentence; None when nothing is.
    agreement, picture_says_mm
        What the picture says of it, and the value that the picture suggests, in
        steps of the display; None where the picture tells nothing.
    """

    axis: str
    text: str
    value_mm: float | None
    problem: str | None
    agreement: Agreement
    picture_says_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceEntry:
    """All fields together.

    Attributes
    ----------
    axes
        X and Y, and Z where it is asked for.
    as_jogs
        Whether the fields hold jogs (a run of jogs only) or what the display shows.
    place
        Where the machine is, when the fields say so without a problem; else None.
    approach
        From which side it was reached.
    problem
        The first thing that keeps a sighting from being taken here; None when nothing does.
    doubt
        One sentence where the picture disagrees: "X reads 150.43; the picture says
        150.34."; None when it does not.
    """

    axes: tuple[AxisEntry, ...]
    as_jogs: bool
    place: Position | None
    approach: Approach
    problem: str | None
    doubt: str | None
