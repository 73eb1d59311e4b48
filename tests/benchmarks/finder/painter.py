"""Pictures to tune the finder on: dirty nozzles of every kind, drawn by chance from a seed.

The truth is exact by construction: every shape is laid by a closed form about the
centre, the blur is symmetric, and the pixel (0, 0) is the centre of the first pixel.
The finder is tuned on these, so what it reaches here says nothing of pictures that it
was not tuned on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.finder import paint_dirt as dirt
from tests.benchmarks.finder.case import Case
from tests.benchmarks.finder.paint_canvas import METALS, Rng
from tests.benchmarks.finder.paint_nozzle import Nozzle, paint
from tests.benchmarks.finder.paint_round import ROUND
from tests.benchmarks.finder.paint_sensor import Sensor, expose
from tests.benchmarks.finder.paint_unusable import UNUSABLE

DIRT: dict[str, dirt.Dirt] = {
    "clean but noisy": dirt.noise,
    "glints": dirt.glints,
    "lamp images": dirt.lamps,
    "dark land": dirt.dark_land,
    "burrs": dirt.burrs,
    "film": dirt.film,
    "insert rings": dirt.insert,
    "scratches": dirt.scratches,
    "drop": dirt.drop,
    "dark plastic": dirt.dark_plastic,
    "bright plastic": dirt.bright_plastic,
    "coloured plastic": dirt.coloured_plastic,
    "even edge break": dirt.even_break,
    "lit edge break": dirt.lit_break,
    "crescent": dirt.crescent,
    "eccentric land": dirt.eccentric_land,
    "jpeg": dirt.jpeg,
    "tilt": dirt.tilt,
    "oval": dirt.oval,
    "texture": dirt.texture,
    "gamma": lambda nozzle, _rng, _strength: nozzle,
    "soft": dirt.soft,
}
KINDS = tuple(DIRT)
UNUSABLE_KINDS = tuple(UNUSABLE)
LOOK_ALIKE_KINDS = tuple(ROUND)
MIXED_IN = 0.12
"""Chance of a touch of each other kind: two or three of them in a picture."""
RIVALS = (
    {"dark plastic", "bright plastic", "coloured plastic", "crescent"},
    {"even edge break", "lit edge break"},
    {"clean but noisy", "gamma"},
    {"soft", "bright plastic", "coloured plastic"},
    {"insert rings", "eccentric land"},
    {"drop", "film"},
)
"""What does not go together in a picture in which a person still sees the rim."""
FIRST = ("gamma", "soft", "dark land", "clean but noisy")
"""What changes levels or blur goes before what depends on them."""


def kind_of(seed: int) -> str:
    """Return the main kind of `dirty(seed)`: each kind in turn."""
    return KINDS[seed % len(KINDS)]


def dirty(seed: int) -> Case:
    """Return a dirty but usable nozzle: one main kind, and a touch of some others."""
    rng = np.random.default_rng((1, seed))
    kind = kind_of(seed)
    others = _others(kind, rng)
    gamma = 2.2 if kind == "gamma" or (kind != "clean but noisy" and rng.random() < 0.3) else 1.0
    nozzle = plain_nozzle(rng, gamma)
    for name in sorted((kind, *others), key=lambda one: one not in FIRST):
        strength = rng.uniform(0.55, 1.0) if name == kind else rng.uniform(0.1, 0.4)
        nozzle = DIRT[name](nozzle, rng, strength)
    return Case(
        frame=expose(paint(nozzle, rng), nozzle.sensor, rng),
        centre_px=nozzle.centre_px,
        radius_px=nozzle.radius_px,
        kind=kind,
        conditions=(*others, *_figures(nozzle)),
    )


def unusable(seed: int) -> Case:
    """Return a picture in which no bore should be found: each kind in turn."""
    rng = np.random.default_rng((2, seed))
    kind = UNUSABLE_KINDS[seed % len(UNUSABLE_KINDS)]
    nozzle = plain_nozzle(rng, float(rng.choice([1.0, 2.2])))
    canvas, radius = UNUSABLE[kind](nozzle, rng)
    return _nothing(kind, nozzle, expose(canvas, nozzle.sensor, rng), radius)


def look_alike(seed: int) -> Case:
    """Return something round that is no nozzle: each kind in turn."""
    rng = np.random.default_rng((3, seed))
    kind = LOOK_ALIKE_KINDS[seed % len(LOOK_ALIKE_KINDS)]
    nozzle = plain_nozzle(rng, float(rng.choice([1.0, 2.2])))
    canvas, radius = ROUND[kind](nozzle, rng)
    return _nothing(kind, nozzle, expose(canvas, nozzle.sensor, rng), radius)


def _nothing(kind: str, nozzle: Nozzle, frame: NDArray[np.uint8], radius: float | None) -> Case:
    return Case(
        frame=frame,
        centre_px=None,
        radius_px=radius,
        kind=kind,
        conditions=_figures(nozzle),
    )


def plain_nozzle(rng: Rng, gamma: float = 1.0) -> Nozzle:
    """Return a clean nozzle wholly in view, everything about it drawn by chance."""
    size = (640, 480) if rng.random() < 0.15 else (320, 240)
    radius = float(np.exp(rng.uniform(np.log(11), np.log(70))))
    room = radius + 8.0
    sensor = Sensor(
        blur_px=float(rng.uniform(0.8, max(1.0, min(2.2, 0.1 * radius)))),
        gamma=gamma,
        noise=float(rng.uniform(1.0, 3.5)),
        jpeg=int(rng.integers(85, 96)) if rng.random() < 0.5 else None,
    )
    land = rng.uniform(95, 195)
    dark = rng.uniform(6, 0.25 * land)
    land_px = radius * rng.uniform(1.7, 3.2)
    cone_px = land_px * rng.uniform(1.5, 3.0)
    nut = None
    if rng.random() < 0.4:
        light = sensor.linear(rng.uniform(15, 140))
        nut = (cone_px * rng.uniform(1.05, 1.5), rng.uniform(-np.pi, np.pi), light)
    return Nozzle(
        size=size,
        channels=int(rng.choice([1, 3])),
        centre_px=(rng.uniform(room, size[0] - room), rng.uniform(room, size[1] - room)),
        radius_px=radius,
        land_px=land_px,
        cone_px=cone_px,
        nut=nut,
        dark=sensor.linear(dark),
        land=sensor.linear(land),
        cone=sensor.linear(land * rng.uniform(0.25, 0.75)),
        around=sensor.linear(rng.uniform(10, 70)),
        tint=METALS[int(rng.integers(len(METALS)))],
        slope=(rng.uniform(0.0, 0.12), rng.uniform(-np.pi, np.pi)),
        texture=rng.uniform(0.003, 0.015),
        texture_px=rng.uniform(0.9, 2.5),
        grooves=rng.uniform(0.0, 0.012),
        sensor=sensor,
    )


def _others(kind: str, rng: Rng) -> tuple[str, ...]:
    chosen: list[str] = []
    for name in KINDS:
        taken = {kind, *chosen}
        rivals = any(name in group and taken & (group - {name}) for group in RIVALS)
        if rng.random() < MIXED_IN and name not in (kind, "gamma") and not rivals:
            chosen.append(name)
    return tuple(chosen)


def _figures(nozzle: Nozzle) -> tuple[str, ...]:
    sensor = nozzle.sensor
    return (
        f"R {nozzle.radius_px:.0f}",
        f"s {sensor.blur_px:.1f}",
        f"noise {sensor.noise:.1f}",
        f"gamma {sensor.gamma:.1f}",
        "colour" if nozzle.channels == 3 else "grey",
        f"{nozzle.size[0]}x{nozzle.size[1]}",
    )
