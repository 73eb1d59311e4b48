"""The fit p = p0 + M C with noise in both the picture and the machine's position."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import CovMm2
from vision.pixel_scale.values import JogSighting
from vision.uncertainty import SingularDesign, weighted_least_squares

Matrix = NDArray[np.float64]

ROUNDS = 12
"""The weights hang on M; they settle in three or four rounds."""

LEAST_SIGMA_PX = 1e-4
"""No centre is known better; keeps the weights finite when nothing is stated."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Jogs:
    """The jogs as arrays.

    Attributes
    ----------
    positions_mm, centres_px
        Shape (N, 2).
    read_mm
        Shape (N, 2), what the display showed at each position.
    covs_px2
        Shape (N, 2, 2).
    position_cov_mm2
        Shape (2, 2), of each position.
    """

    positions_mm: Matrix
    centres_px: Matrix
    read_mm: Matrix
    covs_px2: Matrix
    position_cov_mm2: Matrix

    @classmethod
    def of(cls, jogs: Sequence[JogSighting], position_cov_mm2: CovMm2) -> Jogs:
        """Take the arrays from sightings."""
        n = len(jogs)
        read = [jog.position_mm if jog.read_mm is None else jog.read_mm for jog in jogs]
        return cls(
            positions_mm=np.array([jog.position_mm for jog in jogs], np.float64).reshape(n, 2),
            centres_px=np.array([jog.centre_px for jog in jogs], np.float64).reshape(n, 2),
            read_mm=np.array(read, np.float64).reshape(n, 2),
            covs_px2=np.array([jog.cov_px2.matrix() for jog in jogs]).reshape(n, 2, 2),
            position_cov_mm2=position_cov_mm2.matrix(),
        )

    def __len__(self) -> int:
        return len(self.positions_mm)

    def without(self, index: int) -> Jogs:
        """Return all jogs but one."""
        keep = np.arange(len(self)) != index
        return Jogs(
            positions_mm=self.positions_mm[keep],
            centres_px=self.centres_px[keep],
            read_mm=self.read_mm[keep],
            covs_px2=self.covs_px2[keep],
            position_cov_mm2=self.position_cov_mm2,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AffineFit:
    """The fitted map, about the jogs' mean place.

    Attributes
    ----------
    matrix
        Shape (2, 2), px per mm.
    origin_mm, origin_px
        Shape (2,): the mean position and where the fit puts it.
    covariance
        Shape (6, 6), of (u0, v0, du/dX, du/dY, dv/dX, dv/dY), from what was stated.
    residuals_px
        Shape (N, 2): seen minus fitted.
    chi2, dof
        Of the residuals against what was stated.
    """

    matrix: Matrix
    origin_mm: Matrix
    origin_px: Matrix
    covariance: Matrix
    residuals_px: Matrix
    chi2: float
    dof: int

    @property
    def matrix_covariance(self) -> Matrix:
        """The (4, 4) part of the covariance that belongs to the matrix."""
        part: Matrix = self.covariance[2:, 2:]
        return part

    def residuals_um(self) -> Matrix:
        """Return the residuals in machine axes, shape (N, 2)."""
        turned = np.linalg.solve(self.matrix, 1e3 * self.residuals_px.T).T
        return np.asarray(turned, dtype=np.float64)


def fit_affine(jogs: Jogs) -> AffineFit | SingularDesign:
    """Fit the map by least squares, weighted by M Sigma_C M' + Sigma_p.

    The entered position is what the machine was told; the scatter lies between it
    and where the carriage stands. So there is no bias from noise in the regressor
    (Berkson 1950), and the position's noise is carried over into the picture.
    """
    origin_mm: Matrix = jogs.positions_mm.mean(axis=0)
    shift_px = jogs.centres_px.mean(axis=0)
    design = _design(jogs.positions_mm - origin_mm)
    observed = (jogs.centres_px - shift_px).ravel()
    fit = weighted_least_squares(design, observed, covariance=np.ones(len(observed)))
    for _ in range(ROUNDS):
        if isinstance(fit, SingularDesign):
            return fit
        before = fit.parameters
        fit = weighted_least_squares(
            design, observed, covariance=_covariance(jogs, before[2:].reshape(2, 2))
        )
        if isinstance(fit, SingularDesign):
            return fit
        if np.allclose(fit.parameters, before, rtol=1e-10, atol=1e-10):
            break
    assert not isinstance(fit, SingularDesign)
    return AffineFit(
        matrix=fit.parameters[2:].reshape(2, 2),
        origin_mm=origin_mm,
        origin_px=shift_px + fit.parameters[:2],
        covariance=fit.covariance,
        residuals_px=fit.residuals.reshape(-1, 2),
        chi2=fit.chi2,
        dof=fit.dof,
    )


def extents(points: Matrix) -> tuple[float, float]:
    """Return the long and the short extent of points, shape (N, 2), as standard deviations."""
    centred = points - points.mean(axis=0)
    long, short = np.linalg.svd(centred, compute_uv=False)[:2] / np.sqrt(len(points))
    return float(long), float(short)


def entry_design(offset_mm: Matrix) -> Matrix:
    """Return the two rows of the design of one jog at `offset_mm` from the origin, (2, 6)."""
    return _design(offset_mm.reshape(1, 2))


def entry_covariance(jogs: Jogs, index: int, matrix: Matrix) -> Matrix:
    """Return the covariance of one centre, the position's noise carried over, (2, 2)."""
    floor = LEAST_SIGMA_PX**2 * np.eye(2)
    total: Matrix = jogs.covs_px2[index] + matrix @ jogs.position_cov_mm2 @ matrix.T + floor
    return total


def _design(offsets_mm: Matrix) -> Matrix:
    n = len(offsets_mm)
    design = np.zeros((2 * n, 6))
    design[0::2, 0] = design[1::2, 1] = 1.0
    design[0::2, 2:4] = design[1::2, 4:6] = offsets_mm
    return design


def _covariance(jogs: Jogs, matrix: Matrix) -> Matrix:
    n = len(jogs)
    total = np.zeros((2 * n, 2 * n))
    for index in range(n):
        place = slice(2 * index, 2 * index + 2)
        total[place, place] = entry_covariance(jogs, index, matrix)
    return total
