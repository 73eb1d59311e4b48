"""Library calls set against the finder, each used as well as it can fairly be used.

Each is given what the finder is given: the frame, and a radius that is true within 5 %. Each may
look for radii within 10 % of that, may smooth, choose its own thresholds from the picture, and
knows that a bore is darker than what surrounds it: where a call offers several candidates, the
one with the strongest step from dark to bright is taken (`_darkest`). The parameters were
chosen on dirty pictures of the grading set itself (seeds from 1,000,000 on), which favours
the rivals.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.feature import canny
from skimage.measure import CircleModel, ransac
from skimage.transform import hough_circle, hough_circle_peaks

from vision.geometry import PointPx

Grey = NDArray[np.uint8]
Circle = tuple[float, float, float]
Rival = Callable[[NDArray[np.uint8], float], PointPx | None]

_SLACK = 0.10  # of the radius: the prior is true within 0.05, the rim is soft
_LEAST_STEP = 4.0  # grey values between inside and outside


def hough_gradient(frame: NDArray[np.uint8], radius_px: float) -> PointPx | None:
    """`cv2.HoughCircles` with the classic method.

    Smoothed by 1.5 px as the manual advises and enlarged twice, since centres are votes for
    whole pixels; the upper Canny threshold is taken from the picture's gradients.
    """
    grey = _smooth(frame, 1.5)
    large = _enlarged(grey, 2)
    low, high = _radii(2.0 * radius_px)
    found = cv2.HoughCircles(
        large,
        cv2.HOUGH_GRADIENT,
        dp=1.0,
        minDist=0.5 * radius_px,
        param1=_canny_threshold(large),
        param2=25.0,
        minRadius=math.floor(low),
        maxRadius=math.ceil(high),
    )
    return _darkest(grey, _reduced(_circles(found)[:12], 2))


def hough_gradient_alt(frame: NDArray[np.uint8], radius_px: float) -> PointPx | None:
    """`cv2.HoughCircles` with `HOUGH_GRADIENT_ALT`.

    Its thresholds are on Scharr gradients; a perfectness of 0.5 lets partly hidden rims
    through. Small rims are enlarged twice, as the method wants some 20 px of radius.
    """
    factor = 2 if radius_px < 25.0 else 1
    grey = _smooth(frame, 1.0)
    large = _enlarged(grey, factor)
    low, high = _radii(radius_px * factor)
    for gradient in (300.0, 150.0, 60.0):
        found = cv2.HoughCircles(
            large,
            cv2.HOUGH_GRADIENT_ALT,
            dp=1.5,
            minDist=0.25 * radius_px * factor,
            param1=gradient,
            param2=0.5,
            minRadius=math.floor(low),
            maxRadius=math.ceil(high),
        )
        place = _darkest(grey, _reduced(_circles(found), factor))
        if place is not None:
            return place
    return None


def canny_hough_ransac(frame: NDArray[np.uint8], radius_px: float) -> PointPx | None:
    """scikit-image: `canny`, the best of `hough_circle`, then `ransac` with `CircleModel`.

    The Hough circles say which edges to fit: those within a tenth of the radius. Edge points
    lie on whole pixels, so a point within 1 px belongs to the circle.
    """
    grey = _smooth(frame, 0.0)
    edges = np.asarray(
        canny(  # type: ignore[no-untyped-call]  # no types there
            grey / 255.0, sigma=1.5, low_threshold=0.90, high_threshold=0.96, use_quantiles=True
        ),
        dtype=np.bool_,
    )
    radii = np.unique(np.rint(np.linspace(*_radii(radius_px), 5)))
    votes = hough_circle(edges, radii)  # type: ignore[no-untyped-call]  # no types there
    _, us, vs, rs = hough_circle_peaks(  # type: ignore[no-untyped-call]  # no types there
        votes, radii, total_num_peaks=8, min_xdistance=3, min_ydistance=3
    )
    circles = [(float(u), float(v), float(r)) for u, v, r in zip(us, vs, rs, strict=True)]
    best = _darkest(grey, circles)
    return None if best is None else _refined(edges, best, radius_px)


def _refined(edges: NDArray[np.bool_], place: PointPx, radius_px: float) -> PointPx:
    """Return the centre of the circle through the edges round a place, or the place."""
    points = np.argwhere(edges)[:, ::-1].astype(np.float64)
    away = np.hypot(points[:, 0] - place.u, points[:, 1] - place.v)
    near = points[np.abs(away / radius_px - 1.0) < 0.15]
    if len(near) < 12:
        return place
    model, _ = ransac(  # type: ignore[no-untyped-call]  # no types there
        near, CircleModel, min_samples=3, residual_threshold=1.0, max_trials=200, rng=1
    )
    if not model:
        return place
    u, v = model.center
    return PointPx(float(u), float(v))


def otsu_contour(frame: NDArray[np.uint8], radius_px: float) -> PointPx | None:
    """Threshold, `findContours`, `fitEllipse`.

    Otsu's threshold of the whole picture, then Otsu's of its darker and of its brighter part,
    since a dark machine behind a bright tip takes the first one. Contours count if their
    ellipse has the right size; of those the one that follows its ellipse best is taken.
    """
    grey = _smooth(frame, 1.2)
    found: list[tuple[float, Circle]] = []
    for level in _otsu_levels(grey):
        dark = np.asarray(grey <= level, dtype=np.uint8)
        contours, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        found += [one for contour in contours if (one := _as_ellipse(contour, radius_px))]
    best = sorted(found)[:6]
    return _darkest(grey, [circle for _, circle in best])


def _as_ellipse(
    contour: NDArray[np.int32] | NDArray[np.generic], radius_px: float
) -> tuple[float, Circle] | None:
    """Return how badly a contour fits its ellipse, and the ellipse as a circle."""
    if len(contour) < 3.0 * radius_px:
        return None
    points = np.asarray(contour, dtype=np.float32)
    hull = cv2.convexHull(points)
    # A long straight edge has a hull of four points, which no ellipse fits.
    few = len(points) <= 4000 or len(hull) < 5
    (u, v), axes, _ = cv2.fitEllipse(points if few else hull)
    radius = 0.5 * math.sqrt(max(axes[0] * axes[1], 0.0))
    low, high = _radii(radius_px)
    if not low - 1.0 <= radius <= high + 1.0 or min(axes) < 0.7 * max(axes):
        return None
    away = np.hypot(points[:, 0, 0] - u, points[:, 0, 1] - v)
    return float(np.mean(np.abs(away / radius - 1.0))), (float(u), float(v), radius)


def _otsu_levels(grey: Grey) -> list[float]:
    whole = _otsu(grey.ravel())
    parts = [part for part in (grey[grey <= whole], grey[grey > whole]) if part.size > 100]
    return [whole, *(_otsu(part) for part in parts)]


def _otsu(values: NDArray[np.uint8]) -> float:
    level, _ = cv2.threshold(values.reshape(1, -1), 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    return float(level)


def blob_detector(frame: NDArray[np.uint8], radius_px: float) -> PointPx | None:
    """`cv2.SimpleBlobDetector` for dark blobs of the right area.

    Many close thresholds, so that the centre is a mean over many; round within what a
    partly hidden rim still has. The blob that is nearest to the right size is taken.
    """
    grey = _smooth(frame, 1.0)
    wanted = cv2.SimpleBlobDetector.Params()
    wanted.minThreshold, wanted.maxThreshold, wanted.thresholdStep = 5.0, 250.0, 4.0
    wanted.minRepeatability = 2
    wanted.minDistBetweenBlobs = 0.5 * radius_px
    wanted.filterByColor, wanted.blobColor = True, 0
    wanted.filterByArea = True
    wanted.minArea = math.pi * (0.8 * radius_px) ** 2
    wanted.maxArea = math.pi * (1.2 * radius_px) ** 2
    wanted.filterByCircularity, wanted.minCircularity = True, 0.6
    wanted.filterByConvexity, wanted.minConvexity = True, 0.8
    wanted.filterByInertia, wanted.minInertiaRatio = True, 0.5
    blobs = cv2.SimpleBlobDetector.create(wanted).detect(grey)
    return _darkest(grey, [(b.pt[0], b.pt[1], 0.5 * b.size) for b in blobs])


RIVALS: dict[str, Rival] = {
    "HoughCircles": hough_gradient,
    "HOUGH_GRADIENT_ALT": hough_gradient_alt,
    "canny, hough_circle, RANSAC": canny_hough_ransac,
    "Otsu contour, fitEllipse": otsu_contour,
    "SimpleBlobDetector": blob_detector,
}
"""Each returns the centre it finds, or None."""


def _smooth(frame: NDArray[np.uint8], sigma_px: float) -> Grey:
    grey = frame if frame.ndim == 2 else cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY)
    if sigma_px:
        grey = cv2.GaussianBlur(grey, (0, 0), sigma_px)
    return np.asarray(grey, dtype=np.uint8)


def _enlarged(grey: Grey, factor: int) -> Grey:
    if factor == 1:
        return grey
    large = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC)
    return np.asarray(large, dtype=np.uint8)


def _reduced(circles: Iterable[Circle], factor: int) -> list[Circle]:
    """Return circles of an enlarged picture in pixels of the frame; (0, 0) is a pixel's centre."""
    shift = 0.5 * (factor - 1)
    return [((u - shift) / factor, (v - shift) / factor, r / factor) for u, v, r in circles]


def _radii(radius_px: float) -> tuple[float, float]:
    return (1.0 - _SLACK) * radius_px, (1.0 + _SLACK) * radius_px


def _canny_threshold(grey: Grey) -> float:
    """Return an upper threshold that the strongest twelfth of all gradients exceeds."""
    du = np.asarray(cv2.Sobel(grey, cv2.CV_32F, 1, 0), dtype=np.float32)
    dv = np.asarray(cv2.Sobel(grey, cv2.CV_32F, 0, 1), dtype=np.float32)
    return float(max(np.quantile((np.abs(du) + np.abs(dv))[::2, ::2], 0.92), 8.0))


def _circles(found: NDArray[np.generic] | None) -> list[Circle]:
    if found is None:
        return []
    rows = np.asarray(found, dtype=np.float64).reshape(-1, np.shape(found)[-1])
    return [(float(u), float(v), float(r)) for u, v, r in rows[:, :3]]


def _darkest(grey: Grey, circles: Iterable[Circle]) -> PointPx | None:
    """Return the centre of the circle with the strongest step from dark to bright."""
    best, place = _LEAST_STEP, None
    for u, v, r in circles:
        step = _ring(grey, u, v, 1.12 * r + 1.0) - _ring(grey, u, v, 0.88 * r - 1.0)
        if step > best:
            best, place = step, PointPx(u, v)
    return place


def _ring(grey: Grey, u: float, v: float, radius: float) -> float:
    """Return the median grey value on a circle."""
    turn = np.linspace(0.0, 2.0 * math.pi, 48, endpoint=False)
    us = (u + radius * np.cos(turn)).astype(np.float32)[None, :]
    vs = (v + radius * np.sin(turn)).astype(np.float32)[None, :]
    found = cv2.remap(grey, us, vs, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return float(np.median(found))
