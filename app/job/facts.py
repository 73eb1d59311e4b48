"""The facts of a run: what happened, in the order in which it happened.

Facts are appended, never edited. They hold measured centres, not only pictures,
so that an update of the program changes no old result. All else is derived from
them by plain functions (see `run`, `snapshot`, `sheet`, `offsets`, `checks`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from app.dialects.values import NozzleVectorMm, OffsetMm
from app.job.profile import Profile
from vision.bore import SeenRim
from vision.geometry import CovMm2, CovPx2, PointPx


class Position(NamedTuple):
    """A machine position as the display shows it, in mm; z is None where nobody read it."""

    x: float
    y: float
    z: float | None = None


class Approach(NamedTuple):
    """From which side the last motion of each axis came: +1 it grew, -1 it fell, 0 unknown."""

    x: int = 0
    y: int = 0


UNKNOWN = Approach()
"""Nobody knows from which side the machine came."""


class Purpose(StrEnum):
    """What a sighting is for."""

    SCALE = "scale"
    TOOL = "tool"


class PositionMode(StrEnum):
    """Where positions come from."""

    SHOWN = "shown"
    """The machine shows coordinates; they are typed or read from a link."""
    JOGS_ONLY = "jogs-only"
    """The panel shows none: positions are sums of the jogs since the start."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunStarted:
    """A run began, on this machine as it was known then.

    `simulated` only labels the run on screens, in records and in exports.
    """

    profile: Profile
    camera: str
    mode: PositionMode
    simulated: bool
    program_version: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """The person ticked the preparation: the names of what was ticked."""

    ticked: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighted:
    """A bore was sighted: N frames, one centre, at one machine position.

    Attributes
    ----------
    purpose, tool
        What it is for, and which tool was in view.
    position
        What the display showed (or the sum of jogs, in jogs-only mode).
    in_display_mm
        How much of the tool's offset the shown position contains, so that the
        carriage coordinate is C = shown - in_display.
    approach
        From which side the position was reached.
    centre_px, temporal_cov_px2, static_cov_px2, radius_px, blur_px
        The burst's centre with the two parts of its covariance, both already as
        they stand for the mean of the burst.
    frame_centres_px
        The centre in each frame of the burst; None for frames that were dropped.
    picture_size_px
        Width and height of the frames.
    camera_generation
        The source's generation; a change means it was opened anew.
    algorithm
        Name and version of the finder.
    rim
        The rim's shape and how bright it was beside it, as the mean of the burst: what
        the bore's size is worked out from. None in facts from before it was recorded.
    """

    purpose: Purpose
    tool: int
    position: Position
    in_display_mm: OffsetMm
    approach: Approach
    centre_px: PointPx
    temporal_cov_px2: CovPx2
    static_cov_px2: CovPx2
    radius_px: float
    blur_px: float
    frame_centres_px: tuple[PointPx | None, ...]
    picture_size_px: tuple[int, int]
    camera_generation: int
    algorithm: str
    rim: SeenRim | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Homed:
    """The machine was homed, with this tool active."""

    tool: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraDisturbed:
    """The camera was moved, refocused or zoomed: earlier centres no longer compare."""

    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck:
    """The entry with this number no longer counts."""

    number: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """The struck entry with this number counts again."""

    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Retyped:
    """The position of the sighting with this number was mistyped; this is the right one."""

    number: int
    position: Position


@dataclass(frozen=True, slots=True, kw_only=True)
class MirrorAccepted:
    """The person confirmed that this camera's picture is (or is not) mirrored."""

    mirrored: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportedTool:
    """One tool's numbers as they were exported."""

    tool: int
    nozzle_vector_mm: NozzleVectorMm
    covariance_mm2: CovMm2
    expanded_uncertainty_mm: tuple[float, float, float | None]
    new_stored: OffsetMm | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """Offsets were exported, with their numbers, text and warnings."""

    tools: tuple[ExportedTool, ...]
    settings_text: str
    moves_text: str
    warnings: tuple[str, ...]
    algorithm: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """The person says that the new offset of this tool was entered in the machine."""

    tool: int


Fact = (
    RunStarted
    | Prepared
    | Sighted
    | Homed
    | CameraDisturbed
    | Struck
    | Restored
    | Retyped
    | MirrorAccepted
    | Exported
    | Entered
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A fact as it was recorded.

    Attributes
    ----------
    number
        Its place in the run, from 1 on.
    at
        When, as ISO 8601 in UTC.
    """

    number: int
    at: str
    fact: Fact
