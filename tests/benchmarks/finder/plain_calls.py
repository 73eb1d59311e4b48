"""What plain calls of the libraries make of the same picture: the finder's competitors.

Each takes a grey picture and the bore's radius and gives the centre (u, v), or None. They are
helped where that makes them look better: they are told the radius, the centroid is told where
the bore is, and of several answers the one next to `near` is taken.
"""

from __future__ import annotations

from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.feature import canny
from skimage.measure import CircleModel, ransac

Picture = NDArray[np.uint8]
Centre = tuple[float, float] | None

HOUGH_SPREAD = 0.4
"""Radii that the Hough transforms try: so much up and down, in parts of the radius."""


def centroid(grey: Picture, near: tuple[float, float], reach_px: float) -> Centre:
    """Return the centroid of what is darker than the land, within a reach of a known place.

    The place is taken anew from the first answer, so that the reach may be a tight one: far
    pixels bring noise with a long lever.
    """
    v, u = np.ogrid[: grey.shape[0], : grey.shape[1]]
    for _ in range(3):
        inside = (u - near[0]) ** 2 + (v - near[1]) ** 2 < reach_px**2
        hollow = (float(grey[~inside].mean()) - grey) * inside
        total = float(hollow.sum())
        if total <= 0:
            return None
        near = float((hollow * u).sum()) / total, float((hollow * v).sum()) / total
    return near


def otsu_ellipse(grey: Picture, near: tuple[float, float]) -> Centre:
    """Return the centre of the ellipse through the Otsu contour next to a place."""
    _, mask = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY_INV | cv2.THRESH_OTSU)
    contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    ellipses = [cv2.fitEllipse(contour)[0] for contour in contours if len(contour) >= 24]
    return _nearest(np.array(ellipses, dtype=np.float64).reshape(-1, 2), near)


def hough(
    grey: Picture, near: tuple[float, float], radius_px: float, *, alternative: bool = False
) -> Centre:
    """Return the circle of cv2.HoughCircles next to a place."""
    # The second threshold counts votes in the old method and says how round in the other.
    method, second = (cv2.HOUGH_GRADIENT_ALT, 0.8) if alternative else (cv2.HOUGH_GRADIENT, 30.0)
    found = cv2.HoughCircles(
        grey,
        method,
        dp=1.5 if alternative else 1.0,
        minDist=radius_px,
        param1=100.0,
        param2=second,
        minRadius=int((1 - HOUGH_SPREAD) * radius_px),
        maxRadius=int((1 + HOUGH_SPREAD) * radius_px),
    )
    if found is None:
        return None
    return _nearest(np.asarray(found, dtype=np.float64).reshape(-1, found.shape[-1]), near)


def canny_circle(grey: Picture, rng: np.random.Generator) -> Centre:
    """Return scikit-image's circle through its Canny edges, by RANSAC."""
    rows, columns = np.nonzero(canny(grey, sigma=2.0))  # type: ignore[no-untyped-call]  # brings no types
    points = np.stack([columns, rows], axis=1).astype(np.float64)
    if len(points) < 3:
        return None
    model, _ = ransac(  # type: ignore[no-untyped-call]  # brings no types
        points,
        CircleModel,
        min_samples=3,
        residual_threshold=1.0,
        max_trials=100,
        rng=rng,
    )
    return None if not model else (float(model.center[0]), float(model.center[1]))


hough_alternative = partial(hough, alternative=True)


def _nearest(centres: NDArray[np.float64], near: tuple[float, float]) -> Centre:
    if not len(centres):
        return None
    away = np.hypot(centres[:, 0] - near[0], centres[:, 1] - near[1])
    best = centres[int(np.argmin(away))]
    return float(best[0]), float(best[1])
