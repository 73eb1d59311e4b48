"""Pictures in which no bore should be found."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.finder.case import Case
from tests.benchmarks.finder.grading_draft import (
    Rng,
    any_camera,
    any_size,
    case_of,
    plain_draft,
    scene_of,
    through_camera,
)
from tests.benchmarks.finder.grading_paint import blob
from tests.benchmarks.finder.grading_plane import FloatArray, smooth_noise
from tests.benchmarks.finder.grading_things import Stage, lay, paper, photographed, plate
from vision.geometry import PointPx
from vision.synthesis import expose

Maker = Callable[[str, Rng], Case]

_WORDS = (
    *("OFFSET", "TOOL", "08", "O0Q", "bed", "probe", "690", "Good", "cool", "book", "CODE"),
    *("1000", "zone", "D80", "oo00", "B6", "@", "nozzle", "home", "X+0.50", "loop", "ROOM"),
    *("360", "food", "&", "door"),
)
_FONTS = (
    cv2.FONT_HERSHEY_SIMPLEX,
    cv2.FONT_HERSHEY_DUPLEX,
    cv2.FONT_HERSHEY_COMPLEX,
    cv2.FONT_HERSHEY_TRIPLEX,
    cv2.FONT_HERSHEY_PLAIN,
)
_FONT_HEIGHT_PX = {cv2.FONT_HERSHEY_PLAIN: 10.0}


def _covered(kind: str, rng: Rng) -> Case:
    draft = plain_draft(rng)
    wide = draft.with_tip(land_mm=draft.tip.bore_mm * rng.uniform(2.4, 3.4))
    return case_of(wide.painted(blob(rng, smallest=1.35, largest=2.4)), kind, rng, bore=False)


def _cut(kind: str, rng: Rng) -> Case:
    """Put the centre so close to an edge, or just beyond it, that a sixth of the rim is lost."""
    draft = plain_draft(rng)
    u, v = draft.centre_px
    width, height = draft.size_px
    into = draft.radius_px * rng.uniform(-0.6, 0.85, 2)
    side = int(rng.integers(5))
    if side in (0, 4):
        u = into[0] if rng.random() < 0.5 else width - 1.0 - into[0]
    if side in (1, 4):
        v = into[1] if rng.random() < 0.5 else height - 1.0 - into[1]
    if side == 2:
        u = into[0]
    if side == 3:
        v = height - 1.0 - into[1]
    return case_of(replace(draft, centre_px=PointPx(u, v)), kind, rng, bore=False)


def _out_of_focus(kind: str, rng: Rng) -> Case:
    draft = plain_draft(rng)
    px_per_mm = 1000.0 / draft.um_per_px
    blur_px = draft.radius_px * rng.uniform(0.6, 1.5)
    defocus_mm = 2.0 * blur_px / (draft.optics.na * px_per_mm) * float(rng.choice([-1.0, 1.0]))
    return case_of(replace(draft, defocus_mm=defocus_mm), kind, rng, bore=False)


def _empty(kind: str, rng: Rng) -> Case:
    """Show the machine's underside, at times with the skirt of a cone at the edge."""
    draft = plain_draft(rng)
    land_px = draft.radius_px * draft.tip.land_mm / draft.tip.bore_mm
    away = 1.2 * land_px + 240.0 / draft.um_per_px + rng.uniform(10.0, 500.0)
    angle = rng.uniform(-math.pi, math.pi)
    half = [0.5 * side for side in draft.size_px]
    reach = 1.0 / max(abs(math.cos(angle)) / half[0], abs(math.sin(angle)) / half[1])
    u = half[0] + (reach + away) * math.cos(angle)
    v = half[1] + (reach + away) * math.sin(angle)
    picture = scene_of(replace(draft, centre_px=PointPx(u, v)))
    bright = float(np.quantile(picture.mean(axis=2), 0.9))
    frame = through_camera(picture, bright, rng.uniform(0.1, 0.7), draft.sensor, rng)
    return Case(frame=frame, centre_px=None, radius_px=None, kind=kind)


def _blank(kind: str, rng: Rng) -> Case:
    width, height = any_size(rng)
    level = float(rng.choice([0.0, rng.uniform(0.0, 0.1), rng.uniform(0.1, 0.9), 3.0]))
    u = np.linspace(-1.0, 1.0, width, dtype=np.float32)[None, :]
    v = np.linspace(-1.0, 1.0, height, dtype=np.float32)[:, None]
    light = 1.0 + rng.uniform(-0.3, 0.3) * u + rng.uniform(-0.3, 0.3) * v
    light *= 1.0 - rng.uniform(0.0, 0.4) * 0.5 * (u**2 + v**2)
    picture = np.repeat((level * light)[..., None], 3, axis=2).astype(np.float32)
    frame = expose(picture, any_camera(rng), rng)
    return Case(frame=frame, centre_px=None, radius_px=None, kind=kind)


def _noise(kind: str, rng: Rng) -> Case:
    width, height = any_size(rng)
    cell = float(rng.choice([1.0, rng.uniform(1.0, 4.0), rng.uniform(4.0, 40.0)]))
    noise = smooth_noise((height, width), cell, rng)
    if rng.random() < 0.4:
        noise = noise + smooth_noise((height, width), 2.5 * cell, rng)
    picture = np.clip(rng.uniform(0.2, 0.6) + rng.uniform(0.1, 0.35) * noise, 0.0, None)
    colours = np.repeat(picture[..., None], 3, axis=2).astype(np.float32)
    frame = through_camera(colours, 0.6, rng.uniform(0.4, 0.9), any_camera(rng), rng)
    return Case(frame=frame, centre_px=None, radius_px=None, kind=kind)


def _text(kind: str, rng: Rng) -> Case:
    width, height = any_size(rng)
    dark = bool(rng.random() < 0.4)
    picture = paper((height, width), rng, dark=dark)
    ink = np.full(3, 0.9 if dark else 0.04, dtype=np.float32)
    lay(picture, _letters((height, width), rng), ink)
    frame = photographed(picture, rng)
    return Case(frame=frame, centre_px=None, radius_px=None, kind=kind)


def _letters(shape: tuple[int, int], rng: Rng) -> FloatArray:
    """Return where there is ink: lines of words, turned by a few degrees."""
    ink = np.zeros(shape, dtype=np.uint8)
    font = int(rng.choice(_FONTS))
    tall_px = rng.uniform(14.0, 110.0)
    scale = tall_px / _FONT_HEIGHT_PX.get(font, 22.0)
    thick = max(1, round(tall_px * rng.uniform(0.06, 0.2)))
    row = tall_px * rng.uniform(0.6, 1.2)
    while row < shape[0] + tall_px:
        words = " ".join(rng.choice(_WORDS, 12))
        left = -int(rng.uniform(0.0, tall_px))
        cv2.putText(ink, words, (left, int(row)), font, scale, 255, thick, cv2.LINE_AA)
        row += tall_px * rng.uniform(1.3, 1.8)
    middle = (0.5 * shape[1], 0.5 * shape[0])
    turn = cv2.getRotationMatrix2D(middle, rng.normal(0.0, 8.0), 1.0)
    turned = cv2.warpAffine(ink, turn, (shape[1], shape[0]), flags=cv2.INTER_LINEAR)
    return np.asarray(turned, dtype=np.float32) / np.float32(255.0)


def _screw_head(kind: str, rng: Rng) -> Case:
    """Draw a domed head with a slot, a cross or a star, its half width the radius."""
    head = rng.uniform(1.5, 2.2)
    stage = Stage.any(rng, margin=1.15 * head)
    picture = plate(stage.shape, rng, brightest=rng.uniform(0.05, 0.6))
    lit = _lay_head(picture, stage, head, rng)
    cover = stage.polygon(_turned(_recess(rng, head), rng.uniform(0.0, 2.0 * math.pi)))
    lay(picture, cover, np.full(3, rng.uniform(0.01, 0.08), dtype=np.float32))
    return _thing(kind, picture, stage, lit, rng)


def _lay_head(picture: FloatArray, stage: Stage, head: float, rng: Rng) -> FloatArray:
    """Lay a round head with its shadow over a plate; return where it lies."""
    x, y = stage.offsets()
    rho = stage.rho()
    away = rng.normal(0.0, 0.1, 2)
    shade = np.hypot(x - np.float32(away[0]), y - np.float32(away[1])) / np.float32(head)
    picture *= (1.0 - 0.7 * np.exp(-np.clip(shade - 1.0, 0.0, None) / 0.06))[..., None]
    lean = rng.normal(0.0, 0.25, 2) / head
    level = 1.0 + lean[0] * x + lean[1] * y - 0.3 * (rho / head) ** 4
    metal = plate(stage.shape, rng) * np.clip(level, 0.1, None)[..., None]
    cover = stage.cover(np.float32(head) - rho)
    lay(picture, cover, metal.astype(np.float32))
    return cover


def _recess(rng: Rng, head: float) -> NDArray[np.float64]:
    """Return the outline (N, 2) of a slot, a cross or a six-pointed star, in radii."""
    which = int(rng.integers(3))
    if which == 0:
        long, half = 1.03 * head, rng.uniform(0.1, 0.22)
        return np.array([(-long, -half), (long, -half), (long, half), (-long, half)])
    if which == 1:
        half = rng.uniform(0.14, 0.26)
        arm = np.array([(half, half), (1.0, 0.8 * half), (1.0, -0.8 * half), (half, -half)])
        quarters = [_turned(arm, -0.5 * math.pi * k) for k in range(4)]
        return np.concatenate(quarters)
    turn = np.linspace(0.0, 2.0 * math.pi, 180, endpoint=False)
    reach = 1.0 + rng.uniform(0.1, 0.2) * np.cos(6.0 * turn)
    return np.stack([reach * np.cos(turn), reach * np.sin(turn)], axis=1)


def _hexagon(kind: str, rng: Rng) -> Case:
    """Draw a hexagonal hole with corners more or less round, in a plate or in a round head."""
    socket = rng.random() < 0.5
    head = rng.uniform(1.6, 2.1)
    stage = Stage.any(rng, margin=1.15 * head if socket else 1.3)
    picture = plate(stage.shape, rng, brightest=rng.uniform(0.1, 0.6) if socket else 1.0)
    lit = _lay_head(picture, stage, head, rng) if socket else None
    outline = _turned(_rounded_hexagon(rng.uniform(0.0, 0.35)), rng.uniform(0.0, math.pi))
    floor = rng.uniform(0.005, 0.12)
    lay(picture, stage.polygon(outline), np.full(3, floor, dtype=np.float32))
    return _thing(kind, picture, stage, lit, rng)


def _rounded_hexagon(corner: float) -> NDArray[np.float64]:
    """Return a hexagon of mean radius 1 whose corners have the radius `corner`."""
    points = []
    for k in range(6):
        turn = math.pi / 3.0 * k
        middle = (1.0 - corner) * np.array([math.cos(turn), math.sin(turn)])
        arc = turn + np.linspace(-math.pi / 6.0, math.pi / 6.0, 9)
        points.append(
            middle + corner * math.cos(math.pi / 6.0) * np.stack([np.cos(arc), np.sin(arc)], 1)
        )
    outline = np.concatenate(points)
    area = cv2.contourArea(outline.astype(np.float32))
    return np.asarray(outline * math.sqrt(math.pi / area))


def _turned(points: NDArray[np.float64], angle: float) -> NDArray[np.float64]:
    cos, sin = math.cos(angle), math.sin(angle)
    return np.asarray(points @ np.array([[cos, sin], [-sin, cos]]))


def _thing(kind: str, picture: FloatArray, stage: Stage, lit: FloatArray | None, rng: Rng) -> Case:
    frame = photographed(picture, rng, lit=lit)
    words = (f"radius {stage.radius_px:.1f} px",)
    return Case(frame=frame, centre_px=None, radius_px=stage.radius_px, kind=kind, conditions=words)


UNUSABLE: dict[str, Maker] = {
    "covered bore": _covered,
    "cut by the frame's edge": _cut,
    "empty": _empty,
    "blank": _blank,
    "noise": _noise,
    "text": _text,
    "far out of focus": _out_of_focus,
    "screw head": _screw_head,
    "hexagon": _hexagon,
}
"""What makes a picture unusable, by name."""
