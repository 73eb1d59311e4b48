"""What a source of pictures is, seen from the thread that owns it.

A `Grabber` is blocking and simple; `app.cameras.feed` makes a `Camera` of it, with
a thread, health and reopening.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8] | NDArray[np.uint16]
Clock = Callable[[], float]


class NoImage(Enum):
    """Why a grab brought no picture."""

    NOTHING = auto()
    """None just now; ask again."""
    END = auto()
    """There will be no more."""


class Identical(Enum):
    """What it means when a source gives the same pixels again and again."""

    FAULT = auto()
    """A sensor always has noise, so the driver repeats an old picture."""
    DOUBTFUL = auto()
    """Perhaps a fault, perhaps a server that shows a still picture."""
    USUAL = auto()
    """Recorded pictures may well repeat."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One picture from a source.

    Attributes
    ----------
    image
        Grey (H, W) or BGR (H, W, 3), uint8 or uint16.
    arrived_at_s
        When the picture was complete, before it was decoded, on the clock of `grab`.
    hold_s
        How long until the next picture of a recorded source is due; zero for live ones.
    skipped
        Older pictures that were waiting too and were passed over.
    """

    image: Image
    arrived_at_s: float
    hold_s: float = 0.0
    skipped: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Traits:
    """What a source is like.

    Attributes
    ----------
    name
        For people.
    live
        Whether time passes there by itself: such a source can stall and is opened
        again; a recorded one ends.
    identical
        What equal pictures in a row mean.
    """

    name: str
    live: bool
    identical: Identical


class Grabber(Protocol):
    """A source of pictures. One thread calls all of it; calls block.

    After a `CameraError` the source is closed and may be opened again; after an
    `InputError` opening it again would not help.
    """

    @property
    def traits(self) -> Traits:
        """Return what the source is like; may grow more exact once it is open."""
        ...

    def open(self) -> None:
        """Take hold of the source. Raises `CameraError` or `InputError`."""
        ...

    def grab(self, clock: Clock) -> Shot | NoImage:
        """Wait for the next picture, two seconds at most where the backend allows it."""
        ...

    def close(self) -> None:
        """Let go of the source; harmless when it is not open."""
        ...

    def notes(self) -> tuple[str, ...]:
        """Return sentences on what was found: asked against got, skipped files."""
        ...
