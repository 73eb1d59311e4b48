"""How bright it is beside the rim, read off the rays that its fit was made from."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from vision.bore.ranks import median
from vision.bore.result import RimLevels
from vision.bore.rim import Rim
from vision.bore.settings import FinderSettings


def levels_of(rim: Rim, settings: FinderSettings) -> RimLevels:
    """Return dark and land level of a rim, and how much of the land is burnt out.

    Each ray is its dark level plus the edge's height times a blurred step; what is left
    of its mean is the dark level. Land counts from one blur outside of the edge on.
    """
    believed = rim.believed & rim.rays.known
    values = rim.rays.values[believed].astype(np.float64)
    heights = rim.heights[believed]
    step = ndtr(rim.rays.steps / rim.blur)
    dark = median(values.mean(axis=1) - heights * step.mean())
    land = values[:, rim.rays.steps > min(rim.blur, 0.5 * rim.rays.steps[-1])]
    return RimLevels(
        dark=min(max(dark, 0.0), 1.0),
        land=min(max(dark + median(heights), 0.0), 1.0),
        burnt_share=float((land >= settings.burnt_level).mean()),
    )
