"""Where the doubt comes from: the covariance that each contributor brings to the sightings.

Every contributor is a covariance of the vector of all sightings' places, x and y
in turn, so that what several sightings share (one pick-up, one tip's texture, one
pixel scale) stays shared. Stated figures and measured data only; no factor is
tuned to make coverage come out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.job.observations import Evidence, MachineFigures, Observation
from vision.geometry import PointPx
from vision.pixel_scale import PixelScale

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetSettings:
    """What is assumed where nothing was measured, each with its reason.

    Attributes
    ----------
    finder_bias_px
        Bound on what the finder gets wrong alike in all pictures of one tip
        (rectangular): light and texture of a land move the apparent centre by
        .01 to .04 px.
    unknown_reversal_um
        Standard deviation of the backlash of a machine of which it is not known
        (belts and screws of printers: 0 to 80 um; common practice, no source).
    stated_reversal_share
        How uncertain a stated reversal is, as a part of it: it changes along the
        travel and with wear.
    focus_sigma_mm
        Standard deviation of bringing a tip to the focus by machine Z; the depth
        of field of a USB microscope is 0.1 to 0.3 mm.
    tilt_bound_deg
        Bound on the tilt of the optical axis (rectangular): a microscope that
        stands on a bed by eye.
    repeat_level
        Probability below which repeats that scatter as they do are not believed
        to come from the stated figures; their own scatter is taken instead.
    closure_sigmas
        How many of its own standard deviations the closure may have before it is
        called a movement.
    """

    finder_bias_px: float = 0.04
    unknown_reversal_um: float = 40.0
    stated_reversal_share: float = 0.5
    focus_sigma_mm: float = 0.04
    tilt_bound_deg: float = 4.0
    repeat_level: float = 0.05
    closure_sigmas: float = 3.0


DEFAULT_SETTINGS = OffsetSettings()

SCALE = "pixel scale"
POSITION = "position"
REVERSAL = "reversal"
DRIFT = "drift"

REMEDIES = {
    "sighting": "more frames a sighting, a cleaner tip or better light",
    "finder": "a cleaner tip and even light from all sides",
    SCALE: "bring the tools closer to the target, or make more and longer jogs",
    POSITION: "a second sighting of each tool, its place reached anew",
    REVERSAL: "come to every place from the same side, or measure the reversal",
    "pick-up": "take the tool again and sight it once more",
    DRIFT: "tape the camera down, and sight the reference more often",
    "tilt": "focus each tip more finely, or set the camera upright",
    "focus height": "focus each tip more finely, or measure Z with a shim",
}


def position_sigma_mm(figures: MachineFigures) -> float:
    """Return the standard uncertainty of one position, per axis.

    Repeatability, and rectangular (JCGM 100:2008, 4.3.7) half a motor step and,
    unless the display hides nothing, half a displayed step either way.
    """
    hidden_mm = 0.0 if figures.whole_steps else figures.display_step_mm
    rounded = (figures.motor_step_mm**2 + hidden_mm**2) / 12.0
    return math.sqrt((figures.repeatability_um * 1e-3) ** 2 + rounded)


def reversal_mm(figures: MachineFigures, settings: OffsetSettings) -> tuple[float, float]:
    """Return what is believed of the reversal before looking: value and standard uncertainty."""
    if figures.reversal_um is None:
        return 0.0, settings.unknown_reversal_um * 1e-3
    stated = figures.reversal_um * 1e-3
    return stated, max(stated * settings.stated_reversal_share, 1e-3)


def falling_share(seen: Sequence[Observation]) -> Matrix:
    """Return, per sighting and axis, 0 where the place was reached growing, 1 falling.

    Unknown counts one half. Shape (S, 2).
    """
    signs = np.array([s.approach for s in seen], dtype=np.float64).reshape(-1, 2)
    return (1.0 - signs) / 2.0


def contributor_covariances(
    evidence: Evidence,
    scale: PixelScale,
    closure_mm: Matrix | None,
    settings: OffsetSettings,
) -> dict[str, Matrix]:
    """Return the covariance of all sightings' places by contributor, each (2 S, 2 S), in mm²."""
    seen, figures = evidence.sightings, evidence.figures
    to_mm: Matrix = np.linalg.inv(scale.matrix_px_per_mm).astype(np.float64)
    bias_px2 = np.eye(2) * settings.finder_bias_px**2 / 3.0
    tilt_mm = settings.focus_sigma_mm * math.radians(settings.tilt_bound_deg) / math.sqrt(3.0)
    by_tool, by_pickup = _shared_by(seen, lambda s: s.tool), _shared_by(seen, _pickup)
    parts: dict[str, Matrix] = {
        "sighting": _sighting_covariance(seen, to_mm, by_tool),
        "finder": _spread(by_tool, to_mm @ bias_px2 @ to_mm.T),
        POSITION: _spread(_shared_by(seen, _place), np.eye(2) * position_sigma_mm(figures) ** 2),
        "pick-up": _spread(by_pickup, np.eye(2) * (figures.pickup_repeatability_um * 1e-3) ** 2),
        "tilt": _spread(by_pickup, np.eye(2) * tilt_mm**2),
        "unknown approach": _unknown_approach(seen, figures, settings),
    }
    if closure_mm is not None:
        others = np.array([s.tool != evidence.reference_tool for s in seen], dtype=np.float64)
        parts[DRIFT] = _spread(by_tool * np.outer(others, others), np.diag(closure_mm**2 / 12.0))
    return parts


def judged_covariance(evidence: Evidence, parts: Mapping[str, Matrix]) -> Matrix:
    """Return the covariance by which repeats are judged, (2 S, 2 S).

    Two sightings in one place may share its error, or the machine may have been there
    twice; nobody recorded which. The answer's uncertainty takes the first, whether
    repeats agree is judged by the second: each is the careful choice where it stands.
    """
    anew = np.eye(2 * len(evidence.sightings)) * position_sigma_mm(evidence.figures) ** 2
    total: Matrix = anew + sum(part for name, part in parts.items() if name != POSITION)
    return total


def scale_covariance(seen: Sequence[Observation], scale: PixelScale, target_px: PointPx) -> Matrix:
    """Return the covariance that the uncertain pixel scale brings to all places, (2 S, 2 S)."""
    jacobian = np.vstack(
        [
            scale.scale_jacobian_mm(
                PointPx(s.centre_px.u - target_px.u, s.centre_px.v - target_px.v)
            )
            for s in seen
        ]
    )
    covariance: Matrix = jacobian @ scale.covariance_px2_per_mm2 @ jacobian.T
    return covariance


def _shared_by(seen: Sequence[Observation], key: Callable[[Observation], object]) -> Matrix:
    """Return 1 where two sightings have the same key, else 0; shape (S, S)."""
    keys = [key(s) for s in seen]
    return np.array([[float(a == b) for b in keys] for a in keys])


def _spread(shared: Matrix, block_mm2: Matrix) -> Matrix:
    """Return the covariance of all places from who shares and what is shared."""
    return np.kron(shared, block_mm2).astype(np.float64)


def _pickup(seen: Observation) -> object:
    return seen.tool, seen.pickup


def _place(seen: Observation) -> object:
    """Sightings of one pick-up in one place may share that place's error."""
    return seen.tool, seen.pickup, seen.shown_mm, seen.approach


def _sighting_covariance(seen: Sequence[Observation], to_mm: Matrix, by_tool: Matrix) -> Matrix:
    """Temporal parts are each sighting's own; the static part is one for a tip."""
    statics = np.array([s.static_cov_px2.matrix() for s in seen])
    total = np.zeros((2 * len(seen), 2 * len(seen)))
    for i, s in enumerate(seen):
        at = slice(2 * i, 2 * i + 2)
        total[at, at] += to_mm @ s.temporal_cov_px2.matrix() @ to_mm.T
        same = np.flatnonzero(by_tool[i])
        shared = to_mm @ statics[same].mean(axis=0) @ to_mm.T
        for j in same:
            total[at, 2 * j : 2 * j + 2] += shared
    return total


def _unknown_approach(
    seen: Sequence[Observation], figures: MachineFigures, settings: OffsetSettings
) -> Matrix:
    """Allow half the reversal either way where nobody knows the approach."""
    value, sigma = reversal_mm(figures, settings)
    half_mm = math.hypot(value, sigma) / 2.0
    unknown = np.array([[float(a == 0) for a in s.approach] for s in seen]).reshape(-1)
    return np.diag(unknown * half_mm**2)
