"""A nozzle's tip seen from below: cone, land, edge break, bore, and what lies on them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.benchmarks.finder import paint_marks as marks
from tests.benchmarks.finder.paint_canvas import (
    WHITE,
    Array,
    Canvas,
    Rng,
    Tint,
    grain,
    polygon,
    slope_at_edge,
    step,
    turning_marks,
)
from tests.benchmarks.finder.paint_sensor import Sensor


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """The broken edge between land and bore: its width, and its light in parts of the land."""

    width_px: float
    mean: float
    sided: float = 0.0
    lit_from_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plastic:
    """What fills the bore, up to a dark gap."""

    light: float
    tint: Tint
    gap_px: float
    shine: float = 0.0
    shine_way_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """A circle on the land: another level inside of it, and a groove along it."""

    radius_px: float
    shift_px: tuple[float, float]
    factor: float
    groove_px: float
    groove_factor: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Nozzle:
    """What is drawn; places in px from the bore's centre, light 0 to 255 and linear.

    Attributes
    ----------
    radius_px
        Rim: where the land ends and its edge break or the bore begins.
    waves
        Wear of the rim: (order, share of the radius, direction) of each harmonic.
    slope
        Relative change of the land's light per bore diameter, and from where.
    nut
        (half width px, turn, light): the hexagon behind the cone.
    crescent
        (shift px, direction, light in parts of the land): lit wall of the bore.
    """

    size: tuple[int, int]
    channels: int
    centre_px: tuple[float, float]
    radius_px: float
    land_px: float
    cone_px: float
    dark: float
    land: float
    cone: float
    around: float
    tint: Tint = WHITE
    land_shift_px: tuple[float, float] = (0.0, 0.0)
    waves: tuple[tuple[int, float, float], ...] = ()
    tilt_rad: float = 0.0
    tilt_way_rad: float = 0.0
    slope: tuple[float, float] = (0.0, 0.0)
    texture: float = 0.01
    texture_px: float = 1.5
    grooves: float = 0.005
    edge: Break | None = None
    crescent: tuple[float, float, float] | None = None
    plastic: Plastic | None = None
    bore: bool = True
    rings: tuple[Ring, ...] = ()
    scratches: tuple[marks.Scratch, ...] = ()
    glints: tuple[marks.Glint, ...] = ()
    burrs: tuple[marks.Burr, ...] = ()
    nut: tuple[float, float, float] | None = None
    lamps: tuple[marks.Lamp, ...] = ()
    drops: tuple[marks.Drop, ...] = ()
    films: tuple[marks.Film, ...] = ()
    sensor: Sensor = field(default_factory=Sensor)


def paint(nozzle: Nozzle, rng: Rng) -> Canvas:
    """Return the light of the tip before the lens."""
    canvas = Canvas(
        nozzle.size,
        nozzle.centre_px,
        nozzle.channels,
        tilt_rad=nozzle.tilt_rad,
        tilt_way_rad=nozzle.tilt_way_rad,
    )
    depth = rim_depth(canvas, nozzle)
    _metal(canvas, nozzle, rng)
    for scratch in nozzle.scratches:
        marks.lay_scratch(canvas, scratch)
    for glint in nozzle.glints:
        marks.lay_glint(canvas, glint)
    for lamp in nozzle.lamps:
        marks.lay_lamp(canvas, lamp)
    if nozzle.bore:
        _hole(canvas, nozzle, depth)
    for scratch in nozzle.scratches:
        if scratch.nick_px > 0:
            level = canvas.colour(nozzle.land * scratch.factor, nozzle.tint)
            marks.lay_nick(canvas, scratch, depth, level)
    for burr in nozzle.burrs:
        marks.lay_burr(canvas, burr, depth, nozzle.radius_px, nozzle.tint)
    for lamp in nozzle.lamps:
        if lamp.inwards_px > 0:
            marks.lay_lamp(canvas, lamp, depth)
    for drop in nozzle.drops:
        marks.lay_drop(canvas, drop)
    for film in nozzle.films:
        marks.lay_film(canvas, film)
    return canvas


def rim_depth(canvas: Canvas, nozzle: Nozzle) -> Array:
    """Return how far inside the rim each pixel lies, px."""
    rim: Array | float = nozzle.radius_px
    if nozzle.waves:
        angle = np.arctan2(canvas.y, canvas.x)
        worn = sum(share * np.cos(n * (angle - way)) for n, share, way in nozzle.waves)
        rim = np.asarray(nozzle.radius_px * (1.0 + worn), dtype=np.float32)
    return np.asarray(rim - canvas.rho, dtype=np.float32)


def _metal(canvas: Canvas, nozzle: Nozzle, rng: Rng) -> None:
    """Lay cone and land, with light that falls off, turning marks and texture."""
    shift = nozzle.land_shift_px
    canvas.light += nozzle.around
    out = canvas.away(*shift)
    if nozzle.nut is not None:
        half, turn, light = nozzle.nut
        canvas.lay(step(polygon(canvas, half, 6, turn)), canvas.colour(light, nozzle.tint))
    # A cone turns away from the light as it goes up.
    share = np.clip((nozzle.cone_px - out) / (nozzle.cone_px - nozzle.land_px), 0.2, 1.0)
    cone = canvas.colour(nozzle.cone, nozzle.tint) * share
    canvas.lay(step(nozzle.cone_px - out), cone)
    face = np.ones_like(out)
    for ring in sorted(nozzle.rings, key=lambda one: -one.radius_px):
        inside = ring.radius_px - canvas.away(*ring.shift_px)
        face += (ring.factor - face) * step(inside)
        groove = step(ring.groove_px / 2 - np.abs(inside))
        face += (ring.groove_factor - face) * groove
    strength, way = nozzle.slope
    lit = 1.0 + strength * canvas.along(way) / (2 * nozzle.radius_px)
    face *= np.clip(lit, 0.15, 2.2)
    land = canvas.colour(nozzle.land, nozzle.tint) * face
    canvas.lay(step(nozzle.land_px - out), land)
    shape = (nozzle.size[1], nozzle.size[0])
    rough = 1.0 + nozzle.texture * grain(rng, shape, nozzle.texture_px)
    if nozzle.grooves > 0:
        rough += nozzle.grooves * turning_marks(canvas, rng, shift) * step(nozzle.cone_px - out)
    canvas.light *= np.clip(rough, 0.2, 2.0)


def _hole(canvas: Canvas, nozzle: Nozzle, depth: Array) -> None:
    """Lay edge break, bore, lit wall and plastic, from the rim inwards."""
    inner = depth
    if nozzle.edge is not None:
        edge = nozzle.edge
        share = np.maximum(edge.mean + edge.sided * canvas.cosine(edge.lit_from_rad), 0.02)
        canvas.lay(step(depth), canvas.colour(nozzle.land, nozzle.tint) * share.astype("f4"))
        inner = depth - np.float32(edge.width_px)
    canvas.lay(step(inner), _in_bore(canvas, nozzle, inner))
    strength, way = nozzle.slope
    rise = canvas.cosine(way) * np.float32(strength / (2 * nozzle.radius_px))
    canvas.light += canvas.colour(nozzle.land, nozzle.tint) * (rise * slope_at_edge(depth))


def _in_bore(canvas: Canvas, nozzle: Nozzle, inner: Array) -> Array:
    """Return what is seen in the bore; `inner` says how deep inside its edge.

    It is put together before it is laid: laid one by one, each part would let the dark
    through along the edge that they share.
    """
    seen = np.broadcast_to(np.float32(nozzle.dark), canvas.light.shape).copy()
    if nozzle.crescent is not None:
        shift, way, level = nozzle.crescent
        far = canvas.away(shift * np.cos(way), shift * np.sin(way)) - canvas.rho
        seen += (canvas.colour(nozzle.land * level, nozzle.tint) - seen) * step(far - inner)
    if nozzle.plastic is not None:
        body = step(inner - np.float32(nozzle.plastic.gap_px))
        seen += (_plastic(canvas, nozzle.plastic, nozzle.radius_px) - seen) * body
    return np.asarray(seen, dtype=np.float32)


def _plastic(canvas: Canvas, plastic: Plastic, radius_px: float) -> Array:
    """Return the light of what fills the bore: a slow fall, and a shine."""
    way, spot = plastic.shine_way_rad, 0.4 * radius_px
    hills = 1.0 + 0.12 * canvas.along(way) / radius_px
    away = canvas.away(spot * np.cos(way), spot * np.sin(way)) / (0.16 * radius_px)
    shine = plastic.shine * np.exp(-0.5 * away * away)
    light = canvas.colour(plastic.light, plastic.tint) * hills + shine
    return np.asarray(light, dtype=np.float32)
