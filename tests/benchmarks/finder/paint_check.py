"""Check the painter against brute force: the same scene nine times as large, averaged.

Not collected by pytest. Prints, for each thing that touches the rim, by how much the
rim of the painted picture lies off that of the averaged one; fails over `MOST_PX`.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

from tests.benchmarks.finder.paint_canvas import EDGE_PX, WHITE, Array
from tests.benchmarks.finder.paint_nozzle import Break, Nozzle, Plastic, paint
from tests.benchmarks.finder.paint_sensor import Sensor, soften

LARGER = 9
MOST_PX = 0.005
"""Differences of level count as shifts too: a lit break comes to .004 by .04 grey levels."""
PIXEL_VARIANCE = 1 / 12
"""Averaging over a pixel widens a blur by this, px^2."""


def main() -> None:
    """Print the table."""
    rng = np.random.default_rng(5)
    worst = 0.0
    for name in SCENES:
        for blur in (0.8, 1.5, 2.2):
            radius = rng.uniform(11, 16)
            centre = (float(rng.uniform(46, 50)), float(rng.uniform(38, 42)))
            u, v = _shift(_scene(name, centre, radius, blur))
            worst = max(worst, float(np.hypot(u, v)))
            print(f"{name:16s} blur {blur:.1f}  R {radius:4.1f}  off {u:+.5f} {v:+.5f} px")
    print(f"largest: {worst:.5f} px")
    sys.exit(worst > MOST_PX)


SCENES = ("plain", "even break", "lit break", "crescent", "tilt", "oval", "plastic")


def _scene(name: str, centre: tuple[float, float], radius: float, blur: float) -> Nozzle:
    plain = Nozzle(
        size=(96, 80),
        channels=1,
        centre_px=centre,
        radius_px=radius,
        land_px=2.2 * radius,
        cone_px=200.0,
        dark=15.0,
        land=160.0,
        cone=60.0,
        around=60.0,
        texture=0.0,
        grooves=0.0,
        sensor=Sensor(blur_px=blur),
    )
    lit = Break(width_px=3.0, mean=0.4, sided=0.4, lit_from_rad=1.0)
    scenes = {
        "plain": plain,
        "even break": replace(plain, edge=Break(width_px=2.0, mean=0.4)),
        "lit break": replace(plain, edge=lit, slope=(0.4, 1.0)),
        "crescent": replace(plain, crescent=(0.3 * radius, 2.0, 0.6)),
        "tilt": replace(plain, tilt_rad=0.07, tilt_way_rad=0.6),
        "oval": replace(plain, waves=((2, 0.02, 0.5), (3, 0.02, 1.0))),
        "plastic": replace(plain, plastic=Plastic(light=150.0, tint=WHITE, gap_px=2.0)),
    }
    return scenes[name]


def _shift(nozzle: Nozzle) -> tuple[float, float]:
    """Return how far the painted rim lies from the averaged one, by least squares."""
    rng, blur = np.random.default_rng(1), nozzle.sensor.blur_px
    canvas = paint(nozzle, rng)
    painted = soften(canvas.light, blur)[0]
    true = _averaged(nozzle, blur)
    along_v = np.asarray(np.gradient(true, axis=0))
    along_u = np.asarray(np.gradient(true, axis=1))
    rim = np.abs(canvas.rho - nozzle.radius_px) < 3 * blur
    slopes = np.stack([along_u[rim], along_v[rim]], axis=1)
    u, v = np.linalg.lstsq(slopes, (true - painted)[rim], rcond=None)[0]
    return float(u), float(v)


def _averaged(nozzle: Nozzle, blur: float) -> Array:
    rng = np.random.default_rng(1)
    large = paint(_enlarged(nozzle), rng).light[0]
    spread = np.sqrt((blur**2 - PIXEL_VARIANCE) * LARGER**2 - EDGE_PX**2)
    soft = np.asarray(cv2.GaussianBlur(large, (0, 0), spread), dtype=np.float32)
    wide, high = nozzle.size
    blocks = soft.reshape(high, LARGER, wide, LARGER)
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float32)


def _enlarged(nozzle: Nozzle) -> Nozzle:
    """Return the scene with all lengths times `LARGER`; whole pixels stay centres of blocks."""
    k, edge, plastic, crescent = LARGER, nozzle.edge, nozzle.plastic, nozzle.crescent
    u, v = nozzle.centre_px
    return replace(
        nozzle,
        size=(k * nozzle.size[0], k * nozzle.size[1]),
        centre_px=(k * u + (k - 1) / 2, k * v + (k - 1) / 2),
        radius_px=k * nozzle.radius_px,
        land_px=k * nozzle.land_px,
        cone_px=k * nozzle.cone_px,
        edge=None if edge is None else replace(edge, width_px=k * edge.width_px),
        plastic=None if plastic is None else replace(plastic, gap_px=k * plastic.gap_px),
        crescent=None if crescent is None else (k * crescent[0], *crescent[1:]),
    )


if __name__ == "__main__":
    main()
