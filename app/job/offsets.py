"""From sightings to nozzle vectors with their uncertainty.

Model. With the camera still, the bore of a tool lies at p = p0 + M (C + n), C the
carriage coordinate and n the nozzle vector. So each sighting s of tool i gives

    q_s = M^-1 (p_s - p_target) - C_s = N_i + f_s b + noise,

f_s being 0 or 1 per axis (its place was reached growing, or falling) and b the
reversal. N_i - N_0 is the nozzle vector. All sightings are taken together by
generalised least squares, so repeats and second approaches count for what they
are worth, and the covariance of each contributor (see `budget`) goes through the
same weights (JCGM 100:2008, 5.2 and F.1.2.3).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from app.dialects.values import NozzleVectorMm
from app.job.budget import (
    DEFAULT_SETTINGS,
    DRIFT,
    REMEDIES,
    REVERSAL,
    SCALE,
    OffsetSettings,
    contributor_covariances,
    falling_share,
    judged_covariance,
    reversal_mm,
    scale_covariance,
)
from app.job.learning import learn_scale_from
from app.job.observations import Evidence, Observation
from vision.geometry import CovMm2, PointPx
from vision.pixel_scale import PixelScale
from vision.uncertainty import coverage_factor, welch_satterthwaite

Matrix = NDArray[np.float64]

__all__ = ["ALGORITHM", "Contributor", "Solution", "ToolOffset", "learn_scale_from", "solve"]

ALGORITHM = "offsets-1"
"""Name and version of this computation; it is stored with every export."""

_NANOMETRE = 1e-4
"""In units of 10 um: keeps the factorisation sound where a covariance is singular."""

_LEVEL = 0.9545
"""k = 2 for a normal distribution; the t factor of the same level where data are few."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contributor:
    """What one source of doubt brings to a nozzle vector: standard uncertainty per axis."""

    name: str
    u_x_um: float
    u_y_um: float
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolOffset:
    """One tool's nozzle vector, seen from the reference nozzle, in machine axes.

    Attributes
    ----------
    covariance_mm2
        Of x and y.
    expanded_mm
        Expanded uncertainty per axis (95 %); z None where it was not measured.
    coverage
        The factor k or t that was used, per axis.
    contributors
        Largest first; empty for the reference.
    sightings
        How many entered.
    """

    tool: int
    vector_mm: NozzleVectorMm
    covariance_mm2: CovMm2
    expanded_mm: tuple[float, float, float | None]
    coverage: tuple[float, float]
    contributors: tuple[Contributor, ...]
    sightings: int

    @property
    def largest_contributor(self) -> str | None:
        """Name of what contributes most; None for the reference."""
        return self.contributors[0].name if self.contributors else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """The offsets of a whole job.

    Attributes
    ----------
    scale
        The pixel scale that was used.
    target_px
        Centre of the first reference sighting.
    tools
        The reference first (zero by definition), then the others.
    joint_covariance_mm2
        Shape (2 T, 2 T): x and y of every tool in the order of `tools`; it gives
        the uncertainty of n_i - n_j too.
    closure_um
        How far the reference's last sighting lies from its first, in machine
        axes; None when it was sighted once.
    closure_sigma_um
        What would be expected of it, one standard deviation per axis.
    residuals_um
        Shape (S, 2), read-only: what each sighting misses the answer by.
    expected_residuals_um
        Shape (S, 2), read-only: the standard deviation that was expected of each.
    repeats_widened
        Whether repeats scatter more than the machine's stated figures allow, so
        that their own scatter was used.
    """

    scale: PixelScale
    target_px: PointPx
    tools: tuple[ToolOffset, ...]
    joint_covariance_mm2: Matrix
    closure_um: tuple[float, float] | None
    closure_sigma_um: tuple[float, float] | None
    residuals_um: Matrix
    expected_residuals_um: Matrix
    repeats_widened: bool

    def tool(self, number: int) -> ToolOffset:
        """Return the offset of one tool; KeyError when it was not sighted."""
        for offset in self.tools:
            if offset.tool == number:
                return offset
        raise KeyError(number)

    def between_mm(self, tool: int, other: int) -> tuple[NozzleVectorMm, CovMm2]:
        """Return where nozzle `tool` stands seen from nozzle `other`, with its covariance."""
        order = [offset.tool for offset in self.tools]
        i, j = order.index(tool), order.index(other)
        step = np.zeros((2, 2 * len(order)))
        step[:, 2 * i : 2 * i + 2] += np.eye(2)
        step[:, 2 * j : 2 * j + 2] -= np.eye(2)
        a, b = self.tools[i].vector_mm, self.tools[j].vector_mm
        covariance = step @ self.joint_covariance_mm2 @ step.T
        return NozzleVectorMm(a.x - b.x, a.y - b.y), CovMm2.from_matrix(covariance)


def solve(
    evidence: Evidence, scale: PixelScale, settings: OffsetSettings = DEFAULT_SETTINGS
) -> Solution:
    """Work out all nozzle vectors.

    Parameters
    ----------
    evidence
        At least one sighting of the reference tool.
    scale
        As learnt by `learn_scale_from`.

    Raises
    ------
    ValueError
        When the reference tool was never sighted.
    """
    reference = evidence.of_tool(evidence.reference_tool)
    if not reference:
        raise ValueError("the reference tool was never sighted")
    target = reference[0].centre_px
    places = _places_mm(evidence.sightings, scale, target)
    closure = _closure(evidence, places)
    closure_mm = None if closure is None else closure @ places
    parts = contributor_covariances(evidence, scale, closure_mm, settings)
    parts[SCALE] = scale_covariance(evidence.sightings, scale, target)
    fit = _fit(evidence, places, parts, settings)
    closure_sigma = None
    if closure is not None:
        closure_sigma = _closure_sigma_mm(evidence, closure, parts, settings) * 1e3
    residuals = (fit.residuals_mm * 1e3).reshape(-1, 2)
    expected = np.sqrt(fit.residual_variance_mm2).reshape(-1, 2) * 1e3
    residuals.setflags(write=False)
    expected.setflags(write=False)
    tools, joint = _tool_offsets(evidence, scale, parts, fit, settings)
    return Solution(
        scale=scale,
        target_px=target,
        tools=tools,
        joint_covariance_mm2=joint,
        closure_um=None if closure_mm is None else _pair(closure_mm * 1e3),
        closure_sigma_um=None if closure_sigma is None else _pair(closure_sigma),
        residuals_um=residuals,
        expected_residuals_um=expected,
        repeats_widened=fit.widening > 1.0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """The least squares: all nozzles' places, and the weights that gave them.

    places_mm (2 T,); gain (2 T, 2 S) takes the sightings to the places;
    reversal_gain (2 T, 2) takes what was believed of the reversal to them.
    """

    places_mm: Matrix
    gain: Matrix
    reversal_gain: Matrix
    reversal_sigma_mm: float
    residuals_mm: Matrix
    residual_variance_mm2: Matrix
    widening: float
    freedom: float


def _pair(values: Matrix) -> tuple[float, float]:
    return float(values[0]), float(values[1])


def _places_mm(seen: Sequence[Observation], scale: PixelScale, target: PointPx) -> Matrix:
    """Return q_s = M^-1 (p_s - p_target) - C_s for all sightings, flat (2 S,)."""
    steps = np.array([s.centre_px for s in seen]) - np.array(target)
    standing = np.linalg.solve(scale.matrix_px_per_mm, steps.T).T
    carriages = np.array([s.carriage_mm for s in seen])
    places: Matrix = (standing - carriages).reshape(-1)
    return places


def _closure(evidence: Evidence, places: Matrix) -> Matrix | None:
    """Return the (2, 2 S) matrix that takes all places to last minus first of the reference."""
    reference = evidence.reference_tool
    indices = [i for i, s in enumerate(evidence.sightings) if s.tool == reference]
    if len(indices) < 2:
        return None
    picks = np.zeros((2, len(places)))
    for axis in (0, 1):
        picks[axis, 2 * indices[-1] + axis] = 1.0
        picks[axis, 2 * indices[0] + axis] = -1.0
    return picks


def _closure_sigma_mm(
    evidence: Evidence, closure: Matrix, parts: dict[str, Matrix], settings: OffsetSettings
) -> Matrix:
    """Return what closure is to be expected where nothing moved, per axis.

    A reference that was reached from another side at the end closes by the reversal.
    """
    still = judged_covariance(evidence, {n: part for n, part in parts.items() if n != DRIFT})
    turned = closure @ falling_share(evidence.sightings).reshape(-1)
    reversal = math.hypot(*reversal_mm(evidence.figures, settings))
    variance: Matrix = np.diag(closure @ still @ closure.T) + (turned * reversal) ** 2
    return np.sqrt(variance)


def _design(evidence: Evidence) -> Matrix:
    """Return the design matrix: a column pair a tool, then one pair for the reversal."""
    order = {tool: i for i, tool in enumerate(evidence.tools)}
    share = falling_share(evidence.sightings)
    design = np.zeros((2 * len(evidence.sightings), 2 * len(order) + 2))
    for s, seen in enumerate(evidence.sightings):
        for axis in (0, 1):
            design[2 * s + axis, 2 * order[seen.tool] + axis] = 1.0
            design[2 * s + axis, 2 * len(order) + axis] = share[s, axis]
    return design


def _fit(
    evidence: Evidence, places: Matrix, parts: dict[str, Matrix], settings: OffsetSettings
) -> _Fit:
    """Solve for all places and the reversal; what is believed of the latter is a datum more."""
    value, sigma = reversal_mm(evidence.figures, settings)
    count = len(places)
    tools = 2 * len(evidence.tools)
    design = np.vstack([_design(evidence), np.eye(2, tools + 2, tools)])
    data = np.concatenate([places, [value, value]])
    covariance = np.zeros((count + 2, count + 2))
    covariance[:count, :count] = sum(parts.values())
    covariance[count:, count:] = np.eye(2) * sigma**2
    # Units of 10 um keep all numbers near one, well away from rounding.
    root = np.linalg.cholesky(covariance * 1e4 + np.eye(count + 2) * _NANOMETRE**2)
    whitened = np.linalg.solve(root, design)
    gain = np.linalg.pinv(whitened) @ np.linalg.inv(root)
    solution = gain @ data
    remover = np.eye(count + 2) - design @ gain
    residuals = remover @ data
    expected = covariance.copy()
    expected[:count, :count] = judged_covariance(evidence, parts)
    residual_covariance = remover @ expected @ remover.T
    freedom = count - tools
    statistic = _misfit(residuals, residual_covariance, freedom)
    believable = freedom <= 0 or chi2.sf(statistic, freedom) >= settings.repeat_level
    return _Fit(
        places_mm=solution[:tools],
        gain=gain[:tools, :count],
        reversal_gain=gain[:tools, count:],
        reversal_sigma_mm=sigma,
        residuals_mm=residuals[:count],
        residual_variance_mm2=np.maximum(np.diag(residual_covariance)[:count], 0.0),
        widening=1.0 if believable else statistic / freedom,
        freedom=math.inf if believable else float(freedom),
    )


def _misfit(residuals: Matrix, covariance: Matrix, freedom: int) -> float:
    """Return r' C^+ r, chi-square with as many degrees of freedom as C has rank."""
    variances, directions = np.linalg.eigh(covariance)
    keep = slice(len(variances) - freedom, None)
    along = directions[:, keep].T @ residuals
    # Nothing repeats to less than a nanometre; below it numbers are rounding.
    return float(np.sum(along**2 / np.maximum(variances[keep], 1e-12)))


def _tool_offsets(
    evidence: Evidence,
    scale: PixelScale,
    parts: dict[str, Matrix],
    fit: _Fit,
    settings: OffsetSettings,
) -> tuple[tuple[ToolOffset, ...], Matrix]:
    """Return each tool's offset, and the joint covariance of them all."""
    count = len(evidence.tools)
    from_reference = np.eye(2 * count) - np.tile(np.eye(2, 2 * count), (count, 1))
    vectors = (from_reference @ fit.places_mm).reshape(-1, 2)
    shares: dict[str, Matrix] = {}
    for name, part in parts.items():
        widening = 1.0 if name == SCALE else fit.widening
        through = from_reference @ fit.gain
        shares[name] = widening * through @ part @ through.T
    through = from_reference @ fit.reversal_gain
    believed = through @ through.T * fit.reversal_sigma_mm**2
    shares[REVERSAL] = believed + shares.pop("unknown approach")
    joint: Matrix = sum(shares.values(), np.zeros((2 * count, 2 * count)))
    joint = (joint + joint.T) / 2.0
    joint.setflags(write=False)
    freedoms = {name: scale.dof if name == SCALE else fit.freedom for name in shares}
    tools = tuple(
        _tool_offset(evidence, i, vectors[i], shares, freedoms, settings) for i in range(count)
    )
    return tools, joint


def _tool_offset(
    evidence: Evidence,
    index: int,
    vector: Matrix,
    shares: dict[str, Matrix],
    freedoms: dict[str, float],
    settings: OffsetSettings,
) -> ToolOffset:
    at = slice(2 * index, 2 * index + 2)
    tool = evidence.tools[index]
    covariance = sum((share[at, at] for share in shares.values()), np.zeros((2, 2)))
    z, u_z = _height(evidence, tool, settings)
    is_reference = tool == evidence.reference_tool
    coverage = tuple(
        2.0 if is_reference else _coverage(shares, freedoms, 2 * index + axis) for axis in (0, 1)
    )
    expanded = [coverage[axis] * math.sqrt(max(covariance[axis, axis], 0.0)) for axis in (0, 1)]
    return ToolOffset(
        tool=tool,
        vector_mm=NozzleVectorMm(float(vector[0]), float(vector[1]), z),
        covariance_mm2=CovMm2.from_matrix(covariance),
        expanded_mm=(expanded[0], expanded[1], None if u_z is None else 2.0 * u_z),
        coverage=(coverage[0], coverage[1]),
        contributors=() if is_reference else _contributors(shares, at),
        sightings=len(evidence.of_tool(tool)),
    )


def _coverage(shares: dict[str, Matrix], freedoms: dict[str, float], at: int) -> float:
    us = [math.sqrt(max(share[at, at], 0.0)) for share in shares.values()]
    freedom = welch_satterthwaite(us, [freedoms[name] for name in shares])
    return coverage_factor(freedom, _LEVEL)


def _contributors(shares: dict[str, Matrix], at: slice) -> tuple[Contributor, ...]:
    found = [
        Contributor(
            name=name,
            u_x_um=1e3 * math.sqrt(max(share[at.start, at.start], 0.0)),
            u_y_um=1e3 * math.sqrt(max(share[at.start + 1, at.start + 1], 0.0)),
            remedy=REMEDIES[name],
        )
        for name, share in shares.items()
    ]
    return tuple(sorted(found, key=lambda c: -(c.u_x_um**2 + c.u_y_um**2)))


def _height(
    evidence: Evidence, tool: int, settings: OffsetSettings
) -> tuple[float | None, float | None]:
    """Return the nozzle vector's z by focus, and its standard uncertainty.

    n_z = C_z of the reference - C_z of the tool, both with the tip in focus. Where
    every sighting was read at the same z, nobody focused: not measured.
    """
    if tool == evidence.reference_tool:
        return 0.0, 0.0
    heights = [s.shown_mm.z for s in evidence.sightings]
    if None in heights or len(set(heights)) == 1:
        return None, None
    own = _carriage_heights(evidence, tool)
    reference = _carriage_heights(evidence, evidence.reference_tool)
    one = settings.focus_sigma_mm**2 + evidence.figures.display_step_mm**2 / 12.0
    u_z = math.sqrt(one / len(own) + one / len(reference))
    return sum(reference) / len(reference) - sum(own) / len(own), u_z


def _carriage_heights(evidence: Evidence, tool: int) -> list[float]:
    heights = [s.carriage_z_mm for s in evidence.of_tool(tool)]
    return [z for z in heights if z is not None]
