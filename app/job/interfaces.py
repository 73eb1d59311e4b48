"""What the job needs from outside, as small protocols, and the values they exchange.

Implementations need not inherit. Times are seconds of the source's own clock:
real time for devices, World time on the bench.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from app.job.facts import Entry, Fact, Position


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One picture as it arrived.

    Attributes
    ----------
    image
        Grey (H, W) or BGR (H, W, 3), uint8 or uint16; treat as read-only.
    frame_id
        Grows by at least one with each frame of a source; gaps are dropped frames.
    arrived_at_s
        When the picture was complete, on the source's clock.
    camera_generation
        Grows each time the source was opened anew or changed size; frames of
        different generations never enter one sighting.
    """

    image: NDArray[np.uint8] | NDArray[np.uint16]
    frame_id: int
    arrived_at_s: float
    camera_generation: int


class CameraState(StrEnum):
    """How a camera is doing."""

    OPENING = "opening"
    LIVE = "live"
    STALLED = "stalled"
    ENDED = "ended"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraHealth:
    """A camera's state, in a word and a sentence.

    Attributes
    ----------
    state
        The word.
    sentence
        For people: what is the matter and what is being tried; empty when all is well.
        A live camera has one when its picture is doubtful.
    frame_age_s
        Age of the newest frame; infinity before the first.
    dropped
        Frames that nobody took in time.
    """

    state: CameraState
    sentence: str
    frame_age_s: float
    dropped: int


class Camera(Protocol):
    """A source of frames. Any thread may call; frames are not copied."""

    name: str

    def now_s(self) -> float:
        """Return the present time on the clock of `Frame.arrived_at_s`."""
        ...

    def next_frame(self, *, after_s: float, timeout_s: float) -> Frame | None:
        """Return the newest frame that arrived after `after_s`.

        Blocks up to `timeout_s` of real time; None when there was none. A source
        that is stalled or lost goes on trying by itself: see `health`.
        """
        ...

    def health(self) -> CameraHealth:
        """Return how the camera is doing, without blocking."""
        ...

    def close(self) -> None:
        """Stop and release the source; a second call does nothing."""
        ...


class Machine(Protocol):
    """A machine that can be told to move. One thread calls; calls block.

    Coordinates are what the machine's display shows for the active tool. Every
    method raises `app.errors.MachineError` when the machine does not do its part.
    """

    name: str

    def shown(self) -> Position:
        """Return the position that the display shows."""
        ...

    def move_to(self, *, x: float | None, y: float | None, z: float | None) -> None:
        """Move the named axes to shown coordinates in mm; return when motion has ended."""
        ...

    def select_tool(self, tool: int) -> None:
        """Make a tool the active one; the machine may move as its firmware does."""
        ...

    def home(self) -> None:
        """Home all axes of the active tool's carriage."""
        ...

    def close(self) -> None:
        """Let go of the machine; nothing moves. A second call does nothing."""
        ...


class PictureKind(StrEnum):
    """What part of a frame is kept."""

    FULL = "full"
    CROP = "crop"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture to be kept with a fact.

    Attributes
    ----------
    image
        Grey (H, W), uint8 or uint16.
    kind
        The whole frame, or a crop round the bore.
    origin_px
        Column and row of the crop's top-left pixel in the frame.
    frame_id
        The frame it comes from.
    """

    image: NDArray[np.uint8] | NDArray[np.uint16]
    kind: PictureKind
    origin_px: tuple[int, int]
    frame_id: int


class FactStore(Protocol):
    """Where facts go. When `append` has returned, the fact is on disk."""

    def start_run(self, started: Fact) -> str:
        """Open a new run with its first fact and return the run's id."""
        ...

    def append(self, run_id: str, fact: Fact, pictures: Sequence[Picture] = ()) -> Entry:
        """Write the pictures, then the fact; return it with its number and time."""
        ...

    def entries(self, run_id: str) -> tuple[Entry, ...]:
        """Return all facts of a run in order."""
        ...
