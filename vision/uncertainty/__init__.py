"""Uncertainty as in the GUM: budgets, propagation, least squares, repeats."""

from vision.uncertainty.budget import (
    LEVEL_K2,
    Combined,
    Component,
    combine,
    coverage_factor,
    welch_satterthwaite,
)
from vision.uncertainty.least_squares import (
    LeastSquaresFit,
    SingularDesign,
    weighted_least_squares,
)
from vision.uncertainty.propagation import DistributionResult, propagate, propagate_distributions
from vision.uncertainty.repeats import Repeats, mean_of_repeats, pooled_sd

__all__ = [
    "LEVEL_K2",
    "Combined",
    "Component",
    "DistributionResult",
    "LeastSquaresFit",
    "Repeats",
    "SingularDesign",
    "combine",
    "coverage_factor",
    "mean_of_repeats",
    "pooled_sd",
    "propagate",
    "propagate_distributions",
    "weighted_least_squares",
    "welch_satterthwaite",
]
