"""Whether the edge's dark and bright flank have one centre.

The edge between bore and land is broken: a few micrometres wide, deeper inside
than outside, and lit from where the lamps stand. On an even edge the lower and
the upper part of the brightness profile lie on concentric circles; a tilted tip
or light from one side sets them apart. The rim of the land is where the profile
ends, so how far the centre moves from flank to flank says how far the middle of
the profile may be off.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.bore.ranks import median
from vision.bore.rim import Rim, design_matrix

Array = NDArray[np.float64]

_SECTORS = 36
_LEVELS = (0.25, 0.75)
_TO_THE_END = 1.645 / 1.349


def flank_variance(rim: Rim) -> float:
    """Return the variance per axis, px^2, that the flanks' disagreement stands for.

    The profile ends (95 % of a Gaussian edge) 1.22 times as far from its middle as
    its quarter points lie apart: 1.645 / 1.349. The centre may move by as much, in
    a direction that the picture does not tell, hence half on each axis. What
    scatter from sector to sector explains is taken off.
    """
    sector = np.minimum((rim.angles / (2 * np.pi) * _SECTORS).astype(np.int64), _SECTORS - 1)
    values = np.where(rim.rays.known[:, None], rim.rays.values, 0.0)
    starts = np.searchsorted(sector, np.arange(_SECTORS))
    count = np.maximum(np.bincount(sector[rim.rays.known], minlength=_SECTORS), 1)
    profiles = np.add.reduceat(values, starts, axis=0) / count[:, None]
    angles = (np.arange(_SECTORS) + 0.5) * (2 * np.pi / _SECTORS)
    believed = np.bincount(
        sector,
        weights=rim.believed.astype(np.float64),
        minlength=_SECTORS,
    )
    usable = (believed > 0.5 * believed.max()) & np.isfinite(profiles).all(axis=1)
    places = [_crossings(profiles, rim.rays.steps, level) for level in _LEVELS]
    step = places[1] - places[0]
    usable &= np.isfinite(step)
    if usable.sum() < 9:
        return 0.0
    middle = median(step[usable])
    spread = 1.4826 * median(np.abs(step[usable] - middle)) + 1e-3
    usable &= np.abs(step - middle) < 4.0 * spread
    design = np.column_stack([np.cos(angles), np.sin(angles), np.ones(_SECTORS)])[usable]
    fit = np.linalg.solve(design.T @ design, design.T @ step[usable])
    left = step[usable] - design @ fit
    scatter = float(left @ left) / (usable.sum() - 3)
    by_chance = scatter * float(np.trace(np.linalg.inv(design.T @ design)[:2, :2]))
    squared = max(float(fit[0] ** 2 + fit[1] ** 2) - by_chance, 0.0)
    return float(0.5 * (_TO_THE_END**2) * squared)


def light_variance(rim: Rim) -> float:
    """Return the variance per axis, px^2, for an edge break too narrow to be seen.

    It may be as wide as the blur. Lit as unevenly as the land beside it, its
    brightness draws the edge to one side by that unevenness times its width; no
    part of the picture tells how the break's faces are turned, so in any direction.
    """
    believed = rim.believed
    waves = design_matrix(rim.angles[believed])[:, :3]
    heights = rim.heights[believed]
    fit = np.linalg.solve(waves.T @ waves, waves.T @ heights)
    left = heights - waves @ fit
    by_chance = 4.0 * float(left @ left) / len(left) ** 2
    uneven = max(float(fit[0] ** 2 + fit[1] ** 2) - by_chance, 0.0) / float(fit[2] ** 2)
    return float(0.5 * uneven * rim.blur**2)


def _crossings(profiles: Array, steps: Array, level: float) -> Array:
    """Return where each profile last rises through a level near its edge; nan where not."""
    quarter = max(2, len(steps) // 6)
    dark = profiles[:, :quarter].min(axis=1, keepdims=True)
    dark = np.maximum(dark, np.sort(profiles[:, :quarter], axis=1)[:, quarter // 2, None])
    bright = np.sort(profiles[:, -quarter:], axis=1)[:, quarter // 2, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        scaled = (profiles - dark) / (bright - dark)
        below = (scaled[:, :-1] < level) & (scaled[:, 1:] >= level)
        at = scaled.shape[1] - 2 - below[:, ::-1].argmax(axis=1)
        row = np.arange(len(profiles))
        low, high = scaled[row, at], scaled[row, at + 1]
        place = steps[at] + (level - low) / (high - low) * (steps[1] - steps[0])
    return np.where(below.any(axis=1) & (bright[:, 0] > dark[:, 0]), place, np.nan)
