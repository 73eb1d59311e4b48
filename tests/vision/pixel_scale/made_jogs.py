"""Jogs of a machine and a camera with known truth, for the tests of the pixel scale."""

from __future__ import annotations

import math

import numpy as np

from vision.geometry import CovMm2, CovPx2, PointMm, PointPx
from vision.pixel_scale import JogSighting, PixelScale, ScaleRefusal, learn_scale

START_MM = np.array([150.34, 99.88])
SIGMA_PX = 0.05
SIGMA_MM = 0.005

GRID9 = np.array([[x, y] for x in (-1.0, 0.0, 1.0) for y in (-1.0, 0.0, 1.0)])
CROSS5 = np.array([[0.0, 0.0], [1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
PENTAGON5 = np.array([[1.0, 0.3], [0.0, 1.0], [-1.0, 0.4], [-0.7, -0.8], [0.6, -0.8]])
SQUARE4 = np.array([[1.0, 0.3], [-0.3, 1.0], [-1.0, -0.3], [0.3, -1.0]])


def matrix(
    um_per_px: float = 6.0, *, turn_deg: float = 4.0, skew_deg: float = 0.0, flip: bool = False
) -> np.ndarray:
    """Scale matrix in px per mm with this size, turn of +X, skew and flip."""
    turn, skew = math.radians(turn_deg), math.radians(skew_deg)
    x = np.array([math.cos(turn), math.sin(turn)])
    y = np.array([-math.sin(turn - skew), math.cos(turn - skew)])
    return np.column_stack([x, -y if flip else y]) * 1000.0 / um_per_px


def seen(
    real_mm: np.ndarray,
    M: np.ndarray,
    rng: np.random.Generator | None,
    *,
    sigma_mm: float = SIGMA_MM,
    sigma_px: float = SIGMA_PX,
) -> np.ndarray:
    """Where the bore appears when the machine is told to stand at `real_mm`, with noise."""
    stands = real_mm - START_MM
    if rng is None:
        return np.asarray(np.array([640.0, 480.0]) + stands @ M.T)
    stands = stands + rng.normal(0.0, sigma_mm, real_mm.shape)
    noise_px = rng.normal(0.0, sigma_px, real_mm.shape)
    return np.asarray(np.array([640.0, 480.0]) + stands @ M.T + noise_px)


def sightings(
    read_mm: np.ndarray, centres_px: np.ndarray, *, sigma_px: float = SIGMA_PX
) -> list[JogSighting]:
    """The jogs as the program knows them."""
    return [
        JogSighting(
            position_mm=PointMm(float(x), float(y)),
            centre_px=PointPx(float(u), float(v)),
            cov_px2=CovPx2(sigma_px**2, 0.0, sigma_px**2),
        )
        for (x, y), (u, v) in zip(read_mm, centres_px, strict=True)
    ]


def learn(
    read_mm: np.ndarray, centres_px: np.ndarray, *, sigma_mm: float = SIGMA_MM
) -> PixelScale | ScaleRefusal:
    """Learn with the stated figures of a machine in order."""
    return learn_scale(
        sightings(read_mm, centres_px), position_cov_mm2=CovMm2(sigma_mm**2, 0.0, sigma_mm**2)
    )


def learnt(
    read_mm: np.ndarray, centres_px: np.ndarray, *, sigma_mm: float = SIGMA_MM
) -> PixelScale:
    """Learn, where nothing is wrong."""
    scale = learn(read_mm, centres_px, sigma_mm=sigma_mm)
    assert isinstance(scale, PixelScale), scale
    return scale
