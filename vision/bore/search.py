"""Where in the picture rims may be: edges vote for centres along their gradient.

Only edges that go from dark to bright outwards vote, so the outer edge of the
land and plastic brighter than the land stay silent. Radii of one octave are
searched in one half of the picture, so that the time does not grow with the bore.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bore.picture import Frame, Picture, Planes
from vision.bore.ranks import quantile
from vision.bore.settings import FinderSettings

Single = NDArray[np.float32]


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
    planes: Planes, smallest: float, largest: float, settings: FinderSettings
) -> list[Place]:
    """Return places where rims of these radii may be, best first."""
    found: list[Single] = []
    level = _finest(planes, smallest, settings)
    low = smallest / 2**level
    while level < len(planes.pictures):
        last = level + 1 == len(planes.pictures)
        high = largest / 2**level
        if not last:
            high = min(high, 2.0 * settings.search_radius_px)
        if high >= low:
            here = _search_plane(planes.pictures[level], low, high, settings)
            here[:, :2] = (here[:, :2] + 0.5) * 2**level - 0.5
            here[:, 2] *= 2**level
            found.append(here)
        if largest <= 2.0 * settings.search_radius_px * 2**level:
            break
        level += 1
        low = max(smallest / 2**level, settings.search_radius_px)
    return _apart(np.concatenate(found) if found else np.empty((0, 4), np.float32), settings)


def _finest(planes: Planes, smallest: float, settings: FinderSettings) -> int:
    """Return the half in which the smallest rim is still wide enough, if that is affordable."""
    level = max(0, int(np.floor(np.log2(smallest / settings.narrowest_search_px))))
    level = min(level, len(planes.pictures) - 1)
    while level + 1 < len(planes.pictures):
        picture = planes.pictures[level]
        if picture.width * picture.height <= settings.largest_search_plane_px:
            break
        level += 1
    return level


def _search_plane(
    picture: Picture, smallest: float, largest: float, settings: FinderSettings
) -> Single:
    """Return places (u, v, radius, votes) in this plane, in its pixels."""
    points, directions, weights = _voters(picture, settings)
    if len(weights) == 0:
        return np.empty((0, 4), np.float32)
    steps = max(1, round(np.log(largest / smallest) / np.log(settings.radius_ratio)))
    radii = np.geomspace(smallest, largest, steps + 1).astype(np.float32)
    return _vote(points, directions, weights, radii, (picture.height, picture.width), settings)


def _voters(picture: Picture, settings: FinderSettings) -> tuple[Single, Single, Single]:
    """Return places (N, 2), unit gradients (N, 2) and weights (N,) of the strongest edges."""
    plane: Frame = picture.frame
    if plane.dtype != np.uint8:
        plane = cv2.convertScaleAbs(plane, alpha=255.0 / picture.full_scale)
    gu, gv = cv2.spatialGradient(plane)
    # In eighths of a grey level per pixel; an edge of 64 levels and more is an edge.
    strength = cv2.addWeighted(
        cv2.convertScaleAbs(gu, alpha=0.25), 1.0, cv2.convertScaleAbs(gv, alpha=0.25), 1.0, 0.0
    )
    # The border of the plane repeats itself and makes false edges.
    strength[[0, -1], :] = 0
    strength[:, [0, -1]] = 0
    counts = cv2.calcHist([strength], [0], None, [256], [0, 256]).ravel()
    from_top = np.cumsum(counts[::-1])
    wanted = min(settings.voters, max(400, strength.size // 6))
    threshold = max(2, 255 - int(np.searchsorted(from_top, wanted, side="right")))
    rows, columns = np.divmod(np.flatnonzero(strength >= threshold), picture.width)
    at = np.stack([columns, rows], axis=1)
    if len(at) > 2 * wanted:
        # So many edges are alike strong that no threshold parts them.
        at = at[:: len(at) // wanted]
    index = at[:, 1] * picture.width + at[:, 0]
    g = np.stack([gu.ravel()[index], gv.ravel()[index]], axis=1).astype(np.float32)
    length: Single = np.hypot(g[:, 0], g[:, 1]).astype(np.float32)
    if len(length) == 0:
        return at.astype(np.float32), g, length
    # Beyond this height an edge is an edge: a glint must not outvote a rim.
    cap = quantile(length, 0.8)
    return (
        at.astype(np.float32),
        g / length[:, None],
        np.minimum(length / np.float32(cap), np.float32(1.0)),
    )


def _vote(
    points: Single,
    directions: Single,
    weights: Single,
    radii: Single,
    shape: tuple[int, int],
    settings: FinderSettings,
) -> Single:
    cell = np.float32(settings.vote_cell_px)
    # Centres may lie outside of the picture: part of their rims is in view.
    margin = np.float32(radii[-1] + 2 * cell)
    wide = int((shape[1] + 2 * margin) / cell) + 2
    high = int((shape[0] + 2 * margin) / cell) + 2
    at = (points + margin) / cell + np.float32(0.5)
    way = directions / cell
    column = (at[:, 0] - radii[:, None] * way[:, 0]).astype(np.int64)
    row = (at[:, 1] - radii[:, None] * way[:, 1]).astype(np.int64)
    row += np.arange(len(radii))[:, None] * high
    # A full rim of unit votes, two and a half pixels of gradient deep, gives about 1.
    share = (4.0 * np.pi / (2.0 * np.pi * 2.5)) / radii
    tally = np.bincount(
        (row * wide + column).ravel(),
        weights=np.outer(share, weights).ravel(),
        minlength=len(radii) * high * wide,
    )
    stack = tally.astype(np.float32).reshape(len(radii) * high, wide)
    smooth = np.asarray(cv2.GaussianBlur(stack, (5, 5), 1.0), dtype=np.float32)
    at_flat = _peaks(smooth, settings.fewest_votes)
    votes = smooth.ravel()[at_flat]
    best = at_flat[np.argsort(-votes)[: 4 * settings.candidates]]
    rows, columns = np.divmod(best, wide)
    which, rows = np.divmod(rows, high)
    return np.stack(
        [
            columns * cell - margin,
            rows * cell - margin,
            radii[which],
            smooth.ravel()[best],
        ],
        axis=1,
    ).astype(np.float32)


def _peaks(smooth: Single, least: float) -> NDArray[np.int64]:
    """Return the flat places that are above `least` and above their eight neighbours."""
    flat, wide = smooth.ravel(), smooth.shape[1]
    at = np.flatnonzero(flat > least)
    at = at[(at > wide) & (at < flat.size - wide - 1)]
    value = flat[at]
    top = np.ones(len(at), np.bool_)
    for step in (1, wide - 1, wide, wide + 1):
        top &= (value >= flat[at - step]) & (value >= flat[at + step])
    return np.asarray(at[top], dtype=np.int64)


def _apart(places: Single, settings: FinderSettings) -> list[Place]:
    """Return the best places, each once, best first."""
    left = places[np.argsort(-places[:, 3])]
    if len(left):
        left = left[left[:, 3] > settings.least_votes * left[0, 3]]
    kept: list[Place] = []
    while len(left) and len(kept) < settings.candidates:
        u, v, radius, votes = (float(x) for x in left[0])
        kept.append(Place(u=u, v=v, radius=radius, votes=votes))
        away = np.hypot(left[:, 0] - u, left[:, 1] - v)
        near = (away < 0.35 * np.maximum(left[:, 2], radius)) & (
            np.abs(np.log(left[:, 2] / radius)) < 0.26
        )
        near[0] = True
        left = left[~near]
    return kept
