"""What lies on a nozzle's tip: glints, images of the lamps, burrs, scratches, drops, films.

All places are px from the bore's centre; levels are light from 0 to 255 (more: burnt out).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.finder.paint_canvas import WHITE, Array, Canvas, Rng, Tint, step, waves


@dataclass(frozen=True, slots=True, kw_only=True)
class Glint:
    """A soft bright spot, drawn out along the turning marks."""

    away_px: float
    way_rad: float
    width_px: float
    length_px: float
    light: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """The sharp mirror image of a lamp: a disc, or a piece of a ring about `ring_px`."""

    ring_px: tuple[float, float]
    away_px: float
    way_rad: float
    radius_px: float
    arc_rad: float
    light: float
    inwards_px: float
    """How far it is seen inside the rim."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Burr:
    """A bump at the rim: land that hangs into the bore, or a dark bite across the edge."""

    way_rad: float
    half_depth_px: float
    half_width_px: float
    light: float
    bite: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Scratch:
    """A straight line on the land."""

    off_px: float
    way_rad: float
    from_px: float
    to_px: float
    width_px: float
    factor: float
    nick_px: float
    """How deep it cuts into the rim."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """A lump of plastic with a shine on it."""

    away_px: float
    way_rad: float
    radius_px: float
    light: float
    tint: Tint = WHITE
    shine: float = 60.0
    lobes: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """Smeared plastic that lets some light through."""

    middle_px: tuple[float, float]
    way_rad: float
    """Where it was smeared to."""
    half_length_px: float
    half_width_px: float
    border_px: float
    depth: float
    light: float
    tint: Tint = WHITE
    seed: int


def lay_glint(canvas: Canvas, glint: Glint) -> None:
    x, y = _place(glint.away_px, glint.way_rad)
    where = canvas.near(x, y, 3.5 * max(glint.width_px, glint.length_px))
    radial = canvas.rho[where] - glint.away_px
    sideways = glint.away_px * _turned(canvas.x[where], canvas.y[where], glint.way_rad)
    form = (radial / glint.width_px) ** 2 + (sideways / glint.length_px) ** 2
    canvas.add(np.asarray(glint.light * np.exp(-0.5 * form), dtype=np.float32), where)


def lay_lamp(canvas: Canvas, lamp: Lamp, depth: Array | None = None) -> None:
    """Lay a lamp's image: whole, or where `depth` (px inside the rim) lets it be seen."""
    x, y = _place(lamp.away_px, lamp.way_rad)
    half = lamp.radius_px + lamp.away_px * lamp.arc_rad
    where = canvas.near(lamp.ring_px[0] + x, lamp.ring_px[1] + y, half)
    px, py = canvas.x[where] - lamp.ring_px[0], canvas.y[where] - lamp.ring_px[1]
    turn = _turned(px, py, lamp.way_rad)
    turn = np.sign(turn) * np.minimum(np.abs(turn), lamp.arc_rad)
    mid = lamp.way_rad + turn
    away = np.hypot(px - lamp.away_px * np.cos(mid), py - lamp.away_px * np.sin(mid))
    seen = step(lamp.radius_px - away)
    if depth is not None:
        seen = seen * step(lamp.inwards_px - depth[where])
    canvas.lay(seen, lamp.light, where)


def lay_burr(canvas: Canvas, burr: Burr, depth: Array, radius_px: float, tint: Tint) -> None:
    x, y = _place(radius_px, burr.way_rad)
    where = canvas.near(x, y, burr.half_depth_px + burr.half_width_px)
    out = canvas.along(burr.way_rad, where) - radius_px
    side = canvas.along(burr.way_rad + np.pi / 2, where)
    form = np.hypot(out / burr.half_depth_px, side / burr.half_width_px)
    inside = step((1.0 - form) * min(burr.half_depth_px, burr.half_width_px))
    # A px over the land, so that no dark line is left between the two.
    seen = inside if burr.bite else inside * step(depth[where] + 1.0)
    canvas.lay(seen, canvas.colour(burr.light, tint), where)


def lay_scratch(canvas: Canvas, scratch: Scratch) -> None:
    canvas.scale(scratch_line(canvas, scratch), scratch.factor)


def lay_nick(canvas: Canvas, scratch: Scratch, depth: Array, level: Array) -> None:
    """Carry a scratch over the rim as deep as it cuts there."""
    band = step(depth) * step(scratch.nick_px - depth)
    canvas.lay(scratch_line(canvas, scratch) * band, level)


def scratch_line(canvas: Canvas, scratch: Scratch) -> Array:
    along = canvas.along(scratch.way_rad)
    across = canvas.along(scratch.way_rad + np.pi / 2) - scratch.off_px
    ends = np.minimum(along - scratch.from_px, scratch.to_px - along)
    return step(np.minimum(scratch.width_px / 2 - np.abs(across), ends))


def lay_drop(canvas: Canvas, drop: Drop) -> None:
    x, y = _place(drop.away_px, drop.way_rad)
    where = canvas.near(x, y, drop.radius_px * (1 + drop.lobes))
    px, py = canvas.x[where] - x, canvas.y[where] - y
    away = np.hypot(px, py)
    # Its lobes leave alone the side that lies over the rim.
    turn = np.arctan2(py, px) - drop.way_rad
    edge = drop.radius_px * (1.0 + drop.lobes * np.sin(1.5 * (1 + np.cos(turn))))
    body = canvas.colour(drop.light, drop.tint) * (1.15 - 0.35 * (away / edge) ** 2)
    canvas.lay(step(np.asarray(edge - away, dtype=np.float32)), body, where)
    shine = np.hypot(px + 0.3 * drop.radius_px, py + 0.35 * drop.radius_px)
    canvas.add(drop.shine * np.exp(-0.5 * (shine / (0.15 * drop.radius_px)) ** 2), where)


def lay_film(canvas: Canvas, film: Film) -> None:
    rng = np.random.default_rng(film.seed)
    reach = film.half_length_px + film.half_width_px + 8.0 * film.border_px
    where = canvas.near(*film.middle_px, reach)
    c, s = np.cos(film.way_rad), np.sin(film.way_rad)
    px, py = canvas.x[where] - film.middle_px[0], canvas.y[where] - film.middle_px[1]
    along, across = px * c + py * s, py * c - px * s
    hills = waves(canvas, rng, 5.0 * film.half_width_px, where)
    past = np.maximum(np.abs(along) - film.half_length_px, 0.0)
    inside = film.half_width_px * (1.0 + 0.25 * hills) - np.hypot(past, across)
    # Streaks run the way it was smeared; thin at the border, thicker inside.
    streaks = np.interp(across, *_streaks(rng, film.half_width_px))
    cover = film.depth / (1.0 + np.exp(-np.clip(inside / film.border_px, -20, 20)))
    cover = np.clip(cover * (1.0 + streaks), 0.0, 0.95).astype(np.float32)
    canvas.lay(cover, canvas.colour(film.light, film.tint), where)


def _streaks(rng: Rng, half_width_px: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    places = np.linspace(-2.0, 2.0, 60) * half_width_px
    return places, np.convolve(rng.normal(0, 0.2, 60), np.ones(3) / 3**0.5, mode="same")


def _place(away_px: float, way_rad: float) -> tuple[float, float]:
    return away_px * float(np.cos(way_rad)), away_px * float(np.sin(way_rad))


def _turned(x: Array, y: Array, way_rad: float) -> Array:
    """Return the angle of each pixel from a direction, -pi to pi."""
    turn = np.arctan2(y, x) - np.float32(way_rad)
    return np.asarray((turn + np.pi) % (2 * np.pi) - np.pi, dtype=np.float32)


def placed_drop(rng: Rng, radius_px: float, share: float, light: float, tint: Tint = WHITE) -> Drop:
    """Return a drop from outside that hides this share of a circle about the centre."""
    half_rad = np.pi * share
    reach = max(radius_px * np.sin(half_rad) * 1.05, radius_px * rng.uniform(0.35, 1.0))
    away = radius_px * np.cos(half_rad) + np.sqrt(reach**2 - (radius_px * np.sin(half_rad)) ** 2)
    return Drop(
        away_px=float(away),
        way_rad=rng.uniform(-np.pi, np.pi),
        radius_px=float(reach),
        light=light,
        tint=tint,
        shine=rng.uniform(10, 120),
        lobes=rng.uniform(0, 0.25),
    )
