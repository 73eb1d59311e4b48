"""Type A evaluation: what repeats say about scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeats:
    """Scatter that was seen.

    Attributes
    ----------
    mean
        Mean of the repeats (of one group).
    sd
        Standard deviation of one observation.
    u_mean
        Standard uncertainty of the mean.
    dof
        Degrees of freedom of `sd`.
    """

    mean: float
    sd: float
    u_mean: float
    dof: int


def mean_of_repeats(values: ArrayLike) -> Repeats:
    """Return mean, scatter and uncertainty of the mean of one group.

    Parameters
    ----------
    values
        Shape (n,), n at least 2, finite.

    Raises
    ------
    ValueError
        When there are fewer than two, or one is not finite.

    References
    ----------
    JCGM 100:2008, 4.2.
    """
    group = _group(values)
    if len(group) < 2:
        raise ValueError(f"values must be at least two, got {len(group)}")
    sd = float(group.std(ddof=1))
    return Repeats(
        mean=float(group.mean()), sd=sd, u_mean=sd / math.sqrt(len(group)), dof=len(group) - 1
    )


def pooled_sd(groups: Sequence[ArrayLike]) -> tuple[float, int]:
    """Return the standard deviation common to several groups, and its degrees of freedom.

    Each group has a mean of its own; groups of one observation say nothing.

    Parameters
    ----------
    groups
        Each of shape (n_i,).

    Raises
    ------
    ValueError
        When no group holds two observations.

    References
    ----------
    JCGM 100:2008, H.3.6 and H.5.2.2 (pooled estimate).

    Examples
    --------
    >>> pooled_sd([[1.0, 3.0], [10.0, 12.0], [5.0]])
    (1.4142135623730951, 2)
    """
    arrays = [_group(group) for group in groups]
    freedom = sum(max(len(group) - 1, 0) for group in arrays)
    if freedom == 0:
        raise ValueError("groups must hold two observations at least once")
    squares = sum(float(np.sum((group - group.mean()) ** 2)) for group in arrays if len(group))
    return math.sqrt(squares / freedom), freedom


def _group(values: ArrayLike) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    group = np.asarray(values, dtype=np.float64)
    if group.ndim != 1 or not bool(np.isfinite(group).all()):
        raise ValueError("values must be one row of finite numbers")
    return group.reshape(-1)
