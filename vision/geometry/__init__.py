"""Points, circles and ellipses."""

from vision.geometry.circle import CircleFit, fit_circle
from vision.geometry.ellipse import EllipseFit, fit_ellipse
from vision.geometry.loss import Loss
from vision.geometry.points import CovMm2, CovPx2, PointMm, PointPx
from vision.geometry.refusal import FitReason, FitRefusal

__all__ = [
    "CircleFit",
    "CovMm2",
    "CovPx2",
    "EllipseFit",
    "FitReason",
    "FitRefusal",
    "Loss",
    "PointMm",
    "PointPx",
    "fit_circle",
    "fit_ellipse",
]
