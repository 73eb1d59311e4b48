"""Round things that are no nozzle: washers, coins, drilled holes, printed rings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.benchmarks.finder.paint_canvas import METALS, Canvas, Rng, step, turning_marks
from tests.benchmarks.finder.paint_nozzle import Break, Nozzle, paint
from tests.benchmarks.finder.paint_unusable import plate_of

Draw = Callable[[Nozzle, Rng], tuple[Canvas, float]]


def washer(nozzle: Nozzle, rng: Rng) -> tuple[Canvas, float]:
    """Return a flat ring on a table; through its hole the table shows."""
    R, far = nozzle.radius_px, nozzle.radius_px * rng.uniform(1.5, 2.2)
    flat = replace(
        nozzle,
        land_px=far,
        cone_px=far + 1.0,
        nut=None,
        cone=nozzle.land * rng.uniform(0.3, 1.2),
        dark=nozzle.around,
        edge=Break(width_px=rng.uniform(0.8, 3.0), mean=rng.uniform(0.2, 0.9)),
    )
    return paint(flat, rng), R


def coin(nozzle: Nozzle, rng: Rng) -> tuple[Canvas, float]:
    """Return a coin: a raised border, a field, and a head in relief."""
    canvas, R = Canvas(nozzle.size, nozzle.centre_px, nozzle.channels), nozzle.radius_px
    tint = METALS[int(rng.integers(len(METALS)))]
    canvas.light += nozzle.around
    canvas.lay(step(R - canvas.rho), canvas.colour(nozzle.land * rng.uniform(0.8, 1.2), tint))
    field = R * rng.uniform(0.82, 0.92)
    canvas.lay(step(field - canvas.rho), canvas.colour(nozzle.land * rng.uniform(0.4, 0.8), tint))
    head = canvas.away(rng.normal(0, 0.1 * R), rng.normal(0, 0.1 * R))
    worn = 0.15 * np.cos(3 * np.arctan2(canvas.y, canvas.x) + rng.uniform(0, 6))
    relief = step(np.asarray(R * (0.45 + worn) - head, dtype=np.float32))
    canvas.lay(relief, canvas.colour(nozzle.land * rng.uniform(0.5, 1.1), tint))
    for way in np.linspace(0, 2 * np.pi, 16)[: int(rng.integers(0, 16))]:
        dot = canvas.away(0.7 * R * float(np.cos(way)), 0.7 * R * float(np.sin(way)))
        canvas.lay(step(0.07 * R - dot), canvas.colour(nozzle.land, tint))
    return canvas, R


def drilled_hole(nozzle: Nozzle, rng: Rng) -> tuple[Canvas, float]:
    """Return a hole drilled in a plate that fills the picture, with drill marks or a burr."""
    edge = None
    if rng.random() < 0.5:
        edge = Break(width_px=rng.uniform(0.8, 3.0), mean=0.5, sided=0.3)
    plate = replace(plate_of(nozzle), bore=True, edge=edge, texture=rng.uniform(0.005, 0.04))
    return paint(plate, rng), nozzle.radius_px


def blind_hole(nozzle: Nozzle, rng: Rng) -> tuple[Canvas, float]:
    """Return a hole with a bottom: a drill's cone with turning marks and a bright point."""
    canvas, R = drilled_hole(nozzle, rng)
    way = float(rng.uniform(-np.pi, np.pi))
    bottom = 0.35 * nozzle.land * (0.6 + 0.4 * np.abs(canvas.cosine(way)))
    bottom *= 1.0 + 0.1 * turning_marks(canvas, rng, (0.0, 0.0))
    body = canvas.colour(1.0, nozzle.tint) * bottom
    canvas.lay(step(rng.uniform(0.75, 0.9) * R - canvas.rho), body.astype(np.float32))
    return canvas, R


def printed_ring(nozzle: Nozzle, rng: Rng) -> tuple[Canvas, float]:
    """Return a ring, or two, or a full dot, printed on paper."""
    canvas, R = Canvas(nozzle.size, nozzle.centre_px, nozzle.channels), nozzle.radius_px
    paper, ink = nozzle.land, nozzle.dark
    if rng.random() < 0.3:
        paper, ink = ink, paper
    canvas.light += paper
    if rng.random() < 0.3:
        canvas.lay(step(R - canvas.rho), ink)
        return canvas, R
    for radius in (R, R * rng.uniform(1.2, 2.0))[: int(rng.integers(1, 3))]:
        half = max(0.7, R * rng.uniform(0.03, 0.2))
        canvas.lay(step(half - np.abs(radius + half - canvas.rho)), ink)
    return canvas, R


ROUND: dict[str, Draw] = {
    "washer": washer,
    "coin": coin,
    "drilled hole": drilled_hole,
    "blind hole": blind_hole,
    "printed ring": printed_ring,
}
