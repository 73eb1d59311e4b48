"""What the finder answers: a fitted bore, or a refusal with its reason."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from vision.geometry import CovPx2, PointPx

ALGORITHM = "bore-2"
"""Name and version of the finder; it is stored with every sighting."""


class Reason(StrEnum):
    """Why no bore was accepted."""

    NO_ROUND_EDGE = "no-round-edge"
    COVERED = "bore-covered"
    OUT_OF_FOCUS = "out-of-focus"
    TOO_DARK = "too-dark"
    BURNT_OUT = "burnt-out"
    PART_IN_VIEW = "part-in-view"
    SEVERAL = "several-candidates"
    NOT_A_PICTURE = "not-a-picture"


@dataclass(frozen=True, slots=True, kw_only=True)
class RadiusPrior:
    """What is known of the bore's radius before looking.

    Attributes
    ----------
    radius_px
        Expected rim radius: nominal bore / 2 divided by the pixel size.
    relative_tolerance
        Half-width of what is believed, as a part of `radius_px`.
    strict
        Whether a bore of another size is refused, as a washer's or a screw's hole has
        to be. Who knows that a nozzle is in view sets it false: then one convincing bore
        of another size is found, and `BoreFit.size_note` says so.
    """

    radius_px: float
    relative_tolerance: float = 0.25
    strict: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class RimLevels:
    """How bright it is on both sides of the rim, in parts of full scale.

    Attributes
    ----------
    dark, land
        Inside and outside of the edge, the blur taken off.
    burnt_share
        Share of the land beside the rim that is at or next to full scale, 0 to 1.
    """

    dark: float
    land: float
    burnt_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BoreFit:
    """One accepted bore in one frame.

    Attributes
    ----------
    centre_px
        Projection of the centre of the rim circle in the plane of the tip.
    temporal_cov_px2
        The part of the centre's covariance that is independent from frame to
        frame (sensor noise): averaging shrinks it.
    static_cov_px2
        The part that stays the same in every frame of the same view (texture
        of the land, light, model bias): averaging does not shrink it.
    radius_px
        Mean radius of the rim.
    semi_axes_px
        Semi-axes (major, minor) of the fitted ellipse.
    angle_rad
        Direction of the major axis from +u towards +v.
    rim_px
        Shape (N, 2), read-only: the points (u, v) of the rim where it was seen
        and believed.
    arc_covered
        Share of the rim that was seen and believed, 0 to 1.
    contrast
        Median height of the edge in parts of full scale, 0 to 1.
    blur_px
        Gaussian blur of the edge, one standard deviation.
    residual_px
        RMS distance of the believed rim points from the fitted curve.
    size_verified
        Whether a radius prior was given and agrees.
    levels
        How bright it is beside the rim; None where nobody measured it.
    size_note
        A sentence with both sizes where the bore is not of the expected size (see
        `RadiusPrior.strict`), else empty.
    """

    centre_px: PointPx
    temporal_cov_px2: CovPx2
    static_cov_px2: CovPx2
    radius_px: float
    semi_axes_px: tuple[float, float]
    angle_rad: float
    rim_px: NDArray[np.float64]
    arc_covered: float
    contrast: float
    blur_px: float
    residual_px: float
    size_verified: bool
    levels: RimLevels | None = None
    size_note: str = ""

    @property
    def cov_px2(self) -> CovPx2:
        """Covariance of the centre in this one frame: temporal plus static."""
        t, s = self.temporal_cov_px2, self.static_cov_px2
        return CovPx2(t.uu + s.uu, t.uv + s.uv, t.vv + s.vv)

    @property
    def roundness_ratio(self) -> float:
        """Minor over major semi-axis, in pixels (cameras stretch pixels)."""
        return self.semi_axes_px[1] / self.semi_axes_px[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class BoreRefusal:
    """Why there is no answer, in plain words.

    Attributes
    ----------
    reason
        The kind of refusal.
    message
        What is wrong, in one sentence for a person.
    remedy
        What to do about it, in one sentence.
    towards_px
        Where part of a rim is seen: a point in the picture's frame, possibly
        outside of it, near which the bore's centre lies; else None.
    """

    reason: Reason
    message: str
    remedy: str
    towards_px: PointPx | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstFit:
    """Several frames of one view, made one centre.

    Attributes
    ----------
    centre_px
        Mean of the frames that were used.
    cov_px2
        Covariance of that mean: temporal part over the number of frames used,
        plus the static part, which averaging does not shrink.
    temporal_cov_px2, static_cov_px2
        The two parts of `cov_px2`.
    radius_px
        Mean radius.
    blur_px
        Mean blur of the edge.
    frames_used
        Indices of the frames that entered the mean.
    frames_dropped
        Indices of refused frames and of frames that disagree with the others.
    fits
        One entry a frame, in order.
    """

    centre_px: PointPx
    cov_px2: CovPx2
    temporal_cov_px2: CovPx2
    static_cov_px2: CovPx2
    radius_px: float
    blur_px: float
    frames_used: tuple[int, ...]
    frames_dropped: tuple[int, ...]
    fits: tuple[BoreFit | BoreRefusal, ...]
