"""mm <-> px from known jogs: the pixel scale, its covariance, doubtful entries."""

from vision.pixel_scale.history import ScaleChange, ScaleFinding, compare_scales
from vision.pixel_scale.learn import learn_scale
from vision.pixel_scale.values import (
    Axis,
    DoubtfulEntry,
    JogSighting,
    PixelScale,
    ScaleReason,
    ScaleRefusal,
    ScaleSettings,
    Slip,
)
from vision.pixel_scale.words import doubtful_sentence

__all__ = [
    "Axis",
    "DoubtfulEntry",
    "JogSighting",
    "PixelScale",
    "ScaleChange",
    "ScaleFinding",
    "ScaleReason",
    "ScaleRefusal",
    "ScaleSettings",
    "Slip",
    "compare_scales",
    "doubtful_sentence",
    "learn_scale",
]
