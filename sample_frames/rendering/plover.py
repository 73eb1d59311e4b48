"""One job on Plover: a tool changer with five tools that does not do quite what it is told.

The hidden behaviour is all here: motors stop at whole steps, a carriage comes back to a
position with some scatter, a tool is never picked up twice in the same way, and the
person who jogs stops where it is good enough. What the job file is told is only what
the display shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rendering.camera import Microscope
from rendering.catalogue import RING, Frame
from rendering.scene import BRASS, HARDENED_STEEL, View
from rendering.shape import Tip
from rendering.surface import Finish

Array = NDArray[np.float64]

MOTOR_STEP_MM = (0.0125, 0.0125, 0.0025)
REPEATABILITY_MM = (0.004, 0.004, 0.002)
PICKUP_SCATTER_MM = (0.004, 0.004, 0.003)
REVERSAL_UM = 14.0

CAMERA = Microscope(
    aim_mm=(149.983, 100.041, 12.4),
    distance_mm=31.0,
    um_per_px=5.2,
    rotation_deg=6.4,
    tilt_deg=2.0,
    tilt_towards_deg=118.0,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """One tool as it truly is, and what the firmware has stored for it.

    Attributes
    ----------
    vector_mm
        From the reference nozzle to this one, in machine axes.
    stored_mm
        The offset in the firmware's sign: carriage = shown + stored.
    """

    vector_mm: tuple[float, float, float]
    stored_mm: tuple[float, float, float]
    tip: Tip
    finish: Finish
    metal: tuple[float, float, float] = BRASS
    lean_deg: tuple[float, float] = (0.0, 0.0)
    land_level: float = 0.38


TOOLS = (
    Tool(
        vector_mm=(0.0, 0.0, 0.0),
        stored_mm=(0.0, 0.0, 0.0),
        tip=Tip(seed=60),
        finish=Finish(),
        lean_deg=(0.4, 30.0),
    ),
    Tool(
        vector_mm=(-0.3437, 0.1216, -0.0512),
        stored_mm=(0.31, -0.18, 0.03),
        tip=Tip(land_mm=0.95, edge_break_mm=0.02, seed=61),
        finish=Finish(pitch_um=33.0, dirt=0.35),
        lean_deg=(0.7, 200.0),
    ),
    Tool(
        vector_mm=(0.5228, -0.2664, 0.1187),
        stored_mm=(0.0, 0.0, 0.0),
        tip=Tip(land_mm=1.1, ragged_um=1.6, seed=62),
        finish=Finish(scratches=40, dents=20, dirt=0.5),
        lean_deg=(0.5, 290.0),
    ),
    Tool(
        vector_mm=(-0.1793, -0.6125, 0.3071),
        stored_mm=(0.27, 0.52, -0.25),
        tip=Tip(bore_mm=0.6, land_mm=1.3, edge_break_mm=0.02, seed=63),
        finish=Finish(pitch_um=50.0, groove_um=1.2),
        lean_deg=(0.3, 100.0),
    ),
    Tool(
        vector_mm=(0.8319, 0.3142, -0.2196),
        stored_mm=(-0.85, -0.3, 0.2),
        tip=Tip(land_mm=0.9, edge_break_mm=0.012, seed=64),
        finish=Finish(groove_um=0.6, pitch_um=25.0, dirt=0.1),
        metal=HARDENED_STEEL,
        lean_deg=(0.9, 10.0),
        land_level=0.22,
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """One position at which a frame was taken.

    Attributes
    ----------
    shown_mm
        What the display says.
    carriage_mm, tip_mm
        Where the carriage and the middle of the land really are.
    """

    file: str
    tool: int
    for_scale: bool
    shown_mm: Array
    carriage_mm: Array
    tip_mm: Array


SEED = 2042
"""An ordinary day: now and then a seed draws a closure of four standard deviations, and
such a job is rightly sent back."""


def stops(seed: int = SEED) -> tuple[Stop, ...]:
    """Return the whole job in order of time: five jogs, then eleven sightings."""
    rng = np.random.default_rng(seed)
    start = np.array([150.02, 99.97, 12.4])
    corners = [(0.0, 0.0), (-0.62, -0.6), (0.6, -0.6), (0.6, 0.62), (-0.6, 0.6)]
    pickup = _scatter(rng, PICKUP_SCATTER_MM)
    made = [
        _stop(f"scale-{number}.jpg", 0, True, start + np.array([*corner, 0.0]), pickup, rng)
        for number, corner in enumerate(corners, start=1)
    ]
    for order, tool in enumerate((0, 1, 2, 3, 4, 0, 1, 2, 3, 4, 0)):
        if order > 0:
            pickup = _scatter(rng, PICKUP_SCATTER_MM)
        shown = start if order == 0 else _jogged_by_eye(tool, start, rng)
        made.append(_stop(f"sighting-{order + 1:02d}-t{tool}.jpg", tool, False, shown, pickup, rng))
    return tuple(made)


def frame(stop: Stop) -> Frame:
    """Return the frame that is taken at this stop."""
    tool = TOOLS[stop.tool]
    view = View(
        microscope=CAMERA,
        tip=tool.tip,
        finish=tool.finish,
        metal=tool.metal,
        tip_mm=(float(stop.tip_mm[0]), float(stop.tip_mm[1]), float(stop.tip_mm[2])),
        tip_tilt_deg=tool.lean_deg[0],
        tip_tilt_towards_deg=tool.lean_deg[1],
        lamps=RING,
        room=0.5,
        room_seed=60,
        seed=60 + stop.tool,
    )
    return Frame(
        file=stop.file,
        view=view,
        conditions=(f"T{stop.tool}",),
        land_level=tool.land_level,
        quality=92,
        samples=24,
    )


def job(made: tuple[Stop, ...]) -> dict[str, object]:
    """Return the job file, as a person with this machine would have written it."""
    return {
        "schema": 1,
        "units": "mm",
        "layout": "tool-changer",
        "dialect": "klipper-macro",
        "machine": {
            "display_step_mm": 0.01,
            "motor_step_mm": MOTOR_STEP_MM[0],
            "repeatability_um": 5.0,
            "reversal_um": REVERSAL_UM,
        },
        "reference_tool": 0,
        "stored_raw": {str(number): list(tool.stored_mm) for number, tool in enumerate(TOOLS)},
        "scale_jogs": [_entry(stop) for stop in made if stop.for_scale],
        "sightings": [{"tool": stop.tool, **_entry(stop)} for stop in made if not stop.for_scale],
    }


def truth(made: tuple[Stop, ...], centres: dict[str, dict[str, object]]) -> dict[str, object]:
    """Return what the job should come to."""
    matrix = CAMERA.px_per_mm_at(made[0].tip_mm)
    return {
        "nozzle_vectors_mm": {str(n): list(tool.vector_mm) for n, tool in enumerate(TOOLS)},
        "pixel_scale_px_per_mm": matrix.round(4).tolist(),
        "determinant": round(float(np.linalg.det(matrix)), 2),
        "um_per_px": CAMERA.um_per_px,
        "camera": {
            "rotation_deg": CAMERA.rotation_deg,
            "tilt_deg": CAMERA.tilt_deg,
            "distance_mm": CAMERA.distance_mm,
        },
        "hidden": {
            "motor_step_mm": list(MOTOR_STEP_MM),
            "repeatability_mm": list(REPEATABILITY_MM),
            "pickup_scatter_mm": list(PICKUP_SCATTER_MM),
        },
        "frames": [
            {
                **centres[stop.file],
                "tool": stop.tool,
                "carriage_mm": stop.carriage_mm.round(5).tolist(),
                "tip_mm": stop.tip_mm.round(5).tolist(),
            }
            for stop in made
        ],
    }


def _entry(stop: Stop) -> dict[str, object]:
    stored = np.array(TOOLS[stop.tool].stored_mm)
    return {
        "frame": f"frames/{stop.file}",
        "position_mm": [round(float(value), 3) for value in stop.shown_mm],
        # The display shows carriage - stored, so what it contains is minus the stored offset.
        "in_display_mm": (0.0 - stored).tolist(),
        "approach": "+X+Y",
    }


def _jogged_by_eye(tool: int, start: Array, rng: np.random.Generator) -> Array:
    """Return the shown position at which a person stops: near the target, and in focus."""
    wanted = start - TOOLS[tool].vector_mm + rng.normal(0.0, [0.06, 0.06, 0.012])
    return np.asarray(np.round(wanted - TOOLS[tool].stored_mm, 2))


def _stop(
    file: str, tool: int, for_scale: bool, shown: Array, pickup: Array, rng: np.random.Generator
) -> Stop:
    told = shown + TOOLS[tool].stored_mm
    carriage = np.round(told / MOTOR_STEP_MM) * MOTOR_STEP_MM + _scatter(rng, REPEATABILITY_MM)
    return Stop(
        file=file,
        tool=tool,
        for_scale=for_scale,
        shown_mm=shown,
        carriage_mm=carriage,
        tip_mm=carriage + TOOLS[tool].vector_mm + pickup,
    )


def _scatter(rng: np.random.Generator, sd_mm: tuple[float, float, float]) -> Array:
    return np.asarray(rng.normal(0.0, sd_mm))
