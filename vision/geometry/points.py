"""Points and their covariances, in pixels and in millimetres.

Pixels and millimetres are different types, so that a mix-up is found by the
type checker. Pixel (0, 0) is the centre of the top-left pixel; u grows to the
right, v down. Machine axes are what the machine's display calls them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class PointPx(NamedTuple):
    """A point in the picture, in pixels: u to the right, v down."""

    u: float
    v: float


class PointMm(NamedTuple):
    """A point or a step in machine axes, in millimetres."""

    x: float
    y: float


class CovPx2(NamedTuple):
    """The 2x2 covariance of a point in the picture, in square pixels."""

    uu: float
    uv: float
    vv: float

    def matrix(self) -> NDArray[np.float64]:
        """Return the covariance as an array of shape (2, 2)."""
        return np.array([[self.uu, self.uv], [self.uv, self.vv]], dtype=np.float64)

    @classmethod
    def from_matrix(cls, matrix: NDArray[np.float64]) -> CovPx2:
        """Take the covariance from an array of shape (2, 2), made symmetric."""
        return cls(
            float(matrix[0, 0]), float(matrix[0, 1] + matrix[1, 0]) / 2.0, float(matrix[1, 1])
        )

    @property
    def sigma_px(self) -> float:
        """The standard uncertainty per axis: root of half the trace."""
        return float(np.sqrt((self.uu + self.vv) / 2.0))


class CovMm2(NamedTuple):
    """The 2x2 covariance of a point in machine axes, in square millimetres."""

    xx: float
    xy: float
    yy: float

    def matrix(self) -> NDArray[np.float64]:
        """Return the covariance as an array of shape (2, 2)."""
        return np.array([[self.xx, self.xy], [self.xy, self.yy]], dtype=np.float64)

    @classmethod
    def from_matrix(cls, matrix: NDArray[np.float64]) -> CovMm2:
        """Take the covariance from an array of shape (2, 2), made symmetric."""
        return cls(
            float(matrix[0, 0]), float(matrix[0, 1] + matrix[1, 0]) / 2.0, float(matrix[1, 1])
        )
