"""Small pictures drawn by chance: every one its own tip, dirt, light, lens and sensor.

The ranges are common practice, no source, unless a comment says more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from rendering import shape
from rendering.camera import Microscope
from rendering.catalogue import BLACK, BLUE, HARDENED_STEEL, ORANGE, WHITE, Frame
from rendering.scene import BRASS, Detail, Drop, Film, Plug, View
from rendering.sensor import Sensor
from rendering.shape import Tip
from rendering.surface import Finish

Array = NDArray[np.float64]
Rng = np.random.Generator

RIM_RADIUS_PX = (11.0, 48.0)
SIDE_PX = (120, 230)
OFF_MIDDLE_PX = 15.0
MOST_COVERED = 1.0 / 3.0
TEXEL_MM = (0.0018, 0.004)
SAMPLES = {"turned": 22, "polished": 36, "dark": 18}
"""Light paths a pixel; few, as what they leave of noise counts as the sensor's."""

FULLY_SAMPLED_PX = 125.0

SHARPEST_PX = 0.58
"""What the pixel's own area and the mosaic's reconstruction blur, one standard deviation."""

RED = (0.55, 0.04, 0.03)
GREEN = (0.06, 0.36, 0.10)
GREY = (0.2, 0.2, 0.2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """One small picture to be made.

    Attributes
    ----------
    frame
        What is seen and how it is stored.
    seed
        All of it follows from this.
    covered
        Share of the rim that a drop hides, as seen along the axis.
    """

    frame: Frame
    seed: int
    covered: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Surface:
    kind: str
    metal: tuple[float, float, float]
    finish: Finish
    roughness: float
    level: float


def crop(number: int) -> Crop:
    """Return the picture of this number, from 1 on."""
    seed = 70_000 + number
    rng = np.random.default_rng(seed)
    tip, tip_labels = _tip(rng, seed)
    made, surface_labels = _surface(rng)
    polished = made.kind == "polished"
    tilt_deg, camera_tilt_deg, tilt_label = _tilts(rng)
    camera, tip_mm, lens_labels = _lens(rng, tip, camera_tilt_deg=camera_tilt_deg)
    light, light_labels = _light(rng, polished=polished)
    view = View(
        # What is polished mirrors only lamps that stand close round the lens.
        microscope=replace(camera, ring_radius_mm=3.6 if polished else 7.0),
        tip=tip,
        finish=made.finish,
        tip_mm=tip_mm,
        tip_tilt_deg=tilt_deg,
        tip_tilt_towards_deg=float(rng.uniform(0.0, 360.0)),
        metal=made.metal,
        roughness=made.roughness,
        detail=_detail(tip, camera),
        seed=seed,
    )
    view = replace(view, **light)  # type: ignore[arg-type]  # fields of View, by name
    view, covered, plastic_labels = _with_plastic(rng, view)
    sensor, suffix, quality, sensor_labels = _sensor(rng)
    frame = Frame(
        file=f"{number:04d}{suffix}",
        view=view,
        conditions=(
            *tip_labels,
            *surface_labels,
            *plastic_labels,
            *light_labels,
            tilt_label,
            *lens_labels,
            *sensor_labels,
        ),
        land_level=made.level,
        sensor=sensor,
        quality=quality,
        samples=_samples(made.kind, camera),
    )
    return Crop(frame=frame, seed=seed, covered=covered)


def _samples(kind: str, camera: Microscope) -> int:
    """Return fewer paths a pixel for large pictures, which have more pixels on the rim."""
    side = float(np.mean(camera.size_px))
    return round(SAMPLES[kind] * min(1.0, FULLY_SAMPLED_PX / side) ** 1.2)


def _tilts(rng: Rng) -> tuple[float, float, str]:
    """Return the lean of the nozzle and of the camera, and a label for both together."""
    tilt_deg = float(rng.uniform(0.0, 4.0))
    # The camera's part turns the plane of focus, the nozzle's does not.
    camera_part = float(rng.uniform(0.2, 0.8)) if rng.random() < 0.4 else 0.0
    label = f"tilt={'under 2' if tilt_deg < 2.0 else '2 to 4'} deg"
    return tilt_deg * (1.0 - camera_part), tilt_deg * camera_part, label


def _tip(rng: Rng, seed: int) -> tuple[Tip, tuple[str, ...]]:
    bore = float(rng.choice([0.25, 0.3, 0.35, 0.4, 0.4, 0.5, 0.6, 0.8]) * rng.uniform(0.97, 1.05))
    worn = bool(rng.random() < 0.12)
    broken = rng.uniform(0.03, 0.07) if worn else rng.uniform(0.0015, 0.03)
    # A worn edge wider than a good part of the bore would be another nozzle.
    broken = float(min(broken, 0.25 * bore))
    burr = bool(rng.random() < 0.12)
    tip = Tip(
        bore_mm=bore,
        land_mm=bore + 2.0 * broken + 2.0 * float(rng.uniform(0.12, 0.42)),
        edge_break_mm=broken,
        bevelled=bool(rng.random() < 0.3),
        cone_deg=float(rng.uniform(35.0, 60.0)),
        # Half the difference of the axes: 0.01 makes them differ by 2 %.
        oval=float(rng.uniform(0.0, 0.01)) if rng.random() < 0.6 else 0.0,
        ragged_um=float(rng.uniform(0.3, 3.0)),
        burr_mm=float(rng.uniform(0.02, 0.10) * bore) if burr else 0.0,
        burr_at_deg=float(rng.uniform(0.0, 360.0)),
        burr_width_deg=float(rng.uniform(20.0, 80.0)),
        seed=seed,
    )
    edge = "worn wide" if worn else "sharp" if broken < 0.01 else "broken"
    return tip, (
        f"edge={edge}",
        f"edge form={'bevelled' if tip.bevelled else 'round'}",
        f"oval={'1 to 2 %' if tip.oval > 0.005 else 'under 1 %'}",
        f"burr={'yes' if burr else 'none'}",
    )


def _surface(rng: Rng) -> tuple[_Surface, tuple[str, ...]]:
    kind = str(rng.choice(["turned", "polished", "dark"], p=[0.66, 0.16, 0.18]))
    steel = kind == "dark" or bool(rng.random() < 0.2)
    smooth = 0.35 if kind == "polished" else 1.0
    wear = float(rng.random() ** 2)
    finish = Finish(
        pitch_um=float(rng.uniform(18.0, 55.0)),
        groove_um=smooth * float(rng.uniform(0.2, 1.6)),
        scratches=int(4 + 90 * wear * rng.uniform(0.5, 1.0)),
        grain_um=smooth * float(rng.uniform(0.02, 0.11)),
        dents=int(2 + 40 * wear * rng.uniform(0.3, 1.0)),
        crown_mrad=float(rng.uniform(5.0, 60.0)),
        dirt=float(rng.uniform(0.0, 0.2) if rng.random() < 0.6 else rng.uniform(0.2, 0.7)),
    )
    rough = {"turned": (0.09, 0.2), "polished": (0.025, 0.05), "dark": (0.15, 0.28)}[kind]
    level = (0.07, 0.2) if kind == "dark" else (0.18, 0.7)
    made = _Surface(
        kind=kind,
        metal=HARDENED_STEEL if steel else BRASS,
        finish=finish,
        roughness=float(rng.uniform(*rough)),
        level=float(rng.uniform(*level)),
    )
    return made, (
        f"metal={'steel' if steel else 'brass'}",
        f"land={kind}",
        f"scratches={'many' if finish.scratches > 30 else 'few'}",
        f"residue={'much' if finish.dirt > 0.2 else 'little'}",
    )


def _lens(
    rng: Rng, tip: Tip, *, camera_tilt_deg: float
) -> tuple[Microscope, tuple[float, float, float], tuple[str, ...]]:
    """Draw scale, defocus and place; return the camera, the tip's place and labels."""
    rim_mm = tip.bore_radius_mm + tip.edge_break_mm
    # A picture of 2.6 to 25 um a pixel, as such microscopes give.
    low = max(RIM_RADIUS_PX[0], 1e3 * rim_mm / 25.0)
    high = min(RIM_RADIUS_PX[1], 1e3 * rim_mm / 2.6)
    rim_px = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    blur_px = float(np.exp(rng.uniform(np.log(0.8), np.log(3.0))))
    sides = [_side_px(rng, rim_px), _side_px(rng, rim_px)]
    camera = Microscope(
        size_px=(sides[0], sides[1]),
        um_per_px=1e3 * rim_mm / rim_px,
        rotation_deg=float(rng.uniform(-180.0, 180.0)),
        tilt_deg=camera_tilt_deg,
        tilt_towards_deg=float(rng.uniform(0.0, 360.0)),
    )
    height = _defocus_mm(camera, blur_px) * float(rng.choice([-1.0, 1.0]))
    # Out of the plane of focus the same tip is larger or smaller.
    camera = replace(
        camera,
        um_per_px=camera.um_per_px * camera.distance_mm / (camera.distance_mm + height),
    )
    off = rng.uniform(-OFF_MIDDLE_PX, OFF_MIDDLE_PX, 2)
    tip_mm = _carried_to(camera, (np.array(sides) - 1.0) / 2.0 + off, height)
    size = "11 to 18" if rim_px < 18.0 else "18 to 30" if rim_px < 30.0 else "30 to 48"
    blur = "0.8 to 1.3" if blur_px < 1.3 else "1.3 to 2" if blur_px < 2.0 else "2 to 3"
    return camera, tip_mm, (f"rim radius={size} px", f"blur={blur} px")


def _side_px(rng: Rng, rim_px: float) -> int:
    side = 4.6 * rim_px + 2.0 * OFF_MIDDLE_PX + rng.uniform(-8.0, 16.0)
    return 2 * round(float(np.clip(side, *SIDE_PX)) / 2.0)


def _defocus_mm(camera: Microscope, blur_px: float) -> float:
    """Return how far from focus a thin lens blurs by this much.

    A point becomes an even disc; its standard deviation along an axis is half its radius.
    """
    disc_px = 2.0 * np.sqrt(blur_px**2 - SHARPEST_PX**2)
    share = disc_px * camera.um_per_px * 1e-3 / camera.aperture_radius_mm
    return float(share * camera.distance_mm / (1.0 + share))


def _carried_to(camera: Microscope, pixel: Array, height_mm: float) -> tuple[float, float, float]:
    """Return the world point at this height that falls on the pixel."""
    point = np.array([*camera.aim_mm[:2], height_mm])
    for _ in range(6):
        miss = pixel - camera.project(point)[0]
        point[:2] += np.linalg.solve(camera.px_per_mm_at(point), miss)
    return (float(point[0]), float(point[1]), float(point[2]))


def _detail(tip: Tip, camera: Microscope) -> Detail:
    """Return surfaces as fine as can be seen: a quarter of a pixel, within limits."""
    texel_mm = float(np.clip(0.25e-3 * camera.um_per_px, *TEXEL_MM))
    size = 2 * round(1.06 * tip.land_mm / texel_mm / 2.0)
    return Detail(land_mm=size * texel_mm, land_size=size, cone_shape=(384, 768), box_pixels=True)


def _light(rng: Rng, *, polished: bool) -> tuple[dict[str, object], tuple[str, ...]]:
    """Draw a ring of unequal lamps, stronger to one side, and the workshop's windows."""
    one_sided = float(rng.uniform(0.0, 0.8)) if rng.random() < 0.5 else 0.0
    towards = rng.uniform(0.0, 2.0 * np.pi)
    angles = 2.0 * np.pi * (np.arange(8) + 0.5) / 8
    lamps = np.exp(rng.normal(0.0, rng.uniform(0.05, 0.5), 8))
    lamps *= 1.0 + one_sided * np.cos(angles - towards) / 0.9
    beside = float(rng.uniform(0.2, 1.5)) if rng.random() < 0.15 else 0.0
    bright = bool(rng.random() < 0.5)
    fields: dict[str, object] = {
        "lamps": tuple(float(lamp) for lamp in lamps),
        "side_lamp": (beside, float(rng.uniform(0.0, 360.0))),
        "lamp_radius_mm": float(rng.uniform(0.45, 0.8) if polished else rng.uniform(0.9, 1.6)),
        "room": float(rng.uniform(0.5, 1.5) if bright else rng.uniform(0.02, 0.3)),
    }
    side = "under 0.2" if one_sided < 0.2 else "0.2 to 0.5" if one_sided < 0.5 else "0.5 to 0.8"
    return fields, (
        f"one-sided={side}",
        f"lamp beside={'yes' if beside else 'none'}",
        f"workshop={'bright' if bright else 'dark'}",
    )


def _with_plastic(rng: Rng, view: View) -> tuple[View, float, tuple[str, ...]]:
    """Draw what is stuck: plastic in the bore, a drop on the rim, a film on the land."""
    kind = str(rng.choice(["none", "dark", "bright", "coloured"], p=[0.52, 0.16, 0.16, 0.16]))
    if kind != "none":
        view = replace(view, plug=_plug(rng, view.tip, kind))
    covered, drop = 0.0, "none"
    # With a burr as well, more than a third of the rim could be spoilt.
    if rng.random() < 0.17 and view.tip.burr_mm == 0.0:
        lump, covered = _drop(rng, view)
        view = replace(view, drops=(lump,))
        drop = "over a fifth" if covered > 0.2 else "up to a fifth"
    film = bool(rng.random() < 0.15)
    if film:
        wiped = Film(
            colour=_colour(rng),
            share=float(rng.uniform(0.1, 0.6)),
            heading_deg=float(rng.uniform(0.0, 180.0)),
        )
        view = replace(view, film=wiped)
    labels = (f"plastic={kind}", f"drop={drop}", f"film={'smeared' if film else 'none'}")
    return view, covered, labels


def _plug(rng: Rng, tip: Tip, kind: str) -> Plug:
    colour = {"dark": BLACK, "bright": WHITE}.get(kind)
    recess = float(rng.uniform(0.0, 0.6) * tip.bore_mm + tip.edge_break_mm)
    return Plug(
        colour=colour or _colour(rng, tinted=True),
        recess_mm=recess,
        bulge_mm=float(rng.uniform(-0.12, 0.10) * tip.bore_mm),
        gap_mm=float(rng.uniform(0.002, 0.015)),
        ragged=False,
    )


def _drop(rng: Rng, view: View) -> tuple[Drop, float]:
    """Draw lumps until one hides some of the rim, but not more than a third."""
    rim_mm = view.tip.bore_radius_mm + view.tip.edge_break_mm
    while True:
        long, short = rim_mm * rng.uniform(0.3, 1.0), rim_mm * rng.uniform(0.25, 0.6)
        angle = rng.uniform(0.0, 2.0 * np.pi)
        away = rim_mm * rng.uniform(0.85, 1.5)
        thick = float(short * rng.uniform(0.35, 0.8))
        semi_axes = (long, short) if rng.random() < 0.5 else (short, long)
        drop = Drop(
            colour=_colour(rng),
            centre_mm=(
                float(away * np.cos(angle)),
                float(away * np.sin(angle)),
                float(-thick * rng.uniform(0.1, 0.6)),
            ),
            semi_axes_mm=(float(semi_axes[0]), float(semi_axes[1]), thick),
        )
        covered = covered_share(drop, rim_mm=rim_mm, seed=view.seed)
        # What is seen beside the axis, and the blur, hide a little more.
        if 0.04 < covered < MOST_COVERED - 0.03:
            return drop, covered


def covered_share(drop: Drop, *, rim_mm: float, seed: int, steps: int = 360) -> float:
    """Return the share of the rim that lies above the lump's hull, seen along the axis."""
    mesh = shape.drop_mesh(drop.centre_mm, drop.semi_axes_mm, seed=seed)
    hull = cv2.convexHull(mesh.points_mm[:, :2].astype(np.float32))
    turns = 2.0 * np.pi * np.arange(steps) / steps
    inside = [
        cv2.pointPolygonTest(hull, (rim_mm * float(np.cos(t)), rim_mm * float(np.sin(t))), False)
        for t in turns
    ]
    return float(np.mean(np.array(inside) >= 0.0))


def _colour(rng: Rng, *, tinted: bool = False) -> tuple[float, float, float]:
    choices = (
        (ORANGE, BLUE, RED, GREEN) if tinted else (ORANGE, BLUE, RED, GREEN, BLACK, WHITE, GREY)
    )
    colour = np.array(choices[int(rng.integers(len(choices)))])
    r, g, b = np.clip(colour * np.exp(rng.normal(0.0, 0.2, 3)), 0.005, 0.8)
    return (float(r), float(g), float(b))


def _sensor(rng: Rng) -> tuple[Sensor, str, int, tuple[str, ...]]:
    """Return the sensor, the file's ending, the quality of the JPEG and labels."""
    curved = bool(rng.random() < 0.75)
    sensor = Sensor(
        full_well=float(np.exp(rng.uniform(np.log(900.0), np.log(12000.0)))),
        read_noise=float(rng.uniform(3.0, 12.0)),
        gamma=float(rng.uniform(1.8, 2.4)) if curved else 1.0,
        sharpening=float(rng.uniform(0.0, 0.9)) if rng.random() < 0.75 else 0.0,
        mosaic=bool(rng.random() < 0.85),
    )
    stored = bool(rng.random() < 0.02)
    quality = int(60.0 + 36.0 * rng.random() ** 1.5)
    jpeg = "none" if stored else f"{'60 to 75' if quality < 75 else '75 to 95'}"
    return (
        sensor,
        ".png" if stored else ".jpg",
        quality,
        (
            f"jpeg={jpeg}",
            f"gamma={'2.2' if curved else '1'}",
            f"sharpening={'over 0.4' if sensor.sharpening > 0.4 else 'up to 0.4'}",
            f"noise={'high' if sensor.full_well < 2500.0 else 'low'}",
            f"mosaic={'yes' if sensor.mosaic else 'none'}",
        ),
    )
