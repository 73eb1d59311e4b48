"""Round things that are no nozzle.

The radius that is stated is that of the edge at which it gets brighter outwards, as at a bore's
rim, if there is one. No second such edge lies where a contradicting size, half to three quarters
or 1.35 to 2 times the stated one, would be believed with the quarter that the finder allows by
default (below 0.94, above 1.01 and below 2.5 radii): a finder that took it would be right.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from skimage import data

from tests.benchmarks.finder.case import Case
from tests.benchmarks.finder.grading_draft import METALS, Frame, Rng
from tests.benchmarks.finder.grading_plane import FloatArray, smooth_noise
from tests.benchmarks.finder.grading_things import Stage, lay, paper, photographed, plate
from tests.benchmarks.finder.grading_unusable import Maker

# (u, v, radius) of the coins in scikit-image's picture, from a watershed of its gradient.
_COINS_PX = (
    (335, 44, 29), (155, 51, 23), (215, 51, 23), (276, 52, 20), (44, 54, 21), (100, 56, 19),
    (271, 119, 25), (45, 124, 20), (205, 124, 20), (336, 125, 19), (102, 126, 19),
    (154, 127, 19), (347, 187, 32), (212, 193, 24), (274, 194, 22), (102, 196, 22),
    (44, 197, 19), (154, 198, 19), (46, 260, 28), (172, 261, 27), (301, 263, 25),
    (244, 263, 24), (114, 266, 21), (358, 268, 22),
)  # fmt: skip


def _washer(kind: str, rng: Rng) -> Case:
    outer = rng.uniform(2.6, 3.2)
    stage = Stage.any(rng, margin=rng.uniform(1.5, 2.6))
    picture = plate(stage.shape, rng, brightest=rng.uniform(0.02, 0.35))
    rho = stage.rho()
    metal = plate(stage.shape, rng)
    metal *= (1.0 + 0.08 * np.sin(2.0 * stage.phi() + rng.uniform(0.0, 6.3)))[..., None]
    # The punched edge is drawn in on this side, so light runs over it.
    drawn_in = 1.0 - rng.uniform(0.0, 0.5) * np.exp(-np.clip(rho - 1.0, 0.0, None) / 0.08)
    ring = stage.cover(rho - np.float32(1.0)) * stage.cover(np.float32(outer) - rho)
    lay(picture, ring, (metal * drawn_in[..., None]).astype(np.float32))
    return _case(kind, photographed(picture, rng, lit=ring), stage.radius_px)


def _drawn_coin(kind: str, rng: Rng) -> Case:
    stage = Stage.any(rng, smallest_px=20.0)
    picture = plate(stage.shape, rng, brightest=rng.uniform(0.01, 0.15))
    rho = stage.rho()
    lit = 1.0 + _relief(stage, rng) * stage.cover(np.float32(0.88) - rho)
    border = np.exp(-(((rho - 0.975) / 0.02) ** 2)) - 0.6 * np.exp(-(((rho - 0.94) / 0.014) ** 2))
    lit = np.clip(lit + rng.uniform(0.3, 0.8) * border, 0.1, None)
    metal = np.array(METALS[rng.integers(len(METALS))], dtype=np.float32)
    coin = stage.cover(np.float32(1.0) - rho)
    lay(picture, coin, (lit[..., None] * metal).astype(np.float32))
    return _case(kind, photographed(picture, rng, lit=coin), stage.radius_px)


def _relief(stage: Stage, rng: Rng) -> FloatArray:
    """Return light and shade of a raised number and of wear, about 0."""
    raised = np.zeros(stage.shape, dtype=np.uint8)
    scale = stage.radius_px / 24.0
    number = str(int(rng.choice([1, 2, 5, 10, 20, 50])))
    (wide, tall), _ = cv2.getTextSize(number, cv2.FONT_HERSHEY_DUPLEX, scale, 1)
    at = (int(stage.centre_px[0] - 0.5 * wide), int(stage.centre_px[1] + 0.5 * tall))
    thick = max(1, round(stage.radius_px / 9.0))
    cv2.putText(raised, number, at, cv2.FONT_HERSHEY_DUPLEX, scale, 255, thick, cv2.LINE_AA)
    soft = cv2.GaussianBlur(raised.astype(np.float32) / 255.0, (0, 0), 1.0)
    height = soft + 0.15 * smooth_noise(stage.shape, 0.2 * stage.radius_px, rng)
    dv, du = np.gradient(height)
    angle = rng.uniform(-math.pi, math.pi)
    return np.asarray(1.5 * (math.cos(angle) * du + math.sin(angle) * dv), dtype=np.float32)


def _coin_of_a_photograph(kind: str, rng: Rng) -> Case:
    """Cut one coin out of scikit-image's photograph, turned and enlarged, no other in view."""
    u, v, radius = _COINS_PX[rng.integers(len(_COINS_PX))]
    radius_px = rng.uniform(30.0, 60.0)
    zoom = radius_px / radius
    side = int(2.0 * radius_px * rng.uniform(1.15, 1.3))
    turn = cv2.getRotationMatrix2D((float(u), float(v)), rng.uniform(-180.0, 180.0), zoom)
    turn[:, 2] = turn[:, 2] + 0.5 * (side - 1) - np.array([u, v])
    whole = np.asarray(data.coins(), dtype=np.uint8)  # type: ignore[no-untyped-call]  # no types there
    frame = cv2.warpAffine(
        whole, turn, (side, side), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return _case(kind, np.asarray(frame, dtype=np.uint8), radius_px)


def _drilled_hole(kind: str, rng: Rng) -> Case:
    stage = Stage.any(rng)
    picture = plate(stage.shape, rng)
    rho, phi = stage.rho(), stage.phi()
    side = rng.uniform(-math.pi, math.pi)
    wall = rng.uniform(0.0, 0.3) * (0.5 + 0.5 * np.cos(phi - side)) ** 3
    wall = wall * np.exp(-(1.0 - np.clip(rho, 0.0, 1.0)) / 0.1) + rng.uniform(0.003, 0.05)
    burr = rng.uniform(0.0, 1.0) * (0.5 + 0.5 * np.cos(phi + side)) ** 2
    picture *= (1.0 + burr * np.exp(-(((rho - 1.04) / 0.03) ** 2)))[..., None]
    level = wall[..., None] * np.ones(3, dtype=np.float32)
    lay(picture, stage.cover(np.float32(1.0) - rho), level.astype(np.float32))
    return _case(kind, photographed(picture, rng), stage.radius_px)


def _printed_ring(kind: str, rng: Rng) -> Case:
    """Print a ring, or at times a full disc, dark on white or white on dark."""
    stage = Stage.any(rng)
    dark = bool(rng.random() < 0.4)
    picture = paper(stage.shape, rng, dark=dark)
    half = rng.uniform(0.05, 0.14)
    ring = bool(rng.random() < 0.75)
    depth = half - np.abs(stage.rho() - 1.0) if ring else 1.0 - stage.rho()
    ragged = 0.012 * smooth_noise(stage.shape, 2.0, rng)
    ink = np.full(3, rng.uniform(0.7, 0.95) if dark else rng.uniform(0.03, 0.2), dtype=np.float32)
    lay(picture, stage.cover((depth + ragged).astype(np.float32)), ink)
    brighter = (1.0 - half if dark else 1.0 + half) if ring else 1.0
    return _case(kind, photographed(picture, rng), stage.radius_px * brighter)


def _case(kind: str, frame: Frame, radius_px: float) -> Case:
    words = (f"radius {radius_px:.1f} px",)
    return Case(frame=frame, centre_px=None, radius_px=radius_px, kind=kind, conditions=words)


LOOK_ALIKES: dict[str, Maker] = {
    "washer": _washer,
    "coin, drawn": _drawn_coin,
    "coin, photographed": _coin_of_a_photograph,
    "drilled hole": _drilled_hole,
    "printed ring": _printed_ring,
}
"""Round things, by name."""
