"""Pictures in which no bore can be measured, and must not be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np

from tests.benchmarks.finder import paint_dirt as dirt
from tests.benchmarks.finder import paint_marks as marks
from tests.benchmarks.finder.paint_canvas import (
    METALS,
    PLASTICS,
    Array,
    Canvas,
    Rng,
    grain,
    polygon,
    step,
    turning_marks,
    waves,
)
from tests.benchmarks.finder.paint_nozzle import Nozzle, paint

SMALLEST_FORM_PX = 16.0
"""Below, nobody tells a blurred hexagon from a circle."""
Drawn = tuple[Canvas, float | None]
"""Light, and the radius of what is round in it."""
Draw = Callable[[Nozzle, Rng], Drawn]


def covered_by_drop(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Hide the whole bore under a lump that is not dark enough to pass for a bore."""
    R, light = nozzle.radius_px, nozzle.land * rng.uniform(0.45, 1.3)
    tint = PLASTICS[int(rng.integers(len(PLASTICS)))]
    lumps = tuple(
        marks.Drop(
            away_px=R * away,
            way_rad=_way(rng),
            radius_px=R * (1.2 + away) * rng.uniform(1.0, 1.3),
            light=light,
            tint=tint,
            shine=rng.uniform(10, 120),
            lobes=rng.uniform(0.05, 0.3),
        )
        for away in rng.uniform(0.0, 0.5, int(rng.integers(1, 4)))
    )
    return paint(replace(nozzle, drops=lumps), rng), R


def covered_by_film(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Hide the bore under smeared plastic that lets nothing through."""
    R = nozzle.radius_px
    smear = marks.Film(
        middle_px=(rng.normal(0, 0.1 * R), rng.normal(0, 0.1 * R)),
        way_rad=_way(rng),
        half_length_px=R * rng.uniform(1.0, 3.0),
        half_width_px=R * rng.uniform(1.7, 2.4),
        border_px=R * rng.uniform(0.03, 0.1),
        depth=3.0,
        light=nozzle.sensor.linear(rng.uniform(40, 200)),
        tint=PLASTICS[int(rng.integers(len(PLASTICS)))],
        seed=int(rng.integers(1 << 30)),
    )
    # So thick that not even a trace of the rim comes through.
    return paint(replace(nozzle, bore=False, films=(smear,)), rng), R


def cut_by_frame(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Put the bore's centre near an edge of the frame, or beyond it."""
    (wide, high), R = nozzle.size, nozzle.radius_px
    u, v = rng.uniform(0, wide), rng.uniform(0, high)
    over = R * rng.uniform(-0.8, 0.8)
    places = ((over, v), (wide - 1 - over, v), (u, over), (u, high - 1 - over))
    return paint(replace(nozzle, centre_px=places[int(rng.integers(4))]), rng), R


def empty_land(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Show a land without a bore: a blind tip, perhaps with glints and scratches."""
    blind = dirt.glints(replace(nozzle, bore=False, grooves=0.02), rng, 0.6)
    if rng.random() < 0.5:
        blind = dirt.scratches(blind, rng, 0.5)
    return paint(replace(blind, bore=False), rng), nozzle.land_px


def blank(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Show nothing: an even field, perhaps with light that falls off."""
    canvas = _bare(nozzle)
    level = nozzle.sensor.linear(rng.choice([4.0, 40.0, 128.0, 250.0]))
    fall = rng.uniform(0, 0.5) / max(nozzle.size)
    canvas.light += level * (1.0 + fall * canvas.along(_way(rng)))
    return canvas, None


def only_noise(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Show coarse noise."""
    canvas = _bare(nozzle)
    rough = grain(rng, canvas.rho.shape, rng.choice([0.8, 2.0, 5.0, 12.0]))
    canvas.light += np.clip(nozzle.land * (0.6 + 0.3 * rough), 0, 255)
    return canvas, None


def text_page(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Show printed letters, round ones among them."""
    wide, high = nozzle.size
    canvas, page = _bare(nozzle), np.full((high, wide), 255, dtype=np.uint8)
    size, down = rng.uniform(0.5, 4.0), 0
    letters = np.array(list("OQC0689DGeoabdpqg@&8OO"))
    while down < high:
        down += int(34 * size)
        line = "".join(rng.choice(letters, 40))
        face, thick = int(rng.integers(0, 5)), int(1 + 3 * size * rng.random())
        cv2.putText(page, line, (-5, down), face, size, 0, thick, cv2.LINE_AA)
    ink, paper = sorted((nozzle.dark, nozzle.land))
    levels = (ink, paper) if rng.random() < 0.6 else (paper, ink)
    share = page.astype(np.float32) / 255
    canvas.light += np.float32(levels[0]) + share * np.float32(levels[1] - levels[0])
    return canvas, None


def out_of_focus(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Blur a nozzle by more than .4 of its radius."""
    canvas, R = paint(nozzle, rng), nozzle.radius_px
    spread = R * rng.uniform(0.42, 0.8)
    for plane in canvas.light:
        plane[...] = cv2.GaussianBlur(plane, (0, 0), spread)
    return canvas, R


def socket(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Show a screw's head with a hex socket, a slot, a cross or a star."""
    R = max(nozzle.radius_px, SMALLEST_FORM_PX)
    canvas = paint(replace(nozzle, bore=False, land_px=max(nozzle.land_px, 1.9 * R)), rng)
    turn, form = _way(rng), int(rng.integers(4))
    deep = (polygon(canvas, R, 6, turn), _slot(canvas, R, turn), _cross(canvas, R, turn))
    if form < 3:
        inside = deep[form]
    else:
        worn = 0.09 * R * np.cos(6 * (np.arctan2(canvas.y, canvas.x) - turn))
        inside = np.asarray(R + worn - canvas.rho, dtype=np.float32)
    canvas.lay(step(inside), nozzle.dark)
    return canvas, R if form == 0 else None


def hexagon_hole(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Show a hexagonal hole in a plate that fills the picture."""
    canvas = paint(plate_of(nozzle), rng)
    R = max(nozzle.radius_px, SMALLEST_FORM_PX)
    canvas.lay(step(polygon(canvas, R, 6, _way(rng))), nozzle.dark)
    return canvas, R


def shadows(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Show a plate with soft blots and shadows of straight edges."""
    R = nozzle.radius_px
    canvas = paint(plate_of(nozzle), rng)
    for _ in range(int(rng.integers(1, 4))):
        edge = canvas.along(_way(rng)) - rng.uniform(-R, R)
        canvas.scale(_soft(edge, R * rng.uniform(0.1, 0.6)), rng.uniform(0.2, 0.8))
    for _ in range(int(rng.integers(1, 4))):
        blot = R * (1.0 + 0.2 * waves(canvas, rng, 4 * R))
        away = canvas.away(rng.normal(0, 2 * R), rng.normal(0, 2 * R))
        canvas.scale(_soft(blot - away, R * rng.uniform(0.3, 0.6)), rng.uniform(0.1, 0.6))
    return canvas, None


def plain_cone(nozzle: Nozzle, rng: Rng) -> Drawn:
    """Show a turned tip that ends in a point: no land, no bore."""
    canvas, R = _bare(nozzle), nozzle.radius_px
    canvas.light += nozzle.around
    wide = R * rng.uniform(1.5, 4.0)
    fall = np.clip(1.0 - canvas.rho / wide, 0.0, 1.0) ** rng.uniform(0.4, 1.5)
    lit = 0.5 + 0.5 * np.abs(canvas.cosine(_way(rng))) ** 3
    body = nozzle.land * (0.3 + 0.7 * fall) * lit
    body *= 1.0 + 0.05 * turning_marks(canvas, rng, (0.0, 0.0))
    tint = canvas.colour(1.0, METALS[int(rng.integers(len(METALS)))])
    canvas.lay(step(wide - canvas.rho), (body * tint).astype(np.float32))
    return canvas, None


UNUSABLE: dict[str, Draw] = {
    "covered by a drop": covered_by_drop,
    "covered by film": covered_by_film,
    "cut by the frame": cut_by_frame,
    "empty land": empty_land,
    "blank": blank,
    "noise": only_noise,
    "text": text_page,
    "out of focus": out_of_focus,
    "screw head": socket,
    "hexagon hole": hexagon_hole,
    "shadows": shadows,
    "plain cone": plain_cone,
}


def plate_of(nozzle: Nozzle) -> Nozzle:
    """Return a plate without a bore that fills the picture."""
    share = nozzle.radius_px / max(nozzle.size)
    slope = (2 * share * nozzle.slope[0] / 0.12, nozzle.slope[1])
    return replace(nozzle, bore=False, land_px=4e3, cone_px=6e3, slope=slope, grooves=0.0)


def _bare(nozzle: Nozzle) -> Canvas:
    return Canvas(nozzle.size, nozzle.centre_px, nozzle.channels)


def _soft(inside_px: Array, width_px: float) -> Array:
    form = 1.0 / (1.0 + np.exp(-np.clip(inside_px / width_px * 1.7, -30, 30)))
    return np.asarray(form, dtype=np.float32)


def _slot(canvas: Canvas, R: float, turn_rad: float) -> Array:
    across = 0.25 * R - np.abs(canvas.along(turn_rad + np.pi / 2))
    return np.asarray(np.minimum(across, 1.6 * R - np.abs(canvas.along(turn_rad))), dtype="f4")


def _cross(canvas: Canvas, R: float, turn_rad: float) -> Array:
    one, two = _slot(canvas, R, turn_rad), _slot(canvas, R, turn_rad + np.pi / 2)
    return np.asarray(np.maximum(one, two), dtype=np.float32)


def _way(rng: Rng) -> float:
    return float(rng.uniform(-np.pi, np.pi))
