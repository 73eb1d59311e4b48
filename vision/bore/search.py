"""Where in the picture rims may be: edges vote for centres along their gradient.

Only edges that go from dark to bright outwards vote, so the outer edge of the
land and plastic brighter than the land stay silent.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bore.picture import Picture, Plane
from vision.bore.settings import FinderSettings

Array = NDArray[np.float64]

_VOTERS = 24_000
_RADIUS_RATIO = 1.11
"""Step between radii: half a step is 5 %, less than the width of a vote."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a rim may be.

    Attributes
    ----------
    u, v, radius
        Centre and radius, in pixels of the picture.
    votes
        Share of the circumference that voted, about 0 to 1.
    """

    u: float
    v: float
    radius: float
    votes: float


def search(
    picture: Picture, smallest: float, largest: float, settings: FinderSettings
) -> list[Place]:
    """Return places where rims of these radii may be, best first."""
    places: list[Place] = []
    low = smallest
    while low < largest * 0.999:
        high = min(largest, low * 2.0)
        factor = max(1, int(low / settings.search_radius_px))
        while picture.width * picture.height / factor**2 > settings.largest_search_plane_px:
            factor += 1
        if min(picture.width, picture.height) // factor >= 16:
            plane = picture.reduced(factor)
            found = search_plane(plane, low / factor, high / factor, settings)
            half = (factor - 1) / 2.0
            places += [
                Place(
                    u=place.u * factor + half,
                    v=place.v * factor + half,
                    radius=place.radius * factor,
                    votes=place.votes,
                )
                for place in found
            ]
        low = high
    return _apart(places, settings.candidates)


def search_plane(
    plane: Plane, smallest: float, largest: float, settings: FinderSettings
) -> list[Place]:
    """Return places in this plane, in its pixels, best first."""
    points, directions, weights = _voters(plane)
    if len(weights) == 0:
        return []
    steps = max(1, round(np.log(largest / smallest) / np.log(_RADIUS_RATIO)))
    places: list[Place] = []
    for radius in np.geomspace(smallest, largest, steps + 1):
        places += _vote(points, directions, weights, float(radius), plane.shape)
    return _apart(places, settings.candidates)


def _voters(plane: Plane) -> tuple[Array, Array, Array]:
    smooth = cv2.GaussianBlur(plane, (0, 0), 1.0)
    gu = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    gv = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    strength = cv2.magnitude(gu, gv)
    # The border of the plane repeats itself and makes false edges.
    strength[[0, -1], :] = 0.0
    strength[:, [0, -1]] = 0.0
    flat = strength.ravel()
    count = min(_VOTERS, max(400, flat.size // 8))
    threshold = 0.0
    if flat.size > count:
        threshold = float(np.partition(flat, flat.size - count)[flat.size - count])
    index = np.flatnonzero(flat > max(threshold, 1e-4))
    if len(index) == 0:
        return np.empty((0, 2)), np.empty((0, 2)), np.empty(0)
    g = np.column_stack([gu.ravel()[index], gv.ravel()[index]]).astype(np.float64)
    length = np.hypot(g[:, 0], g[:, 1])
    rows, columns = np.divmod(index, plane.shape[1])
    # Beyond this height an edge is an edge: a glint must not outvote a rim.
    cap = float(np.quantile(length, 0.9))
    return (
        np.column_stack([columns, rows]).astype(np.float64),
        g / length[:, None],
        np.minimum(length / cap, 1.0),
    )


def _vote(
    points: Array, directions: Array, weights: Array, radius: float, shape: tuple[int, ...]
) -> list[Place]:
    cell = max(1.0, radius / 8.0)
    # Centres may lie outside of the picture: part of their rims is in view.
    margin = radius
    wide = int((shape[1] + 2 * margin) / cell) + 2
    high = int((shape[0] + 2 * margin) / cell) + 2
    centres = (points - radius * directions + margin) / cell
    cells = np.rint(centres).astype(np.int64)
    tally = np.bincount(
        cells[:, 1] * wide + cells[:, 0], weights=weights, minlength=wide * high
    ).reshape(high, wide)
    smooth = cv2.GaussianBlur(tally.astype(np.float32), (0, 0), 1.0)
    # A full rim of unit votes, two pixels of gradient deep, gives about 1.
    smooth = smooth * (4.0 * np.pi / (2.0 * np.pi * radius * 2.5))
    peaks = (smooth >= cv2.dilate(smooth, np.ones((5, 5), np.uint8))) & (smooth > 0.1)
    rows, columns = np.nonzero(peaks)
    best = np.argsort(-smooth[rows, columns])[:6]
    return [
        Place(
            u=float(columns[i]) * cell - margin,
            v=float(rows[i]) * cell - margin,
            radius=radius,
            votes=float(smooth[rows[i], columns[i]]),
        )
        for i in best
    ]


def _apart(places: list[Place], count: int) -> list[Place]:
    kept: list[Place] = []
    for place in sorted(places, key=lambda p: -p.votes):
        near = any(
            np.hypot(place.u - k.u, place.v - k.v) < 0.35 * max(place.radius, k.radius)
            and 0.77 < place.radius / k.radius < 1.3
            for k in kept
        )
        if not near:
            kept.append(place)
        if len(kept) == count:
            break
    return kept
