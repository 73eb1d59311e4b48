"""The kinds of dirt and wear: each changes a nozzle by chance, as strongly as asked.

`strength` runs from 0 to 1: 1 as the kind's own picture may have it, .3 for a touch of it
in a picture of another kind.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.benchmarks.finder import paint_marks as marks
from tests.benchmarks.finder.paint_canvas import PLASTICS, WHITE, Rng, Tint
from tests.benchmarks.finder.paint_nozzle import Break, Nozzle, Plastic, Ring

Dirt = Callable[[Nozzle, Rng, float], Nozzle]


def noise(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Sensor noise of up to 8 grey levels."""
    grey = 1.0 + 7.0 * strength * rng.uniform(0.5, 1.0)
    return replace(nozzle, sensor=replace(nozzle.sensor, noise=grey))


def glints(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Soft bright spots and streaks of the ring light on the land."""
    count = 1 + int(rng.integers(1, 6) * strength)
    width = np.clip(nozzle.radius_px * rng.uniform(0.05, 0.14), 1.2, 5.0)
    found = [
        marks.Glint(
            away_px=nozzle.radius_px * rng.uniform(1.15, 1.9),
            way_rad=_way(rng),
            width_px=float(width * rng.uniform(0.7, 1.3)),
            length_px=float(width * rng.choice([1.0, 2.0, 4.0])),
            light=rng.uniform(60, 400),
        )
        for _ in range(count)
    ]
    return replace(nozzle, glints=nozzle.glints + tuple(found))


def lamps(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Return sharp images of eight unequal lamps on a ring that comes near the rim."""
    R = nozzle.radius_px
    size = max(1.2, R * rng.uniform(0.06, 0.06 + 0.11 * strength))
    way, shift = _way(rng), R * rng.uniform(0.0, 0.3)
    ring = (shift * float(np.cos(way)), shift * float(np.sin(way)))
    # Where the ring comes nearest, its images touch the rim or hang over it by half.
    away = R + shift + size * rng.uniform(0.1 if strength > 0.5 else 1.0, 1.6)
    arc = rng.choice([0.0, 0.0, 0.08, 0.16])
    start, inwards = _way(rng), size * rng.choice([0.0, 0.5, 2.0])
    found = [
        marks.Lamp(
            ring_px=ring,
            away_px=float(away),
            way_rad=float(start + k * np.pi / 4 + rng.normal(0, 0.04)),
            radius_px=float(max(1.0, size * rng.uniform(0.6, 1.3))),
            arc_rad=float(arc),
            light=rng.uniform(260, 600),
            inwards_px=float(inwards),
        )
        for k in range(8)
        if rng.random() < 0.5 + 0.45 * strength
    ]
    return replace(nozzle, lamps=tuple(found))


def dark_land(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Return a land like the cone round it, or darker."""
    brighter = rng.uniform(0.95, 1.1) if rng.random() < 0.4 else 1.2 + strength * rng.random()
    land = nozzle.land * (1.0 - 0.3 * strength)
    return replace(nozzle, land=land, cone=min(land * brighter, 240.0))


def burrs(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Return bumps at the rim: bright ones hang into the bore, dark ones bite across."""
    most = min(6.0, 0.22 * nozzle.radius_px) * (0.4 + 0.6 * strength)
    found = []
    for _ in range(1 + int(rng.integers(0, 5) * strength)):
        bite = bool(rng.random() < 0.4)
        level = nozzle.dark * 1.5 if bite else min(nozzle.land * rng.uniform(0.5, 1.5), 250.0)
        found.append(
            marks.Burr(
                way_rad=_way(rng),
                half_depth_px=rng.uniform(1.2, max(1.4, most)),
                half_width_px=rng.uniform(1.2, max(1.5, 1.3 * most)),
                light=level,
                bite=bite,
            )
        )
    return replace(nozzle, burrs=tuple(found))


def film(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Smear plastic over part of land and rim, with a soft border."""
    R, away, way = nozzle.radius_px, nozzle.radius_px * rng.uniform(0.7, 1.5), _way(rng)
    smear = marks.Film(
        middle_px=(away * float(np.cos(way)), away * float(np.sin(way))),
        way_rad=_way(rng),
        half_length_px=R * rng.uniform(0.5, 3.0),
        half_width_px=R * rng.uniform(0.4, 1.1),
        border_px=R * rng.uniform(0.03, 0.12),
        depth=rng.uniform(0.15, 0.2 + 0.35 * strength),
        light=nozzle.sensor.linear(rng.uniform(40, 200)),
        tint=_plastic(rng),
        seed=int(rng.integers(1 << 30)),
    )
    return replace(nozzle, films=(smear,))


def insert(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Return a hardened insert: circles round the bore, each a little off."""
    R, rings = nozzle.radius_px, list[Ring]()
    radius = R * rng.uniform(1.25, 1.7)
    for _ in range(2 if strength > 0.5 else 1):
        off, way = radius * rng.uniform(0.0, 0.03), _way(rng)
        # Next to the bore a dull ring would be taken for an edge break, and rightly so.
        dull = 0.82 if not rings else 0.55
        rings.append(
            Ring(
                radius_px=float(radius),
                shift_px=(off * float(np.cos(way)), off * float(np.sin(way))),
                factor=float(rng.choice([rng.uniform(dull, 0.95), rng.uniform(1.1, 1.35)])),
                groove_px=rng.uniform(0.8, 3.0),
                groove_factor=float(rng.choice([rng.uniform(0.15, 0.6), rng.uniform(1.2, 1.5)])),
            )
        )
        radius *= rng.uniform(1.2, 1.5)
    return replace(nozzle, rings=tuple(rings), land_px=max(nozzle.land_px, 1.15 * radius))


def scratches(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Return lines across land and rim, bright and dark."""
    R = nozzle.radius_px
    found = []
    for _ in range(2 + int(rng.integers(0, 7) * strength)):
        middle, half = R * rng.uniform(-1.5, 1.5), R * rng.uniform(0.6, 2.0)
        factor = rng.uniform(0.35, 0.8) if rng.random() < 0.5 else rng.uniform(1.3, 2.0)
        found.append(
            marks.Scratch(
                off_px=R * rng.uniform(-1.3, 1.3),
                way_rad=_way(rng),
                from_px=middle - half,
                to_px=middle + half,
                width_px=rng.uniform(0.6, 0.8 + 2.0 * strength),
                factor=factor,
                nick_px=float(rng.choice([0.0, 0.8, 1.6])),
            )
        )
    return replace(nozzle, scratches=tuple(found))


def drop(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Hide up to a third of the rim under a drop."""
    share = rng.uniform(0.05, 0.08 + 0.25 * strength)
    light = nozzle.sensor.linear(rng.choice([rng.uniform(25, 70), rng.uniform(90, 220)]))
    lump = marks.placed_drop(rng, nozzle.radius_px, share, float(light), _plastic(rng))
    return replace(nozzle, drops=(lump,))


def dark_plastic(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Fill the bore with plastic much darker than the land, with a gap or without."""
    light = nozzle.land * rng.uniform(0.1, 0.2 + 0.15 * strength)
    gap = 0.0 if rng.random() < 0.6 else _gap(nozzle, rng)
    return _filled(nozzle, rng, light, WHITE, gap)


def bright_plastic(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Fill the bore with plastic about as bright as the land, or brighter."""
    light = min(nozzle.land * rng.uniform(0.8 + 0.2 * strength, 1.5), 235.0)
    return _filled(nozzle, rng, light, WHITE, _gap(nozzle, rng))


def coloured_plastic(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Fill the bore with coloured plastic (in a grey picture: of a middle grey)."""
    light = nozzle.land * rng.uniform(0.35, 0.6 + 0.4 * strength)
    tint = PLASTICS[int(rng.integers(1, len(PLASTICS)))]
    return _filled(nozzle, rng, light, tint, _gap(nozzle, rng))


def even_break(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Return an edge break of even light."""
    mean = rng.uniform(0.2, 0.65)
    return replace(nozzle, edge=Break(width_px=_width(nozzle, rng, 1.5, strength), mean=mean))


def lit_break(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Return an edge break lit from one side, and a land lit from there too."""
    way = _way(rng)
    edge = Break(
        width_px=_width(nozzle, rng, 1.0, strength),
        mean=rng.uniform(0.05, 0.5),
        sided=rng.uniform(0.1, 0.5) * min(1.0, 0.4 + strength),
        lit_from_rad=way,
    )
    return replace(nozzle, edge=edge, slope=(rng.uniform(0.0, 0.6) * strength, way))


def crescent(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Light a part of the bore's wall."""
    shift = nozzle.radius_px * rng.uniform(0.05, 0.1 + 0.3 * strength)
    return replace(nozzle, crescent=(shift, _way(rng), rng.uniform(0.2, 0.3 + 0.5 * strength)))


def eccentric_land(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Move the land's centre, so that its edge may come near the rim."""
    R, s = nozzle.radius_px, nozzle.sensor.blur_px
    off, way = R * rng.uniform(0.1, 0.1 + 0.3 * strength), _way(rng)
    least = R + off + max(3.0, 3.0 * s)
    land = max(nozzle.land_px, least)
    if strength > 0.5:
        land = least * rng.uniform(1.0, 1.4)
    shift = (off * float(np.cos(way)), off * float(np.sin(way)))
    return replace(
        nozzle, land_px=float(land), cone_px=max(nozzle.cone_px, 1.5 * land), land_shift_px=shift
    )


def jpeg(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Return JPEG of quality 60 (80 for a touch)."""
    quality = 60 if strength > 0.5 else int(rng.integers(75, 90))
    return replace(nozzle, sensor=replace(nozzle.sensor, jpeg=quality))


def tilt(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Tilt the tip by up to 4 degrees: foreshortened, and out of focus to one side."""
    way, angle = _way(rng), np.radians(rng.uniform(1.0, 1.0 + 3.0 * strength))
    sensor = replace(nozzle.sensor, blur_slope=rng.uniform(0.0, 0.3) * strength, blur_way_rad=way)
    return replace(nozzle, tilt_rad=float(angle), tilt_way_rad=way, sensor=sensor)


def oval(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Wear the rim by its second and third harmonic, up to 2.5 % of its radius."""
    waves = tuple((n, rng.uniform(0.2, 1.0) * 0.025 * strength, _way(rng)) for n in (2, 3))
    return replace(nozzle, waves=waves)


def texture(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Return grain and turning marks of up to 6 %."""
    both = 0.01 + 0.05 * strength * rng.random(2)
    return replace(
        nozzle,
        texture=float(both[0]),
        grooves=float(both[1]),
        texture_px=rng.uniform(0.9, 3.0),
    )


def soft(nozzle: Nozzle, rng: Rng, strength: float) -> Nozzle:
    """Blur by up to 3.5 px, less where the bore is small."""
    most = min(3.5, 0.2 * nozzle.radius_px)
    blur = max(0.8, most * rng.uniform(0.6, 0.6 + 0.4 * strength))
    return replace(nozzle, sensor=replace(nozzle.sensor, blur_px=blur))


def _filled(nozzle: Nozzle, rng: Rng, light: float, tint: Tint, gap: float) -> Nozzle:
    shine = rng.uniform(0, 80) if rng.random() < 0.5 else 0.0
    plastic = Plastic(light=light, tint=tint, gap_px=gap, shine=shine, shine_way_rad=_way(rng))
    return replace(nozzle, plastic=plastic, dark=min(nozzle.dark, 0.15 * nozzle.land))


def _gap(nozzle: Nozzle, rng: Rng) -> float:
    """Return a width that the blur leaves visible."""
    return float(max(rng.uniform(1.0, 4.0), 1.3 * nozzle.sensor.blur_px))


def _width(nozzle: Nozzle, rng: Rng, least: float, strength: float) -> float:
    most = min(8.0, 0.4 * nozzle.radius_px) * (0.3 + 0.7 * min(1.0, strength))
    return float(rng.uniform(least, max(most, least + 0.5)))


def _plastic(rng: Rng) -> Tint:
    return PLASTICS[int(rng.integers(len(PLASTICS)))]


def _way(rng: Rng) -> float:
    return float(rng.uniform(-np.pi, np.pi))
