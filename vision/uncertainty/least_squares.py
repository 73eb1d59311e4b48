"""Linear least squares with known covariance, its rank checked."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeastSquaresFit:
    """Result of a linear least-squares fit; all arrays are read-only.

    Attributes
    ----------
    parameters
        Shape (k,).
    covariance
        Shape (k, k), of the parameters.
    residuals
        Shape (n,): observed minus fitted, in the unit of what was observed.
    chi2
        Sum of squares of the whitened residuals.
    dof
        n - k.
    from_residuals
        Whether `covariance` was scaled by chi2 / dof (then its degrees of freedom
        are `dof`), or rests on the covariance that was given.
    """

    parameters: Matrix
    covariance: Matrix
    residuals: Matrix
    chi2: float
    dof: int
    from_residuals: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SingularDesign:
    """Why there is no answer: the data do not determine all parameters.

    Attributes
    ----------
    rank
        How many combinations of parameters are determined.
    wanted
        How many parameters there are.
    condition
        Ratio of largest to smallest singular value, columns scaled alike;
        infinite when the rank is short.
    message
        One sentence for a person.
    """

    rank: int
    wanted: int
    condition: float
    message: str


def weighted_least_squares(
    design: Matrix,
    observed: Matrix,
    *,
    covariance: Matrix | None = None,
    scale_by_residuals: bool | None = None,
    condition_limit: float = 1e10,
) -> LeastSquaresFit | SingularDesign:
    """Fit `observed = design @ parameters` with known covariance.

    Parameters
    ----------
    design
        Shape (n, k).
    observed
        Shape (n,).
    covariance
        Of `observed`: shape (n, n), or its variances with shape (n,); None for
        equal, unknown variances.
    scale_by_residuals
        Whether the covariance is known only up to a factor, which the residuals
        give. By default only when `covariance` is None.
    condition_limit
        Above this condition of the whitened, column-scaled design the fit is
        refused.

    Returns
    -------
    LeastSquaresFit or SingularDesign
        The refusal says that the data do not determine all parameters.

    Raises
    ------
    ValueError
        When shapes do not fit, a number is not finite, or the covariance is not
        positive definite.

    References
    ----------
    JCGM 100:2008, H.3; Gauss-Markov theorem for correlated observations.

    Examples
    --------
    >>> line = weighted_least_squares(
    ...     np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 2.0]]),
    ...     np.array([1.0, 3.0, 5.0]),
    ...     covariance=np.ones(3),
    ... )
    >>> [round(float(value), 6) for value in line.parameters]
    [1.0, 2.0]
    """
    A, y = _checked(design, observed)
    whitened, target = _whiten(A, y, covariance)
    scales = np.linalg.norm(whitened, axis=0)
    if bool(np.any(scales == 0.0)) or len(y) < A.shape[1]:
        return _singular(whitened, math.inf)
    left, singular, right = np.linalg.svd(whitened / scales, full_matrices=False)
    condition = float(singular[0] / singular[-1]) if singular[-1] > 0.0 else math.inf
    if condition > condition_limit:
        return _singular(whitened / scales, condition)
    parameters = (right.T @ ((left.T @ target) / singular)) / scales
    root = (right.T / singular) / scales[:, None]
    chi2 = float(np.sum((target - whitened @ parameters) ** 2))
    return _result(
        A, y, parameters, root @ root.T, chi2, _by_residuals(covariance, scale_by_residuals)
    )


def _by_residuals(covariance: Matrix | None, asked: bool | None) -> bool:
    return covariance is None if asked is None else asked


def _result(
    A: Matrix, y: Matrix, parameters: Matrix, covariance: Matrix, chi2: float, from_residuals: bool
) -> LeastSquaresFit:
    dof = A.shape[0] - A.shape[1]
    if from_residuals:
        # Without redundancy nothing says how far the observations scatter.
        covariance = covariance * (chi2 / dof) if dof else np.full_like(covariance, math.inf)
    residuals = y - A @ parameters
    for array in (parameters, covariance, residuals):
        array.setflags(write=False)
    return LeastSquaresFit(
        parameters=parameters,
        covariance=covariance,
        residuals=residuals,
        chi2=chi2,
        dof=dof,
        from_residuals=from_residuals,
    )


def _checked(design: Matrix, observed: Matrix) -> tuple[Matrix, Matrix]:
    A = np.array(design, dtype=np.float64)
    y = np.array(observed, dtype=np.float64)
    if A.ndim != 2 or A.shape[1] == 0:
        raise ValueError(f"design must have shape (n, k), got {A.shape}")
    if y.shape != (A.shape[0],):
        raise ValueError(f"observed must have shape {(A.shape[0],)}, got {y.shape}")
    if not (bool(np.isfinite(A).all()) and bool(np.isfinite(y).all())):
        raise ValueError("design and observed must be finite")
    return A, y


def _whiten(A: Matrix, y: Matrix, covariance: Matrix | None) -> tuple[Matrix, Matrix]:
    if covariance is None:
        return A, y
    spread = np.asarray(covariance, dtype=np.float64)
    n = len(y)
    if spread.shape == (n,):
        if not bool(np.all(spread > 0.0) and np.isfinite(spread).all()):
            raise ValueError("covariance must be positive and finite")
        sigma = np.sqrt(spread)
        return A / sigma[:, None], y / sigma
    if spread.shape != (n, n):
        raise ValueError(f"covariance must have shape {(n,)} or {(n, n)}, got {spread.shape}")
    if not bool(np.isfinite(spread).all()):
        raise ValueError("covariance must be finite")
    try:
        lower = np.linalg.cholesky(spread)
    except np.linalg.LinAlgError as error:
        raise ValueError("covariance must be positive definite") from error
    return np.linalg.solve(lower, A), np.linalg.solve(lower, y)


def _singular(scaled: Matrix, condition: float) -> SingularDesign:
    rank = int(np.linalg.matrix_rank(scaled))
    wanted = scaled.shape[1]
    return SingularDesign(
        rank=rank,
        wanted=wanted,
        condition=condition,
        message=f"the data determine {rank} of {wanted} parameters only"
        if rank < wanted
        else f"the data determine the parameters too weakly (condition {condition:.1e})",
    )
