"""How sure the centre is: a part from noise, a part from what the view itself does to it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.bore.flanks import flank_variance, light_variance
from vision.bore.ranks import median
from vision.bore.rim import Rim, design_matrix
from vision.bore.settings import FinderSettings
from vision.geometry import CovPx2
from vision.geometry.loss import MAD_TO_SIGMA

Array = NDArray[np.float64]


def covariances(rim: Rim, noise: float, settings: FinderSettings) -> tuple[CovPx2, CovPx2]:
    """Return the temporal and the static covariance of the centre, in square px.

    The centre is a weighted sum of the edges' places, and noise of the edges is
    independent: that is the temporal part. The static part stays the same in every
    frame of a view: dirt, texture, and light on the broken edge. It is read off three
    signs: whether dark and bright flank of the edge have one centre; how uneven the
    light is; and how much edges scatter in height and place. What each weighs was
    measured on painted pictures of dirty tips (see `FinderSettings`).
    """
    design = design_matrix(rim.angles)
    normal = design.T @ (design * rim.weights[:, None]) + np.diag(rim.prior)
    inverse = np.linalg.inv(normal)
    rows = (inverse @ (design * rim.weights[:, None]).T)[:2]
    temporal = (rows * (rim.gain * noise) ** 2) @ rows.T
    # As hidden parts of the rim leave one direction less sure, so does what is static.
    shape = inverse[:2, :2] / (0.5 * np.trace(inverse[:2, :2]))
    static = shape * static_variance(rim, noise, settings)
    return CovPx2.from_matrix(temporal), CovPx2.from_matrix(static)


def static_variance(rim: Rim, noise: float, settings: FinderSettings) -> float:
    """Return the variance per axis, in square px, that averaging of frames leaves."""
    seen = (
        settings.flank_weight * flank_variance(rim)
        + settings.light_weight * light_variance(rim)
        + settings.scatter_weight * scatter_variance(rim, noise)
        # Wear that makes a bore oval is seldom the same on both sides.
        + settings.oval_weight * (rim.curve.e_cos**2 + rim.curve.e_sin**2)
    )
    # What hides part of the rim has an edge of its own, and some of that is taken for rim.
    return seen * float(np.exp(settings.hidden_weight * (1.0 - rim.believed.mean())))


def scatter_variance(rim: Rim, noise: float) -> float:
    """Return how much edges scatter beyond noise: relative height x place x blur, px^2."""
    believed = rim.believed
    heights = rim.heights[believed]
    middle = median(heights)
    uneven = MAD_TO_SIGMA * median(np.abs(heights - middle)) / max(middle, 1e-6)
    excess = rim.residuals[believed] ** 2 - (rim.gain[believed] * noise) ** 2
    return float(uneven * np.sqrt(max(float(np.mean(excess)), 0.0)) * rim.blur)
