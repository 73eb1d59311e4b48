"""What is seen right now, and the correction that follows from it. Live results are no facts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from app.job.facts import UNKNOWN, Approach
from app.job.jogs import WANTED, JogPlan, plan_jog
from app.job.snapshot import Snapshot
from vision.bore import BoreFit, BoreRefusal
from vision.geometry import PointMm, PointPx
from vision.pixel_scale import PixelScale


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """The finder's answer to one frame.

    Attributes
    ----------
    frame_id, arrived_at_s, camera_generation
        Of the frame.
    fit
        What the finder said.
    """

    frame_id: int
    arrived_at_s: float
    camera_generation: int
    fit: BoreFit | BoreRefusal


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """How to bring the bore to the target.

    Attributes
    ----------
    bore_px, target_px
        Where the bore is, and where it should be: the arrow in the picture.
    jog_mm
        The jog in machine axes; minus what the nozzle stands off.
    expanded_mm
        Expanded uncertainty (k = 2) of that jog per axis, from the sighting and
        the pixel scale.
    plan
        The jogs to make, in whole steps of the display, from the wanted side.
    """

    bore_px: PointPx
    target_px: PointPx
    jog_mm: PointMm
    expanded_mm: PointMm
    plan: JogPlan

    @property
    def distance_mm(self) -> float:
        """How far the nozzle stands from the target."""
        return math.hypot(*self.jog_mm)


def correction(snapshot: Snapshot, seen: Seen, *, arrived: Approach = UNKNOWN) -> Correction | None:
    """Return the correction for what is seen now; None while there is none to give.

    There is none before the pixel scale and the target are known, and when the
    finder refused. A part of a rim at the edge of the picture gives a rough one
    through `correction_towards`.

    Parameters
    ----------
    snapshot
        The run, and what was worked out from it.
    seen
        The finder's newest answer.
    arrived
        From which side the machine came to its present place.
    """
    if not isinstance(seen.fit, BoreFit):
        return None
    return _to_target(snapshot, seen.fit.centre_px, seen.fit, arrived)


def correction_towards(
    snapshot: Snapshot, refusal: BoreRefusal, *, arrived: Approach = UNKNOWN
) -> Correction | None:
    """Return the rough correction where only a part of a rim is in view, or None."""
    if refusal.towards_px is None:
        return None
    return _to_target(snapshot, refusal.towards_px, None, arrived)


def _to_target(
    snapshot: Snapshot, bore: PointPx, fit: BoreFit | None, arrived: Approach
) -> Correction | None:
    scale, target = snapshot.scale, snapshot.target_px
    if not isinstance(scale, PixelScale) or target is None:
        return None
    off = PointPx(bore.u - target.u, bore.v - target.v)
    standing = scale.to_mm(off)
    jog = PointMm(-standing.x, -standing.y)
    covariance = scale.step_cov_mm2(off).matrix()
    if fit is not None:
        to_mm = np.linalg.inv(scale.matrix_px_per_mm)
        covariance = covariance + to_mm @ fit.cov_px2.matrix() @ to_mm.T
    return Correction(
        bore_px=bore,
        target_px=target,
        jog_mm=jog,
        expanded_mm=PointMm(2.0 * math.sqrt(covariance[0, 0]), 2.0 * math.sqrt(covariance[1, 1])),
        plan=plan_jog(
            jog,
            display_step_mm=snapshot.run.profile.display_step_mm,
            arrived=arrived,
            wanted=WANTED,
        ),
    )
