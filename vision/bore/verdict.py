"""Accept a rim or say in plain words why not."""

from __future__ import annotations

import cv2
import numpy as np

from vision.bore.covariance import covariances
from vision.bore.inside import Inside, look_inside
from vision.bore.levels import levels_of
from vision.bore.picture import Picture, Plane
from vision.bore.ranks import median, quantile
from vision.bore.result import BoreFit, BoreRefusal, RadiusPrior, Reason
from vision.bore.rim import Rim
from vision.bore.settings import FinderSettings
from vision.geometry import PointPx
from vision.geometry.loss import MAD_TO_SIGMA

_CORNERS = np.arange(4, 9)
"""Numbers of corners that heads of screws and sockets have."""


def refuse_rim(
    rim: Rim, noise: float, picture: Picture, prior: RadiusPrior | None, settings: FinderSettings
) -> BoreRefusal | None:
    """Return why this rim is no bore that can be measured, or None."""
    radius = rim.curve.radius
    centre = PointPx(rim.curve.u, rim.curve.v)
    if rim.seen < settings.least_seen or not _holds(picture, rim):
        return part_in_view(centre, picture) if is_convincing(rim, settings) else no_round_edge()
    if rim.blur > settings.largest_blur_ratio * radius:
        return out_of_focus(f"The edge of the bore is blurred over {rim.blur:.1f} px.")
    if not _is_sharp_enough(rim, settings):
        return out_of_focus("What is round here has no edge, only a shadow.")
    if not (rim.believed.any() and _is_an_edge(rim, noise, settings) and _is_round(rim, settings)):
        return no_round_edge()
    if roundness_of(rim) < settings.lowest_roundness:
        return no_round_edge()
    if coverage_of(rim) < settings.lowest_coverage:
        return covered(f"Only {100 * coverage_of(rim):.0f} % of the bore's rim can be seen.")
    if prior is None and _is_small(rim, settings):
        return no_round_edge(
            "Something small and round is seen, too small to be told from other dark places "
            "without the bore's size."
        )
    if prior is not None and abs(radius / prior.radius_px - 1.0) > prior.relative_tolerance:
        return wrong_size(radius, prior)
    if not _is_hollow(look_inside(picture, rim), rim, settings):
        return covered("A round edge is seen, but what lies in it is no bore.")
    return None


def _is_sharp_enough(rim: Rim, settings: FinderSettings) -> bool:
    """Whether a rim is sharp, or if soft then high and round: a shadow is neither."""
    if rim.blur < settings.soft_ratio * rim.curve.radius or not rim.believed.any():
        return True
    return bool(
        median(rim.heights[rim.believed]) > settings.soft_contrast
        and residual_of(rim) < settings.soft_residual_ratio * rim.curve.radius + 0.1
    )


def _is_an_edge(rim: Rim, noise: float, settings: FinderSettings) -> bool:
    """Whether the believed steps stand out of the noise, and are alike."""
    heights = rim.heights[rim.believed]
    height = median(heights)
    spread = MAD_TO_SIGMA * median(np.abs(heights - height))
    return (
        height > max(settings.smallest_contrast, settings.smallest_edge_to_noise * noise)
        and spread < settings.largest_height_spread * height
        and quantile(heights, 0.1) > settings.lowest_tenth_height * height
    )


def _is_small(rim: Rim, settings: FinderSettings) -> bool:
    seen_px = 2.0 * np.pi * rim.curve.radius * coverage_of(rim)
    return bool(
        seen_px < settings.shortest_unsized_px
        or rim.curve.radius < 0.97 * settings.smallest_radius_px
    )


def _is_hollow(inside: Inside, rim: Rim, settings: FinderSettings) -> bool:
    if inside.fill < settings.filled:
        return True
    widest = min(
        settings.widest_gap_px + 2.5 * rim.blur,
        settings.widest_gap_ratio * rim.curve.radius + 1.2 * rim.blur,
    )
    soft = inside.rise_px > settings.softest_gap * rim.blur + 1.0
    thin = inside.gap_px < settings.thin_gap_ratio * rim.curve.radius
    return inside.gap_px < widest and (thin or not soft)


def accept(rim: Rim, noise: float, prior: RadiusPrior | None, settings: FinderSettings) -> BoreFit:
    """Return the rim as a measured bore."""
    temporal, static = covariances(rim, noise, settings)
    believed = rim.believed
    curve = rim.curve
    e = float(np.hypot(curve.e_cos, curve.e_sin))
    rho = curve.at(rim.angles)[believed] + rim.residuals[believed]
    angles = rim.angles[believed]
    points = np.column_stack([curve.u + rho * np.cos(angles), curve.v + rho * np.sin(angles)])
    points.setflags(write=False)
    return BoreFit(
        centre_px=PointPx(curve.u, curve.v),
        temporal_cov_px2=temporal,
        static_cov_px2=static,
        radius_px=curve.radius,
        semi_axes_px=(curve.radius + e, curve.radius - e),
        angle_rad=float(0.5 * np.arctan2(curve.e_sin, curve.e_cos)),
        rim_px=points,
        arc_covered=coverage_of(rim),
        contrast=min(median(rim.heights[believed]), 1.0),
        blur_px=rim.blur,
        residual_px=residual_of(rim),
        size_verified=prior is not None,
        levels=levels_of(rim, settings),
    )


def coverage_of(rim: Rim) -> float:
    """Return the share of the rim that is believed."""
    return float(rim.believed.mean())


def residual_of(rim: Rim) -> float:
    """Return the RMS distance of the believed edges from the curve, in px."""
    residuals = rim.residuals[rim.believed]
    return float(np.sqrt(np.mean(residuals**2))) if len(residuals) else float("inf")


def roundness_of(rim: Rim) -> float:
    """Return minor over major semi-axis."""
    e = float(np.hypot(rim.curve.e_cos, rim.curve.e_sin))
    return (rim.curve.radius - e) / (rim.curve.radius + e)


def is_plain(rim: Rim, settings: FinderSettings) -> bool:
    """Whether a rim is so round and whole that it may be one where another was looked for."""
    limit = settings.plain_residual_ratio * rim.curve.radius + 0.2
    return residual_of(rim) < limit and coverage_of(rim) > settings.plain_coverage


def is_convincing(rim: Rim, settings: FinderSettings) -> bool:
    """Whether what is in view of the rim is a rim: round, and there nearly everywhere."""
    return bool(
        rim.believed.any()
        and _is_round(rim, settings)
        and coverage_of(rim) > 0.7 * rim.seen
        and median(rim.heights[rim.believed]) > settings.smallest_contrast
    )


def _is_round(rim: Rim, settings: FinderSettings) -> bool:
    radius, residual = rim.curve.radius, residual_of(rim)
    if residual > settings.largest_residual_ratio * radius + settings.largest_residual_px:
        return False
    # A socket's corners are one harmonic of the radius, and nearly all that it is off a circle.
    believed = rim.believed
    waves = np.exp(1j * _CORNERS[:, None] * rim.angles[believed][None])
    corners = float(np.abs(waves @ rim.residuals[believed]).max()) * 2.0 / believed.sum()
    return bool(
        corners < settings.largest_corner_ratio * radius
        or 0.5 * corners**2 < settings.corner_share * residual**2
    )


def _holds(picture: Picture, rim: Rim) -> bool:
    c = rim.curve
    return (
        c.u - c.radius > 1
        and c.v - c.radius > 1
        and c.u + c.radius < picture.width - 2
        and c.v + c.radius < picture.height - 2
    )


def part_in_view(centre: PointPx, picture: Picture) -> BoreRefusal:
    """Refuse a bore that the picture's edge cuts."""
    u, v = centre
    across = "left" if u < picture.width / 2 else "right"
    along = "top" if v < picture.height / 2 else "bottom"
    gap_u = min(u, picture.width - 1 - u)
    gap_v = min(v, picture.height - 1 - v)
    side = across if gap_u < gap_v else along
    return BoreRefusal(
        reason=Reason.PART_IN_VIEW,
        message=f"Only part of the bore is in the picture, at its {side} edge.",
        remedy="Jog the nozzle until the whole bore is in the picture.",
        towards_px=centre,
    )


def out_of_focus(message: str) -> BoreRefusal:
    """Refuse a picture without sharp edges."""
    return BoreRefusal(
        reason=Reason.OUT_OF_FOCUS,
        message=message,
        remedy="Bring the tip into focus by moving the machine's Z in small steps.",
    )


def covered(message: str) -> BoreRefusal:
    """Refuse a bore under plastic."""
    return BoreRefusal(
        reason=Reason.COVERED,
        message=message,
        remedy="Brush the tip clean (a soft brush, away from the camera) and look again.",
    )


def no_round_edge(message: str = "No round dark hole with a bright ring is seen.") -> BoreRefusal:
    """Refuse a picture in which nothing looks like a bore."""
    return BoreRefusal(
        reason=Reason.NO_ROUND_EDGE,
        message=message,
        remedy="Bring the nozzle over the camera, and check focus and light.",
    )


def wrong_size(radius: float, prior: RadiusPrior) -> BoreRefusal:
    """Refuse a round hole that is not of the expected size."""
    return BoreRefusal(
        reason=Reason.NO_ROUND_EDGE,
        message=(
            f"A round edge of radius {radius:.1f} px is seen, but the bore should have "
            f"{prior.radius_px:.1f} px."
        ),
        remedy="Check the nozzle's bore and the pixel scale, or look for the bore elsewhere.",
    )


def several(count: int) -> BoreRefusal:
    """Refuse a picture with more than one hole that could be the bore."""
    return BoreRefusal(
        reason=Reason.SEVERAL,
        message=f"{count} round holes are in view and any could be the bore.",
        remedy="Clear the view of screws and washers, or enter the bore's size.",
    )


def refuse_light(plane: Plane, settings: FinderSettings) -> BoreRefusal | None:
    """Return a refusal if darkness or too much light explains that nothing is seen."""
    even = cv2.GaussianBlur(plane, (0, 0), 3.0)
    if float(np.quantile(even, 0.99)) < settings.dark_level:
        return BoreRefusal(
            reason=Reason.TOO_DARK,
            message="The picture is too dark to see the bore.",
            remedy="Switch the camera's lamps on or raise the exposure.",
        )
    if float((plane >= settings.burnt_level).mean()) > 0.25:
        return BoreRefusal(
            reason=Reason.BURNT_OUT,
            message="Much of the picture is burnt out: white without detail.",
            remedy="Lower the exposure or dim the lamps.",
        )
    return None
