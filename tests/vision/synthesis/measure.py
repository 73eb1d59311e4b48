"""Ways to find a centre that share nothing with the renderer."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray


def darkness(picture: NDArray[np.floating]) -> NDArray[np.float64]:
    """Return 1 in the bore's middle level, 0 at the land's, linear between, green only."""
    green = picture[..., 1].astype(np.float64)
    land = float(np.median(green[green > 0.6 * green.max()]))
    dark = (land - green) / (land - green.min())
    return np.asarray(np.clip(dark, 0.0, 1.0), dtype=np.float64)


def moment_centre(
    picture: NDArray[np.floating], near: tuple[float, float], within_px: float
) -> tuple[float, float]:
    """Return the centroid of darkness inside a generous disc about a rough place."""
    weight = darkness(picture)
    v, u = np.mgrid[0 : weight.shape[0], 0 : weight.shape[1]]
    weight = weight * (np.hypot(u - near[0], v - near[1]) < within_px)
    return float((weight * u).sum() / weight.sum()), float((weight * v).sum() / weight.sum())


def contour_ellipse(
    picture: NDArray[np.uint8], near: tuple[float, float]
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return centre and full axes of the dark contour that encloses a place."""
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    level, dark = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY_INV | cv2.THRESH_OTSU)
    del level
    contours, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    around = [c for c in contours if cv2.pointPolygonTest(c, near, measureDist=False) > 0]
    smallest = min(around, key=cv2.contourArea)
    centre, axes, _angle = cv2.fitEllipse(smallest)
    return (float(centre[0]), float(centre[1])), (float(min(axes)), float(max(axes)))


def supersampled_bore(
    size_px: tuple[int, int],
    centre_px: tuple[float, float],
    matrix_px_per_mm: NDArray[np.float64],
    radius_mm: float,
    samples: int = 8,
) -> NDArray[np.float64]:
    """Return the share of each pixel inside the rim, by counting samples of its square."""
    width, height = size_px
    u = (np.arange(width * samples) + 0.5) / samples - 0.5 - centre_px[0]
    v = (np.arange(height * samples) + 0.5) / samples - 0.5 - centre_px[1]
    inverse = np.linalg.inv(matrix_px_per_mm)
    x = inverse[0, 0] * u[None, :] + inverse[0, 1] * v[:, None]
    y = inverse[1, 0] * u[None, :] + inverse[1, 1] * v[:, None]
    inside = (np.hypot(x, y) < radius_mm).astype(np.float64)
    shares = inside.reshape(height, samples, width, samples).mean(axis=(1, 3))
    return np.asarray(shares, dtype=np.float64)


def rise_10_90(profile: NDArray[np.float64]) -> float:
    """Return the distance between the 10 % and 90 % levels of a rising edge, in samples."""
    low, high = profile.min(), profile.max()
    relative = (profile - low) / (high - low)
    places = np.arange(profile.size, dtype=np.float64)
    first, last = (float(np.interp(level, relative, places)) for level in (0.1, 0.9))
    return last - first


def turned(angle_rad: float, scale: float) -> NDArray[np.float64]:
    """Return a rotation times a scale."""
    cos, sin = math.cos(angle_rad), math.sin(angle_rad)
    return scale * np.array([[cos, -sin], [sin, cos]])
