"""Find and measure the bore: coarse search, sub-pixel rim, robust fit, verdict."""

from vision.bore.burst import combine_burst, fit_burst
from vision.bore.finder import find_bore
from vision.bore.result import (
    ALGORITHM,
    BoreFit,
    BoreRefusal,
    BurstFit,
    RadiusPrior,
    Reason,
    RimLevels,
)
from vision.bore.settings import FinderSettings
from vision.bore.size import BoreSize, SeenRim, bore_size, mean_rim, nozzle_finding, rim_of

__all__ = [
    "ALGORITHM",
    "BoreFit",
    "BoreRefusal",
    "BoreSize",
    "BurstFit",
    "FinderSettings",
    "RadiusPrior",
    "Reason",
    "RimLevels",
    "SeenRim",
    "bore_size",
    "combine_burst",
    "find_bore",
    "fit_burst",
    "mean_rim",
    "nozzle_finding",
    "rim_of",
]
