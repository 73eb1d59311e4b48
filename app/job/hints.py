"""Where to jog when the bore is not whole in view: one or two sentences."""

from __future__ import annotations

import math

from app.job.facts import Approach
from app.job.jogs import decimals_of, rounded_step
from app.job.live import correction_towards
from app.job.sheet import SightScale, SightTool, next_step
from app.job.snapshot import Snapshot
from vision.bore import BoreFit, BoreRefusal, Reason
from vision.geometry import PointPx
from vision.pixel_scale import PixelScale

HANDY_MM = 0.1
"""A rough jog is told in whole detents of a usual handwheel."""

SEARCH_MM = 1.0


def where_to_jog(snapshot: Snapshot, answer: BoreFit | BoreRefusal, arrived: Approach) -> str:
    """Return what to do to get the bore into view; empty when it is.

    Parameters
    ----------
    snapshot, answer
        The run, and what the finder says of the newest picture.
    arrived
        From which side the present place was reached.
    """
    if isinstance(answer, BoreFit):
        return ""
    if answer.reason is Reason.PART_IN_VIEW and answer.towards_px is not None:
        return _towards(snapshot, answer, arrived)
    if answer.reason is Reason.NO_ROUND_EDGE:
        return _search(snapshot, answer)
    return f"{answer.message} {answer.remedy}"


def _towards(snapshot: Snapshot, answer: BoreRefusal, arrived: Approach) -> str:
    assert answer.towards_px is not None
    edge = _edge_of(answer.towards_px, _picture_size(snapshot))
    where = f"A rim is at the {edge} edge" if edge else "Part of a rim is in view"
    fix = correction_towards(snapshot, answer, arrived=arrived)
    if fix is None:
        return (
            f"{where} of the picture: jog X or Y by {_step(snapshot):g} either way and see which "
            "brings it in."
        )
    parts = [
        f"{axis} {rounded_step(value, HANDY_MM):+.{decimals_of(HANDY_MM)}f}"
        for axis, value in zip("XY", fix.jog_mm, strict=True)
        if abs(value) >= HANDY_MM / 2.0
    ]
    return f"{where}: jog {' and '.join(parts)}." if parts else f"{where}."


def _search(snapshot: Snapshot, answer: BoreRefusal) -> str:
    if not isinstance(next_step(snapshot), SightScale | SightTool):
        return f"{answer.message} {answer.remedy}"
    step = _step(snapshot)
    return (
        f"Nothing round is in view. Jog X {step:+.1f}; if nothing comes, "
        f"X {-2.0 * step:+.1f}, then back and the same in Y."
    )


def _step(snapshot: Snapshot) -> float:
    """Return a jog of some two thirds of the view, so that a search leaves nothing out."""
    size = _picture_size(snapshot)
    if not isinstance(snapshot.scale, PixelScale) or size is None:
        return SEARCH_MM
    view_mm = min(size) * snapshot.scale.um_per_px * 1e-3
    return max(rounded_step(0.65 * view_mm, HANDY_MM), HANDY_MM)


def _picture_size(snapshot: Snapshot) -> tuple[int, int] | None:
    last = snapshot.run.sightings[-1:] if snapshot.run.sightings else ()
    return last[0].seen.picture_size_px if last else None


def _edge_of(towards: PointPx, size: tuple[int, int] | None) -> str:
    """Return the edge of the picture that a point lies nearest to, or beyond."""
    if size is None:
        return ""
    width, height = size
    room = {
        "left": towards.u,
        "right": width - 1 - towards.u,
        "top": towards.v,
        "bottom": height - 1 - towards.v,
    }
    nearest = min(room, key=lambda edge: room[edge])
    return nearest if math.isfinite(room[nearest]) else ""
