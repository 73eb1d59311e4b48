"""Propagation of uncertainty: linear (JCGM 100) and by distributions (JCGM 101)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.uncertainty.budget import LEVEL_K2

Matrix = NDArray[np.float64]
Sampler = Callable[[np.random.Generator, int], Matrix]


def propagate(jacobian: Matrix, covariance: Matrix) -> Matrix:
    """Return the covariance of a linear function of correlated inputs.

    Parameters
    ----------
    jacobian
        Shape (m, n): derivatives of m outputs after n inputs.
    covariance
        Shape (n, n).

    Returns
    -------
    ndarray
        Shape (m, m), symmetric: J V J'.

    Raises
    ------
    ValueError
        When the shapes do not fit.

    References
    ----------
    JCGM 100:2008, equation 13 and H.2.
    """
    J = np.atleast_2d(np.asarray(jacobian, dtype=np.float64))
    V = np.asarray(covariance, dtype=np.float64)
    if V.shape != (J.shape[1], J.shape[1]):
        raise ValueError(f"covariance must have shape {(J.shape[1],) * 2}, got {V.shape}")
    spread = J @ V @ J.T
    result: Matrix = (spread + spread.T) / 2.0
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class DistributionResult:
    """What a Monte Carlo propagation gives for one output.

    Attributes
    ----------
    mean, u
        Mean and standard deviation of the output.
    low, high
        Ends of the probabilistically symmetric interval.
    shortest
        Ends of the shortest interval of the same level.
    level
        Share of the distribution in either interval.
    trials
        How many there were.
    """

    mean: float
    u: float
    low: float
    high: float
    shortest: tuple[float, float]
    level: float
    trials: int


def propagate_distributions(
    model: Callable[..., Matrix],
    samplers: Sequence[Sampler],
    n: int,
    rng: np.random.Generator,
    *,
    level: float = LEVEL_K2,
) -> DistributionResult:
    """Propagate distributions through a model by Monte Carlo.

    Parameters
    ----------
    model
        Called with one array of shape (n,) for each sampler; gives shape (n,).
    samplers
        Each called with `rng` and `n`, gives shape (n,).
    n
        Number of trials; at least 100.
    rng
        The random generator; nothing else is random.
    level
        Share of the distribution in the intervals.

    Raises
    ------
    ValueError
        When there are too few trials or the model gives another shape.

    References
    ----------
    JCGM 101:2008, 7.2 to 7.7, 5.3.4 (shortest interval).
    """
    if n < 100:
        raise ValueError(f"n must be at least 100, got {n}")
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, got {level}")
    values = np.asarray(model(*(draw(rng, n) for draw in samplers)), dtype=np.float64)
    if values.shape != (n,):
        raise ValueError(f"model must give shape {(n,)}, got {values.shape}")
    ordered = np.sort(values)
    low, high = np.quantile(ordered, [(1.0 - level) / 2.0, (1.0 + level) / 2.0])
    return DistributionResult(
        mean=float(ordered.mean()),
        u=float(ordered.std(ddof=1)),
        low=float(low),
        high=float(high),
        shortest=_shortest(ordered, level),
        level=level,
        trials=n,
    )


def _shortest(ordered: Matrix, level: float) -> tuple[float, float]:
    inside = min(round(level * len(ordered)), len(ordered) - 1)
    widths = ordered[inside:] - ordered[: len(ordered) - inside]
    start = int(np.argmin(widths))
    return float(ordered[start]), float(ordered[start + inside])
