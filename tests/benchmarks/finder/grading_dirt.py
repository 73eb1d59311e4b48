"""The kinds of dirty pictures: each changes one thing of a plain draft, strongly."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.benchmarks.finder.grading_draft import Draft, Rng
from tests.benchmarks.finder.grading_paint import (
    burrs,
    insert_seams,
    lamp_images,
    lit_edge_break,
    lit_wall,
    rim_scratches,
    smeared_film,
)
from vision.synthesis import Bgr, Drop, Fill, Oval, ring_of_lamps

Dirt = Callable[[Draft, Rng], Draft]


def _ring_glints(draft: Draft, rng: Rng) -> Draft:
    return draft.with_light(glint_sharpness=rng.uniform(0.65, 1.0), ambient=rng.uniform(0.2, 0.6))


def _lamps_at_the_rim(draft: Draft, rng: Rng) -> Draft:
    return draft.painted(lamp_images(rng))


def _land_darker_than_the_cone(draft: Draft, rng: Rng) -> Draft:
    metal = draft.tip.land_albedo
    # Exposed for the cone, so the land is left rather dark.
    draft = replace(draft, land_level=rng.uniform(0.25, 0.45))
    return draft.with_tip(
        land_albedo=_times(metal, rng.uniform(0.15, 0.35)),
        cone_albedo=_times(metal, rng.uniform(2.0, 4.0)),
        land_mm=draft.tip.bore_mm * rng.uniform(1.6, 2.6),
    )


def _land_like_the_cone(draft: Draft, rng: Rng) -> Draft:
    metal = draft.tip.land_albedo
    return draft.with_tip(
        # The cone is turned from the lamps: in the same metal it looks half as bright.
        land_albedo=_times(metal, rng.uniform(0.4, 0.6)),
        cone_albedo=_times(metal, rng.uniform(1.3, 2.2)),
        land_mm=draft.tip.bore_mm * rng.uniform(1.5, 2.2),
        turning_marks=rng.uniform(0.5, 1.0),
    )


def _burrs(draft: Draft, rng: Rng) -> Draft:
    length = draft.tip.bore_mm * rng.uniform(0.03, 0.14)
    return draft.with_tip(burr_mm=length).painted(burrs(rng))


def _film(draft: Draft, rng: Rng) -> Draft:
    return draft.painted(smeared_film(rng))


def _insert(draft: Draft, rng: Rng) -> Draft:
    wide = draft.with_tip(land_mm=draft.tip.bore_mm * rng.uniform(2.4, 3.6))
    return wide.painted(insert_seams(rng))


def _scratches(draft: Draft, rng: Rng) -> Draft:
    return draft.with_tip(scratches=int(rng.integers(15, 50))).painted(rim_scratches(rng))


def _drop(draft: Draft, rng: Rng) -> Draft:
    blue, green, red = rng.uniform(0.02, 0.9, 3)
    drop = Drop(
        angle_rad=rng.uniform(-math.pi, math.pi),
        # The outline is wavy: a little under a third stays under a third.
        extent=rng.uniform(0.08, 0.31),
        size_mm=draft.tip.bore_mm * rng.uniform(0.15, 0.8),
        colour=(blue, green, red),
        gloss=rng.uniform(0.2, 1.0),
    )
    return draft.with_tip(drop=drop)


def _bright_plastic(draft: Draft, rng: Rng) -> Draft:
    # The gap is what a person sees of the rim: wide enough to be dark in the picture.
    widest = max(0.12, 2.6 * draft.optics.base_blur_px / draft.radius_px)
    gap = rng.uniform(2.0 * draft.optics.base_blur_px / draft.radius_px, widest)
    fill = Fill(
        albedo=_times((1.0, 1.0, 1.0), 1.0) if rng.random() < 0.3 else _vivid(rng),
        gap_mm=0.5 * draft.tip.bore_mm * gap,
        gloss=rng.uniform(0.0, 0.5),
    )
    return draft.with_tip(bore_fill=fill)


def _dark_plastic(draft: Draft, rng: Rng) -> Draft:
    blue, green, red = rng.uniform(0.008, 0.06, 3)
    gap = rng.uniform(0.0, 0.1) if rng.random() < 0.5 else 0.0
    fill = Fill(
        albedo=(blue, green, red),
        gap_mm=0.5 * draft.tip.bore_mm * gap,
        gloss=rng.uniform(0.1, 0.7),
    )
    return draft.with_tip(bore_fill=fill)


def _chamfer(draft: Draft, rng: Rng) -> Draft:
    tip = draft.tip
    return draft.with_tip(
        edge_break_mm=tip.bore_mm * rng.uniform(0.06, 0.2),
        land_mm=tip.bore_mm * rng.uniform(2.2, 3.4),
    )


def _one_sided(draft: Draft, rng: Rng) -> Draft:
    side = rng.uniform(-math.pi, math.pi)
    lamps = ring_of_lamps(
        int(rng.integers(6, 13)), radius_mm=draft.light.height_mm * rng.uniform(0.2, 0.5)
    )
    light = replace(
        draft.light,
        lamps=lamps,
        one_sided=rng.uniform(0.75, 1.0),
        one_sided_rad=side,
        ambient=rng.uniform(0.08, 0.3),
    )
    broken = draft.with_tip(edge_break_mm=draft.tip.bore_mm * rng.uniform(0.0, 0.02))
    return replace(broken, light=light).painted(lit_edge_break(rng))


def _lit_wall(draft: Draft, rng: Rng) -> Draft:
    return draft.with_tip(bore_fill=None).painted(lit_wall(rng))


def _eccentric_land(draft: Draft, rng: Rng) -> Draft:
    tip, angle = draft.tip, rng.uniform(-math.pi, math.pi)
    away = tip.bore_mm * rng.uniform(0.08, 0.3)
    return draft.with_tip(
        eccentricity_mm=(away * math.cos(angle), away * math.sin(angle)),
        land_mm=tip.bore_mm * rng.uniform(1.25, 2.0) + 2.0 * away,
    )


def _jpeg(draft: Draft, rng: Rng) -> Draft:
    del rng
    return replace(draft, sensor=replace(draft.sensor, jpeg_quality=60))


def _tilt(draft: Draft, rng: Rng) -> Draft:
    amount, angle = math.radians(rng.uniform(2.0, 4.0)), rng.uniform(-math.pi, math.pi)
    return replace(draft, tilt_rad=(amount * math.cos(angle), amount * math.sin(angle)))


def _oval(draft: Draft, rng: Rng) -> Draft:
    oval = Oval(axis_ratio=rng.uniform(0.9, 0.975), angle_rad=rng.uniform(0.0, math.pi))
    return draft.with_tip(oval=oval)


DIRT: dict[str, Dirt] = {
    "ring-light glints": _ring_glints,
    "lamp images at the rim": _lamps_at_the_rim,
    "land darker than the cone": _land_darker_than_the_cone,
    "land like the cone": _land_like_the_cone,
    "burrs": _burrs,
    "smeared film": _film,
    "insert, several circles": _insert,
    "scratches": _scratches,
    "drop over the rim": _drop,
    "bright plastic": _bright_plastic,
    "dark plastic": _dark_plastic,
    "chamfer ring": _chamfer,
    "one-sided light": _one_sided,
    "lit bore wall": _lit_wall,
    "eccentric land": _eccentric_land,
    "JPEG 60": _jpeg,
    "tilt to 4 degrees": _tilt,
    "oval wear": _oval,
}
"""What makes a picture dirty, by name; each with its strength drawn by chance."""


def _mild_tilt(draft: Draft, rng: Rng) -> Draft:
    amount, angle = math.radians(rng.uniform(0.0, 2.0)), rng.uniform(-math.pi, math.pi)
    return replace(draft, tilt_rad=(amount * math.cos(angle), amount * math.sin(angle)))


def _mild_side(draft: Draft, rng: Rng) -> Draft:
    return draft.with_light(one_sided=rng.uniform(0.3, 0.6))


def _mild_glints(draft: Draft, rng: Rng) -> Draft:
    return draft.with_light(glint_sharpness=rng.uniform(0.3, 0.6))


def _mild_drop(draft: Draft, rng: Rng) -> Draft:
    drop = Drop(
        angle_rad=rng.uniform(-math.pi, math.pi),
        extent=rng.uniform(0.02, 0.08),
        size_mm=draft.tip.bore_mm * rng.uniform(0.1, 0.3),
        colour=_vivid(rng),
    )
    return draft.with_tip(drop=drop)


MILD: dict[str, Dirt] = {
    "a little tilt": _mild_tilt,
    "light from one side": _mild_side,
    "soft glints": _mild_glints,
    "a speck on the rim": _mild_drop,
}
"""What comes on top in half of the pictures, before what names the picture."""


def _times(colour: Bgr, factor: float) -> Bgr:
    return colour[0] * factor, colour[1] * factor, colour[2] * factor


def _vivid(rng: Rng) -> Bgr:
    blue, green, red = np.clip(rng.uniform(0.1, 1.0, 3), 0.05, 1.0)
    return blue, green, red
