"""When a sighting may be taken without a key: a pure rule, folded over what is seen.

Only the finder's answers and their own times are used. What is asked for is that the
bore stands still, that what was typed has nothing against it, and that something has
happened since the last sighting which makes this another one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from app.job.by_hand import Agreement, PlaceEntry
from app.job.facts import Sighted
from app.job.live import Seen
from app.job.run import Run
from app.job.sheet import SightScale, SightTool, Step
from app.job.snapshot import Snapshot
from vision.bore import BoreFit
from vision.geometry import PointMm, PointPx
from vision.pixel_scale import PixelScale

STEADY_S = 1.0
"""How long the bore has to stand still: longer than a head swings after a jog."""

LEAST_STIR_PX = 0.3
"""Whatever the finder thinks of its own noise, this much is standing still."""

LOST_S = 0.3
"""How long the bore has to be away to count as gone: a few frames, not one refusal."""

LEAST_MOVE_PX = 5.0
"""Less than this is no jog of 0.1 mm at any zoom that shows a bore in full."""

EXPECTED_SHARE = 0.25
"""How far from the expected way the bore may have gone, as a part of it: the bore's
nominal size tells a pixel's size little better, and a stop between two jogs lacks more.
Where this is too strict, as for a wide bevel, a key takes the sighting."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Steadiness:
    """What has been seen since the step began.

    Attributes
    ----------
    since_s, latest_s
        When the present stand-still began, and the newest answer, on the source's clock.
    centre_px
        Where the bore stood when it began; None while none is seen.
    newest_px
        Where the bore was seen last; None while none is seen.
    camera_generation
        Of the newest answer.
    lost_since_s
        Since when no bore has been seen; None while one is.
    was_lost
        Whether the bore was gone for a while at some time: another tool may be here.
    """

    since_s: float
    latest_s: float
    centre_px: PointPx | None
    newest_px: PointPx | None
    camera_generation: int
    lost_since_s: float | None
    was_lost: bool

    @property
    def is_steady(self) -> bool:
        """Whether a bore has stood still for long enough."""
        return self.centre_px is not None and self.latest_s - self.since_s >= STEADY_S


def watch(previous: Steadiness | None, seen: Seen) -> Steadiness:
    """Return what has been seen with one more answer of the finder.

    Parameters
    ----------
    previous
        What was seen so far; None when the step has just begun.
    seen
        The newest answer. An answer older than the one before changes nothing.
    """
    if previous is not None and seen.arrived_at_s < previous.latest_s:
        return previous
    if isinstance(seen.fit, BoreFit):
        return _with_bore(previous, seen, seen.fit)
    return _without_bore(previous, seen)


def restarted(steadiness: Steadiness) -> Steadiness:
    """Return the same with the stand-still beginning now: after a key was typed.

    A number that is half typed must not be taken for a whole one.
    """
    return replace(steadiness, since_s=steadiness.latest_s, centre_px=steadiness.newest_px)


def may_sight(step: Step, snapshot: Snapshot, steadiness: Steadiness, entry: PlaceEntry) -> bool:
    """Return whether a sighting may be taken now without a key.

    Never at the first place, which the person chooses; never where the bore stands
    as it did at the last sighting; never of another tool before the last one has gone
    from view, nor where the picture cannot check the place.
    """
    if not isinstance(step, SightScale | SightTool) or not steadiness.is_steady:
        return False
    if entry.place is None or entry.problem is not None or entry.doubt is not None:
        return False
    bore = steadiness.newest_px
    last = _last(snapshot.run)
    if bore is None or last is None or (isinstance(step, SightScale) and step.plan is None):
        return False
    if last.tool != step.tool or snapshot.run.homed_since_sighting:
        # Of a place that the picture cannot check, a person has to say that it is right.
        is_checked = all(a.agreement is Agreement.AGREES for a in entry.axes if a.axis != "Z")
        return steadiness.was_lost and is_checked
    if last.camera_generation != steadiness.camera_generation:
        return False
    return _went_as_expected(entry, snapshot, last, bore)


def _with_bore(previous: Steadiness | None, seen: Seen, fit: BoreFit) -> Steadiness:
    at = seen.arrived_at_s
    was_lost = previous is not None and (previous.was_lost or _has_been_lost(previous, at))
    fresh = Steadiness(
        since_s=at,
        latest_s=at,
        centre_px=fit.centre_px,
        newest_px=fit.centre_px,
        camera_generation=seen.camera_generation,
        lost_since_s=None,
        was_lost=was_lost,
    )
    if previous is None or previous.centre_px is None:
        return fresh
    if previous.camera_generation != seen.camera_generation:
        return fresh
    if at - previous.latest_s >= STEADY_S:
        # A camera that stalled did not see what happened meanwhile.
        return fresh
    if math.dist(previous.centre_px, fit.centre_px) > _stir_px(fit):
        return fresh
    return replace(fresh, since_s=previous.since_s, centre_px=previous.centre_px)


def _without_bore(previous: Steadiness | None, seen: Seen) -> Steadiness:
    at = seen.arrived_at_s
    since = at if previous is None or previous.lost_since_s is None else previous.lost_since_s
    return Steadiness(
        since_s=at,
        latest_s=at,
        centre_px=None,
        newest_px=None,
        camera_generation=seen.camera_generation,
        lost_since_s=since,
        was_lost=at - since >= LOST_S or (previous is not None and previous.was_lost),
    )


def _has_been_lost(previous: Steadiness, at_s: float) -> bool:
    return previous.lost_since_s is not None and at_s - previous.lost_since_s >= LOST_S


def _stir_px(fit: BoreFit) -> float:
    """Return how far centres may lie apart while the bore stands still."""
    noise = fit.temporal_cov_px2
    return max(LEAST_STIR_PX, 4.0 * math.sqrt(max(noise.uu, noise.vv)))


def _last(run: Run) -> Sighted | None:
    """Return the last sighting, struck out or not: nothing is sighted twice by itself."""
    return run.sightings[-1].seen if run.sightings else None


def _went_as_expected(entry: PlaceEntry, snapshot: Snapshot, last: Sighted, bore: PointPx) -> bool:
    """Whether the bore went about as far as the fields say, and went at all."""
    assert entry.place is not None
    step_mm = PointMm(entry.place.x - last.position.x, entry.place.y - last.position.y)
    way_px = PointPx(bore.u - last.centre_px.u, bore.v - last.centre_px.v)
    if math.hypot(*way_px) < LEAST_MOVE_PX:
        return False
    if isinstance(snapshot.scale, PixelScale):
        expected_px = snapshot.scale.to_px(step_mm)
        off, far = math.dist(expected_px, way_px), math.hypot(*expected_px)
    else:
        bore_mm = snapshot.run.profile.tool(last.tool).bore_mm
        far = math.hypot(*step_mm) * 2.0 * last.radius_px / bore_mm
        off = abs(far - math.hypot(*way_px))
    return off <= EXPECTED_SHARE * far
