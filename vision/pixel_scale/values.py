"""What the pixel scale is learnt from, what it is, and why there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from vision.geometry import CovMm2, CovPx2, PointMm, PointPx

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class JogSighting:
    """One place where the reference tool's bore was seen.

    Attributes
    ----------
    position_mm
        Carriage coordinate in machine axes, no tool offset in it.
    centre_px
        Where the bore was seen.
    cov_px2
        Covariance of that centre.
    read_mm
        What was read off the machine's display for it; None where that is the position
        itself. Sentences and hints about a wrong entry are about these digits.
    """

    position_mm: PointMm
    centre_px: PointPx
    cov_px2: CovPx2
    read_mm: PointMm | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleSettings:
    """Limits of what is believed, each with its reason.

    Attributes
    ----------
    scatter_level
        Probability of a chi-square below which the residuals are not believed to
        come from the stated covariance; then their own scatter is taken.
    contradiction_um
        Scatter per axis that no machine in order shows: a belt positions within
        10 um, a motor step error adds up to 10 um.
    doubtful_sigmas
        An entry is named when it misses what the others say by as many standard
        uncertainties: among some ten entries, chance stays far below that.
    doubtful_least_um
        Smaller misses are not worth a question, whatever their significance.
    doubtful_refused_um
        A named entry that misses by more stops the work until it is retyped.
    others_scatter_limit
        How many times as much as stated the other entries may scatter for one of
        them to be blamed.
    rival_margin
        Chi-square by which the best explanation must lead for an entry to be
        named alone.
    collinear_ratio
        Least ratio of the short to the long extent of the jogs.
    relative_u_limit
        Largest standard uncertainty of either axis' scale, as a part of it: at
        0.3 mm off the target, 2 % are 6 um.
    stretch_limit
        Largest ratio of the scales of X and Y; no camera stretches that much.
    skew_limit_deg
        Largest departure of the axes from a right angle.
    """

    scatter_level: float = 0.05
    contradiction_um: float = 30.0
    doubtful_sigmas: float = 6.0
    doubtful_least_um: float = 25.0
    doubtful_refused_um: float = 50.0
    others_scatter_limit: float = 3.0
    rival_margin: float = 10.0
    collinear_ratio: float = 0.05
    relative_u_limit: float = 0.02
    stretch_limit: float = 1.5
    skew_limit_deg: float = 30.0


class Axis(StrEnum):
    """Which coordinate of an entry disagrees."""

    X = "x"
    Y = "y"
    BOTH = "both"


class Slip(StrEnum):
    """What a wrong entry looks like; a hint, not a finding."""

    DIGITS_SWAPPED = "digits-swapped"
    SIGN = "sign"
    POINT = "decimal-point"
    EXCHANGED = "x-and-y-exchanged"
    NOT_DONE = "jog-not-done"


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtfulEntry:
    """A position that disagrees with the picture, judged by all other ones.

    Attributes
    ----------
    index
        Which of the jogs, from 0.
    axis
        Which coordinate disagrees.
    read_mm
        What was entered.
    suggested_mm
        What the picture says, by the scale of the other jogs; the coordinate
        that agrees is left as it was entered. Not rounded.
    sigma_um
        Standard uncertainty of the suggestion, of the worse coordinate named.
    others_agree_um
        RMS residual of all other jogs among themselves.
    slip
        The slip that turns what the picture says, as the display would show it, into
        what was read; None when none does within the suggestion's uncertainty.
    """

    index: int
    axis: Axis
    read_mm: PointMm
    suggested_mm: PointMm
    sigma_um: float
    others_agree_um: float
    slip: Slip | None

    @property
    def miss_um(self) -> float:
        """How far the entry lies from the suggestion."""
        return 1e3 * math.dist(self.read_mm, self.suggested_mm)


class ScaleReason(StrEnum):
    """Why no pixel scale was learnt."""

    TOO_FEW = "too-few-jogs"
    NOT_FINITE = "not-finite"
    ALL_ALIKE = "all-alike"
    COLLINEAR = "collinear"
    TOO_SHORT = "too-short"
    CONTRADICTORY = "contradictory"
    IMPLAUSIBLE = "implausible-axes"


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleRefusal:
    """Why there is no pixel scale, in plain words.

    Attributes
    ----------
    reason
        The kind of refusal.
    message
        What is wrong, in one sentence for a person.
    remedy
        What to do about it, in one sentence.
    doubtful
        Entries one of which would explain it, most likely first; when there is
        one only, it is that one.
    """

    reason: ScaleReason
    message: str
    remedy: str
    doubtful: tuple[DoubtfulEntry, ...] = ()

    @property
    def sentence(self) -> str:
        """What is wrong and what to do, in two sentences."""
        return f"{_sentence(self.message)} {_sentence(self.remedy)}"


def _sentence(clause: str) -> str:
    return f"{clause[0].upper()}{clause[1:]}."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PixelScale:
    """The map between pixels and machine millimetres, p = origin_px + M (C - origin_mm).

    Arrays are read-only. Turning, skew and mirroring are all in the matrix.

    Attributes
    ----------
    matrix_px_per_mm
        Shape (2, 2): [[du/dX, du/dY], [dv/dX, dv/dY]].
    covariance_px2_per_mm2
        Shape (4, 4), of (du/dX, du/dY, dv/dX, dv/dY).
    dof
        Degrees of freedom of that covariance: infinite when it rests on the stated
        figures, 2 N - 6 when it was widened by the residuals.
    widened
        Whether the residuals scatter more than was stated, so that their scatter
        was taken.
    origin_px, origin_mm
        Mean place of the jogs, in the picture and in machine axes.
    residuals_um
        Shape (N, 2): where the picture puts each jog minus what was entered, in
        machine axes.
    rms_um
        Root of the mean square of the residuals, along X and along Y.
    chi2
        Weighted sum of their squares against what was stated, 2 N - 6 degrees of
        freedom.
    doubtful
        Entries one of which disagrees with all others, most likely first; empty
        when none does.
    """

    matrix_px_per_mm: Matrix
    covariance_px2_per_mm2: Matrix
    dof: float
    widened: bool
    origin_px: PointPx
    origin_mm: PointMm
    residuals_um: Matrix
    rms_um: tuple[float, float]
    chi2: float
    doubtful: tuple[DoubtfulEntry, ...] = ()

    def to_mm(self, step_px: PointPx) -> PointMm:
        """Return the step in machine axes that shows as `step_px` in the picture."""
        x, y = np.linalg.solve(self.matrix_px_per_mm, np.asarray(step_px, dtype=np.float64))
        return PointMm(float(x), float(y))

    def to_px(self, step_mm: PointMm) -> PointPx:
        """Return how a step in machine axes shows in the picture."""
        u, v = self.matrix_px_per_mm @ np.asarray(step_mm, dtype=np.float64)
        return PointPx(float(u), float(v))

    def scale_jacobian_mm(self, step_px: PointPx) -> Matrix:
        """Return the derivative of `to_mm(step_px)` after the entries of the matrix.

        Returns
        -------
        ndarray
            Shape (2, 4), mm per (px/mm), columns in the order of
            `covariance_px2_per_mm2`: d(M^-1 s) = -M^-1 dM M^-1 s.
        """
        inverse = np.linalg.inv(self.matrix_px_per_mm)
        step_mm = inverse @ np.asarray(step_px, dtype=np.float64)
        jacobian: Matrix = -np.einsum("ka,b->kab", inverse, step_mm).reshape(2, 4)
        return jacobian

    def step_cov_mm2(self, step_px: PointPx) -> CovMm2:
        """Return the covariance of `to_mm(step_px)` that comes from the scale alone."""
        jacobian = self.scale_jacobian_mm(step_px)
        return CovMm2.from_matrix(jacobian @ self.covariance_px2_per_mm2 @ jacobian.T)

    @property
    def mirrored(self) -> bool:
        """Whether the determinant is negative: picture flipped, or an axis' sign wrong."""
        return float(np.linalg.det(self.matrix_px_per_mm)) < 0.0

    @property
    def um_per_px(self) -> float:
        """What a pixel is worth, root of its area."""
        return 1e3 / math.sqrt(abs(float(np.linalg.det(self.matrix_px_per_mm))))

    @property
    def axis_px_per_mm(self) -> tuple[float, float]:
        """Length of a millimetre of X and of Y in the picture."""
        x, y = np.linalg.norm(self.matrix_px_per_mm, axis=0)
        return float(x), float(y)

    @property
    def rotation_deg(self) -> float:
        """Direction of +X in the picture, from +u towards +v, in (-180, 180]."""
        return math.degrees(math.atan2(self.matrix_px_per_mm[1, 0], self.matrix_px_per_mm[0, 0]))

    @property
    def skew_deg(self) -> float:
        """90 minus the angle between the axes in the picture."""
        x, y = self.matrix_px_per_mm.T
        cosine = float(x @ y) / float(np.linalg.norm(x) * np.linalg.norm(y))
        return 90.0 - math.degrees(math.acos(max(-1.0, min(1.0, cosine))))

    @property
    def relative_u(self) -> tuple[float, float]:
        """Standard uncertainty of the scale of X and of Y, as a part of it."""
        return axis_relative_u(self.matrix_px_per_mm, self.covariance_px2_per_mm2)


def axis_relative_u(matrix: Matrix, covariance: Matrix) -> tuple[float, float]:
    """Return u(|m|) / |m| for both columns of a scale matrix."""
    parts = []
    for axis in (0, 1):
        column = matrix[:, axis]
        square = float(column @ column)
        block = covariance[np.ix_([axis, axis + 2], [axis, axis + 2])]
        variance = max(float(column @ block @ column), 0.0)
        parts.append(math.sqrt(variance) / square if square > 0.0 else math.inf)
    return parts[0], parts[1]
