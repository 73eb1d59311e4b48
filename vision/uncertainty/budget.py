"""An uncertainty budget: components combined as in JCGM 100, the largest one named.

No factor here is tuned to make coverage come out: what is shown is k = 2, or
the t factor of the same level where the degrees of freedom are few.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student_t

LEVEL_K2 = math.erf(math.sqrt(2.0))
"""Share of a normal distribution within two standard deviations: 0.9545."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One line of a budget.

    Attributes
    ----------
    name
        What it comes from, as it is shown.
    u
        Standard uncertainty, already multiplied by its sensitivity, in the unit
        of the result; not negative.
    dof
        Degrees of freedom of `u`; infinite where it is taken as known.

    Raises
    ------
    ValueError
        When `u` is negative or not finite, or `dof` is not positive.
    """

    name: str
    u: float
    dof: float = math.inf

    def __post_init__(self) -> None:
        if not (math.isfinite(self.u) and self.u >= 0.0):
            raise ValueError(f"u of {self.name!r} must be finite and not negative, got {self.u}")
        if not self.dof > 0.0:
            raise ValueError(f"dof of {self.name!r} must be positive, got {self.dof}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """A combined standard uncertainty and what it is made of.

    Attributes
    ----------
    u
        Combined standard uncertainty.
    dof
        Effective degrees of freedom (Welch-Satterthwaite).
    coverage
        The factor between `u` and `expanded`.
    level
        The level of confidence that `coverage` stands for.
    expanded
        Expanded uncertainty, `coverage * u`.
    largest
        The component that contributes most; None when all are zero.
    u_without_largest
        What `u` would be if `largest` were nil.
    components
        All of them, largest first.
    """

    u: float
    dof: float
    coverage: float
    level: float
    expanded: float
    largest: Component | None
    u_without_largest: float
    components: tuple[Component, ...]


def coverage_factor(dof: float, level: float = LEVEL_K2) -> float:
    """Return the two-sided factor of Student's t for a level of confidence.

    Parameters
    ----------
    dof
        Degrees of freedom, also fractional or infinite; positive.
    level
        Between 0 and 1. The default is that of k = 2: infinite degrees of freedom
        give exactly 2.

    Raises
    ------
    ValueError
        When `dof` or `level` lies outside of its range.

    References
    ----------
    JCGM 100:2008, G.3.2 and table G.2.

    Examples
    --------
    >>> round(coverage_factor(float("inf")), 6)
    2.0
    >>> round(coverage_factor(9, 0.95), 2)
    2.26
    """
    if not dof > 0.0:
        raise ValueError(f"dof must be positive, got {dof}")
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, got {level}")
    return float(student_t.ppf(0.5 + level / 2.0, dof))


def welch_satterthwaite(u: Sequence[float], dof: Sequence[float]) -> float:
    """Return the effective degrees of freedom of independent components.

    Parameters
    ----------
    u
        Standard uncertainties, already multiplied by their sensitivities.
    dof
        Degrees of freedom of each.

    Returns
    -------
    float
        u_c^4 / sum(u_i^4 / nu_i); infinite when no component with finite degrees
        of freedom contributes. Not valid for correlated components.

    Raises
    ------
    ValueError
        When the lengths differ or a `dof` is not positive.

    References
    ----------
    JCGM 100:2008, equation G.2b.
    """
    sizes = np.asarray(u, dtype=np.float64)
    freedoms = np.asarray(dof, dtype=np.float64)
    if sizes.shape != freedoms.shape or sizes.ndim != 1:
        raise ValueError(f"u and dof must be of one length, got {sizes.shape}, {freedoms.shape}")
    if not bool(np.all(freedoms > 0.0)):
        raise ValueError("dof must be positive throughout")
    largest = float(np.max(np.abs(sizes), initial=0.0))
    if largest == 0.0:
        return math.inf
    # Scaled, so that fourth powers of micrometres in metres do not vanish.
    squares = (sizes / largest) ** 2
    below = float(np.sum(squares**2 / freedoms))
    return math.inf if below == 0.0 else float(np.sum(squares)) ** 2 / below


def combine(
    components: Sequence[Component],
    *,
    correlation: NDArray[np.float64] | None = None,
    level: float = LEVEL_K2,
) -> Combined:
    """Combine the components of a budget.

    Parameters
    ----------
    components
        The lines of the budget; may be empty.
    correlation
        Shape (n, n), coefficients between the components; None for independent
        ones. The sign of a sensitivity belongs into the coefficient. With
        correlated components Welch-Satterthwaite does not hold, so the smallest
        degrees of freedom among them are taken.
    level
        Level of confidence of the expanded uncertainty.

    Raises
    ------
    ValueError
        When `correlation` is not a correlation matrix of that size.

    References
    ----------
    JCGM 100:2008, 5.1.2 (independent), 5.2.2 (correlated), G.4.

    Examples
    --------
    >>> both = combine([Component(name="scale", u=3.0), Component(name="sighting", u=4.0)])
    >>> both.u, both.largest.name, both.u_without_largest, round(both.expanded, 6)
    (5.0, 'sighting', 3.0, 10.0)
    """
    sizes = np.array([component.u for component in components], dtype=np.float64)
    matrix = np.eye(len(sizes)) if correlation is None else _checked(correlation, len(sizes))
    freedom = _freedom(components, matrix)
    factor = coverage_factor(freedom, level)
    u = _root_form(sizes, matrix)
    ordered = tuple(sorted(components, key=lambda component: -component.u))
    largest = ordered[0] if ordered and ordered[0].u > 0.0 else None
    return Combined(
        u=u,
        dof=freedom,
        coverage=factor,
        level=level,
        expanded=factor * u,
        largest=largest,
        u_without_largest=_without_largest(sizes, matrix),
        components=ordered,
    )


def _root_form(sizes: NDArray[np.float64], matrix: NDArray[np.float64]) -> float:
    # A correlation of -1 leaves nothing but rounding, which may be negative.
    return math.sqrt(max(float(sizes @ matrix @ sizes), 0.0))


def _without_largest(sizes: NDArray[np.float64], matrix: NDArray[np.float64]) -> float:
    rest = sizes.copy()
    if len(rest):
        rest[int(np.argmax(rest))] = 0.0
    return _root_form(rest, matrix)


def _freedom(components: Sequence[Component], matrix: NDArray[np.float64]) -> float:
    if np.array_equal(matrix, np.eye(len(components))):
        return welch_satterthwaite([c.u for c in components], [c.dof for c in components])
    return min((c.dof for c in components if c.u > 0.0), default=math.inf)


def _checked(correlation: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    matrix = np.asarray(correlation, dtype=np.float64)
    if matrix.shape != (n, n):
        raise ValueError(f"correlation must have shape {(n, n)}, got {matrix.shape}")
    if not np.allclose(matrix, matrix.T) or not np.allclose(np.diag(matrix), 1.0):
        raise ValueError("correlation must be symmetric with ones on its diagonal")
    if n and float(np.linalg.eigvalsh(matrix)[0]) < -1e-6:
        raise ValueError("correlation must be positive semi-definite")
    return matrix
