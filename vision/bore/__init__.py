"""Find and measure the bore: coarse search, sub-pixel rim, robust fit, verdict."""

from vision.bore.burst import combine_burst, fit_burst
from vision.bore.finder import find_bore
from vision.bore.result import ALGORITHM, BoreFit, BoreRefusal, BurstFit, RadiusPrior, Reason
from vision.bore.settings import FinderSettings

__all__ = [
    "ALGORITHM",
    "BoreFit",
    "BoreRefusal",
    "BurstFit",
    "FinderSettings",
    "RadiusPrior",
    "Reason",
    "combine_burst",
    "find_bore",
    "fit_burst",
]
