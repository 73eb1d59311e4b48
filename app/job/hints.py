"""Where to jog while the bore is not whole in view, in one sentence."""

from __future__ import annotations

import math
from dataclasses import replace

from app.job.facts import Approach, Position, PositionMode, Sighted
from app.job.jogs import decimals_of, rounded_step
from app.job.live import correction_towards
from app.job.run import Run
from app.job.sheet import SightScale, SightTool, next_step
from app.job.snapshot import Snapshot
from vision.bore import BoreFit, BoreRefusal, Reason
from vision.geometry import PointMm, PointPx
from vision.pixel_scale import PixelScale

TRY_MM = 0.5
"""A jog that is seen at any zoom, and loses nothing from view that half a bore shows of."""

SEARCHES_MM = (5.0, 2.0, 1.0, 0.5)
"""Steps of a search, the longest that the picture's short side covers is taken."""

_HANDY_MM = ((0.3, 0.1), (0.1, 0.05))


def where_to_jog(snapshot: Snapshot, answer: BoreFit | BoreRefusal, arrived: Approach) -> str:
    """Return where to jog, or what the finder wants; empty when the bore is in view.

    Parameters
    ----------
    snapshot
        The run, and what was worked out from it.
    answer
        The finder's newest answer.
    arrived
        From which side the machine came to its present place.
    """
    if isinstance(answer, BoreFit):
        return ""
    if answer.towards_px is not None:
        return _towards(snapshot, answer, answer.towards_px, arrived)
    if answer.reason is Reason.NO_ROUND_EDGE:
        return _nothing_in_view(snapshot) or _own_words(answer)
    return _own_words(answer)


def _own_words(refusal: BoreRefusal) -> str:
    return f"{refusal.message} {refusal.remedy}"


def _towards(snapshot: Snapshot, refusal: BoreRefusal, towards: PointPx, arrived: Approach) -> str:
    side = _side_words(snapshot.run, towards)
    jog = _jog_words(snapshot, refusal, arrived)
    if side and jog:
        return f"A rim is {side}: jog {jog}."
    if jog:
        return f"{refusal.message} Jog {jog}."
    return (
        f"{f'A rim is {side} of the picture.' if side else refusal.message} Jog X by "
        f"{TRY_MM:g} either way, then Y, and see which brings it in."
    )


def _side_words(run: Run, towards: PointPx) -> str:
    """Return at which edge or corner a point lies; empty where the size is not known."""
    if not run.sightings:
        return ""
    width, height = run.sightings[-1].seen.picture_size_px
    radius = run.sightings[-1].seen.radius_px
    across = "left" if towards.u < width / 2.0 else "right"
    along = "top" if towards.v < height / 2.0 else "bottom"
    gap_u = min(towards.u, width - 1 - towards.u) - radius
    gap_v = min(towards.v, height - 1 - towards.v) - radius
    if gap_u < 0.0 and gap_v < 0.0:
        return f"at the {along} {across} corner"
    return f"at the {across if gap_u < gap_v else along} edge"


def _jog_words(snapshot: Snapshot, refusal: BoreRefusal, arrived: Approach) -> str:
    """Return the rough jog that brings the bore to the target: ``Y -1.00``; or nothing."""
    if not isinstance(snapshot.scale, PixelScale):
        return ""
    # Before the target is known the middle of the jogs is as good.
    target = snapshot.target_px or snapshot.scale.origin_px
    rough = correction_towards(replace(snapshot, target_px=target), refusal, arrived=arrived)
    if rough is None:
        return ""
    step = snapshot.run.profile.display_step_mm
    decimals = decimals_of(step)
    least = 0.2 * max(abs(part) for part in rough.jog_mm)
    handy = PointMm(*(_handy(part, step) for part in rough.jog_mm))
    parts = [
        f"{axis} {way:+.{decimals}f}"
        for axis, way, exact in zip("XY", handy, rough.jog_mm, strict=True)
        if way != 0.0 and abs(exact) >= least
    ]
    return " and ".join(parts)


def _handy(step_mm: float, display_step_mm: float) -> float:
    """Round to tenths, short ones to half tenths: nobody counts finer towards a rim."""
    grid = next((grid for least, grid in _HANDY_MM if abs(step_mm) >= least), 0.0)
    step = max(rounded_step(grid, display_step_mm), display_step_mm)
    return rounded_step(step_mm, step) + 0.0


def _nothing_in_view(snapshot: Snapshot) -> str:
    step, run = next_step(snapshot), snapshot.run
    if not run.sightings or not isinstance(step, SightScale | SightTool):
        return ""
    last = run.sightings[-1].seen
    if last.tool == step.tool and not run.homed_since_sighting:
        return (
            f"Nothing round is in view. It was in view at {_place_words(last.position, run)}: "
            "jog back towards it."
        )
    where = ""
    if isinstance(step, SightTool) and step.expected is not None:
        where = (
            f" Tool {step.tool} is expected at {_place_words(step.expected, run)}; if it stands "
            "there,"
        )
    return f"Nothing round is in view.{where} {_search_words(snapshot, last, start=not where)}"


def _search_words(snapshot: Snapshot, last: Sighted, *, start: bool) -> str:
    """Return a walk round the four neighbours, each jog from where the last one ended."""
    run = snapshot.run
    step = _search_step_mm(snapshot, last)
    decimals = min(decimals_of(run.profile.display_step_mm), 1)
    one, two = f"{step:.{decimals}f}", f"{2.0 * step:.{decimals}f}"
    return (
        f"{'Jog' if start else 'jog'} X +{one}; if nothing comes, X -{two}; "
        f"then X +{one} and Y +{one}, and last Y -{two}."
    )


def _search_step_mm(snapshot: Snapshot, last: Sighted) -> float:
    """Return the longest handy step that leaves no gap between two pictures."""
    if isinstance(snapshot.scale, PixelScale):
        mm_per_px = snapshot.scale.um_per_px * 1e-3
    else:
        mm_per_px = snapshot.run.profile.tool(last.tool).bore_mm / 2.0 / last.radius_px
    # The bore has to be whole in one of the two.
    room_mm = (min(last.picture_size_px) - 2.0 * last.radius_px) * mm_per_px
    return next((step for step in SEARCHES_MM if step <= room_mm), min(SEARCHES_MM))


def _place_words(place: Position, run: Run) -> str:
    decimals = decimals_of(run.profile.display_step_mm)
    if run.started.mode is PositionMode.JOGS_ONLY:
        here = run.sightings[-1].seen.position if run.sightings else Position(0.0, 0.0)
        x, y = place.x - here.x, place.y - here.y
        if math.hypot(x, y) < 1e-9:
            return "the place that was sighted last"
        return f"X {x:+.{decimals}f} Y {y:+.{decimals}f} from the last sighting"
    return f"X {place.x:.{decimals}f} Y {place.y:.{decimals}f}"
