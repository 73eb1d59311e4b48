"""When a sighting may be taken by itself: the bore has stood still, and it is another place."""

from __future__ import annotations

import math
from dataclasses import dataclass

from app.job.by_hand import PlaceEntry
from app.job.live import Seen
from app.job.run import Sighting
from app.job.sheet import SightScale, SightTool, Step
from app.job.snapshot import Snapshot
from vision.bore import BoreFit
from vision.geometry import PointPx
from vision.pixel_scale import PixelScale

STEADY_S = 1.0
STILL_PX = 0.3
STILL_SIGMAS = 4.0
JUMP_PX = 4.0
"""More than this in one step is a motion of the machine, not of the table."""

LENGTH_SHARE = 0.25
"""A bore's nominal size tells a jog's length to about this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Steadiness:
    """For how long the bore has stood where it is.

    Attributes
    ----------
    centre_px, generation
        Where it stood when it came to rest, in which generation of the camera; None
        while it is not seen.
    since_s, until_s
        From when to when, on the camera's clock.
    has_moved
        Whether it was lost or jumped since it began to be watched.
    """

    centre_px: PointPx | None
    generation: int
    since_s: float
    until_s: float
    has_moved: bool

    @property
    def steady_s(self) -> float:
        """How long it has stood still; zero while it is not seen."""
        return 0.0 if self.centre_px is None else self.until_s - self.since_s


def watch(previous: Steadiness | None, seen: Seen) -> Steadiness:
    """Return the steadiness after one more frame; start anew with None."""
    at_s, generation = seen.arrived_at_s, seen.camera_generation
    has_moved = previous is not None and previous.has_moved
    if not isinstance(seen.fit, BoreFit):
        return Steadiness(
            centre_px=None, generation=generation, since_s=at_s, until_s=at_s, has_moved=True
        )
    centre = seen.fit.centre_px
    if previous is None or previous.centre_px is None or previous.generation != generation:
        return Steadiness(
            centre_px=centre, generation=generation, since_s=at_s, until_s=at_s, has_moved=has_moved
        )
    off_px = math.dist(centre, previous.centre_px)
    allowed_px = max(STILL_PX, STILL_SIGMAS * seen.fit.temporal_cov_px2.sigma_px)
    if off_px <= allowed_px:
        return Steadiness(
            centre_px=previous.centre_px,
            generation=generation,
            since_s=previous.since_s,
            until_s=at_s,
            has_moved=has_moved,
        )
    return Steadiness(
        centre_px=centre,
        generation=generation,
        since_s=at_s,
        until_s=at_s,
        has_moved=has_moved or off_px > JUMP_PX,
    )


def may_sight(step: Step, snapshot: Snapshot, steadiness: Steadiness, entry: PlaceEntry) -> bool:
    """Say whether a sighting may be taken without a key.

    Only of a bore that has stood still for a second, at a place without problem or
    doubt, and never twice at one place: it must have moved since the last sighting,
    by about what was asked for.
    """
    if steadiness.centre_px is None or steadiness.steady_s < STEADY_S:
        return False
    if entry.place is None or entry.problem is not None or entry.doubt is not None:
        return False
    last = snapshot.run.last_counting()
    if last is None or last.seen.camera_generation != steadiness.generation:
        return False
    if isinstance(step, SightScale):
        return _made_the_jog(step, snapshot, steadiness.centre_px, last)
    return isinstance(step, SightTool) and step.tool != last.seen.tool and steadiness.has_moved


def _made_the_jog(step: SightScale, snapshot: Snapshot, centre_px: PointPx, last: Sighting) -> bool:
    if step.plan is None:
        return False
    wanted_mm = math.hypot(*step.plan.step_mm)
    if isinstance(snapshot.scale, PixelScale):
        um_per_px = snapshot.scale.um_per_px
    else:
        um_per_px = snapshot.run.profile.tool(step.tool).bore_mm * 500.0 / last.seen.radius_px
    made_mm = math.dist(centre_px, last.seen.centre_px) * um_per_px * 1e-3
    return abs(made_mm - wanted_mm) <= LENGTH_SHARE * wanted_mm
