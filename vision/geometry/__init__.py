"""Points, circles and ellipses."""

from vision.geometry.points import CovMm2, CovPx2, PointMm, PointPx

__all__ = ["CovMm2", "CovPx2", "PointMm", "PointPx"]
