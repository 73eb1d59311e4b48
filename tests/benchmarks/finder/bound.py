"""How well the centre of a bore can be known at all: its Cramer-Rao bound.

No unbiased method scatters less than the inverse of the Fisher information of all pixels
(Kay 1993, Fundamentals of Statistical Signal Processing: Estimation Theory, ch. 3; from
memory). Unknown are centre, radius, blur and both levels; the light is even, which no real
land offers, so a method that leaves a light gradient free ends a little higher.
"""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tests.benchmarks.finder.discs import Disc, from_centre

Array = NDArray[np.float64]

ROUNDING_VARIANCE = 1.0 / 12.0


def centre_bound_px(side: int, disc: Disc, noise: float) -> float:
    """Return the bound of the centre per axis, px, one standard deviation.

    Parameters
    ----------
    side
        Width and height of the picture, px.
    disc
        What it shows.
    noise
        White noise of a pixel before rounding, grey levels.
    """
    slopes = np.stack([slope.ravel() for slope in derivatives(side, disc)])
    fisher = slopes @ slopes.T / (noise**2 + ROUNDING_VARIANCE)
    covariance = np.linalg.inv(fisher)
    return float(np.sqrt((covariance[0, 0] + covariance[1, 1]) / 2.0))


def derivatives(side: int, disc: Disc) -> tuple[Array, ...]:
    """Return the change of the picture with u, v, radius, blur, dark and bright level.

    The picture is I = dark + C Phi(z), z = (rho - R) / s, s^2 = blur^2 + 1/12.
    """
    x, y, rho = from_centre(side, disc)
    z = (rho - disc.radius_px) / disc.edge_px
    flank = disc.contrast * np.exp(-0.5 * z**2) / (sqrt(2 * pi) * disc.edge_px)
    away = np.maximum(rho, 1e-9)
    share = np.asarray(ndtr(z), dtype=np.float64)
    return (
        -flank * x / away,
        -flank * y / away,
        -flank,
        -flank * z * disc.blur_px / disc.edge_px,
        1.0 - share,
        share,
    )


def closed_form_px(disc: Disc, noise: float) -> float:
    """Return the bound for a rim that is wide against its blur, px.

    The centre does not mix with the even parameters, so F_uu = (1/sigma^2) sum (dI/du)^2.
    Round the rim cos^2 averages to 1/2; across it the squared Gaussian flank integrates to
    C^2 / (2 sqrt(pi) s). With 2 pi R of rim: F_uu = sqrt(pi) R C^2 / (2 s sigma^2).
    """
    sigma = sqrt(noise**2 + ROUNDING_VARIANCE)
    return sigma / disc.contrast * sqrt(2 * disc.edge_px / (sqrt(pi) * disc.radius_px))
