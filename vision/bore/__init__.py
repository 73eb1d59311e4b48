"""Find and measure the bore: coarse search, sub-pixel rim, robust fit, verdict."""

from vision.bore.result import ALGORITHM, BoreFit, BoreRefusal, BurstFit, RadiusPrior, Reason

__all__ = ["ALGORITHM", "BoreFit", "BoreRefusal", "BurstFit", "RadiusPrior", "Reason"]
