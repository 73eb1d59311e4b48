"""Where a lit edge break gives more than one dark-to-bright edge: take the outermost.

Light from one side draws a bright crescent on the broken edge of the bore. On
that side the strongest edge is the inner end of the crescent; the rim is its
outer end, where the land begins, often a weak step.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.bore.picture import Picture
from vision.bore.rays import Curve, Rays, cast
from vision.bore.rim import Rim, fit_rim
from vision.bore.settings import FinderSettings
from vision.geometry import CircleFit, fit_circle

Array = NDArray[np.float64]

_RAYS = 180
_SPAN_PX = 1.5
"""Length over which brightness is averaged on both sides of a step."""

_SOFTEST_PX = 2.4
"""Blur past which two edges on a break run into one, and noise makes the steps."""

_SAME_PX = 2.5
_SHARED = 0.3
"""Share of the rays on which the outermost edge is the main one."""

_WEAKEST = 0.07
"""Height of a step, in parts of the main edge, that may be the end of a crescent."""


def outermost_rim(picture: Picture, rim: Rim, noise: float, settings: FinderSettings) -> Rim:
    """Return the rim through the outermost edges if they lie on one circle, else `rim`."""
    if rim.blur > _SOFTEST_PX:
        return rim
    curve = rim.curve
    reach = settings.ring_reach * curve.radius
    rays = cast(
        picture, curve, count=_RAYS, inside=-2.5 - _SPAN_PX, outside=reach + 2 * _SPAN_PX, step=0.5
    )
    places, heights = _steps(rays)
    # Measured with the same short ruler, which sees only part of a soft edge.
    main = float(np.median(heights[:, np.abs(places) < _SAME_PX].max(axis=1)))
    real = heights > max(_WEAKEST * main, 5.0 * noise * np.sqrt(2.0 / _SPAN_PX))
    if (real & (places > _SAME_PX)).any(axis=1).mean() < 0.15:
        return rim
    for part in (1.0, 0.6):
        circle = _through_outermost(rays, curve, places, heights, real, part * reach)
        if circle is None or circle[1] < settings.ring_height * main:
            continue
        start = circle[0]
        moved = np.hypot(start.u - curve.u, start.v - curve.v) + abs(start.radius - curve.radius)
        if moved < 0.5:
            return rim
        outer = fit_rim(picture, start, noise, settings, reach=0.5, blur=1.0)
        # On the lit side the outer step is weak: it has an edge there, if of little weight.
        if outer is not None and (outer.weights > 0).mean() > 0.85 * (rim.weights > 0).mean():
            return outer
    return rim


def _steps(rays: Rays) -> tuple[Array, Array]:
    """Return place and height of each rise, shape (M,) and (N, M); 0 where none peaks."""
    step = float(rays.steps[1] - rays.steps[0])
    wide = max(2, round(_SPAN_PX / step))
    total = np.cumsum(np.pad(rays.values, ((0, 0), (1, 0))), axis=1)
    means = (total[:, wide:] - total[:, :-wide]) / wide
    rise = means[:, wide:] - means[:, :-wide]
    peaks = np.zeros_like(rise)
    inner = rise[:, 1:-1]
    top = (inner >= rise[:, :-2]) & (inner > rise[:, 2:])
    peaks[:, 1:-1] = np.where(top, inner, 0.0)
    places = rays.steps[0] + (np.arange(rise.shape[1]) + wide - 0.5) * step
    return np.asarray(places, dtype=np.float64), np.nan_to_num(peaks)


def _through_outermost(
    rays: Rays, curve: Curve, places: Array, heights: Array, real: Array, reach: float
) -> tuple[Curve, float] | None:
    """Return the circle through the outermost real step of each ray, and their height."""
    allowed = real.astype(bool) & (places <= reach)[None, :]
    has = allowed.any(axis=1)
    if has.mean() < 0.6:
        return None
    last = len(places) - 1 - allowed[:, ::-1].argmax(axis=1)
    # A crescent ends on the dark side: there both circles are one. A groove of the
    # land, or a ring that is lit all round, goes all round; it is left alone, since
    # a concentric ring does not move the centre.
    if (np.abs(places[last[has]]) < _SAME_PX).mean() < _SHARED:
        return None
    rho = (curve.at(rays.angles) + places[last])[has]
    angles = rays.angles[has]
    points = np.column_stack([curve.u + rho * np.cos(angles), curve.v + rho * np.sin(angles)])
    fit = fit_circle(points, loss="tukey")
    if not isinstance(fit, CircleFit):
        return None
    close = np.abs(fit.residuals_px) < 0.7 + 0.012 * fit.radius_px
    if close.sum() < 0.75 * len(rays.angles) * 0.8:
        return None
    height = float(np.median(heights[has, last[has]][close]))
    found = Curve(u=fit.centre_px.u, v=fit.centre_px.v, radius=fit.radius_px)
    return found, height
