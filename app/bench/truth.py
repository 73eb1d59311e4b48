"""What is hidden: where the nozzles, the camera and the play of the axes really are."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from app.bench.axes import Mm3
from app.bench.noise import Wander, draw_wander
from app.job.profile import Profile

TIP_HEIGHTS_MM = 0.5
"""Largest difference in height between two tips."""

VECTOR_SPREAD_MM = (0.8, 0.6)
"""How far a true nozzle vector may lie from its nominal value, per axis."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Eye:
    """The camera as it lies on the bed.

    The bore of a nozzle that stands at (x, y, z), in the coordinates of the
    reference nozzle, is seen at ``centre + D(M ((x, y) - at + h tan(tilt) w))``
    with h the height above the plane of focus, w the direction of the tilt and D
    the radial distortion about the picture's centre.

    Attributes
    ----------
    size_px
        Width and height of the picture.
    at_mm
        Machine (x, y) of the reference nozzle over the picture's centre.
    focus_z_mm
        Machine Z at which the reference nozzle is in focus.
    matrix_px_per_mm
        Shape (2, 2): M, with scale, rotation, skew and, where flipped, a mirror.
    tilt_rad, tilt_towards_rad
        Tilt of the optical axis, and its direction in machine axes from +X to +Y.
    distortion
        Relative stretch at the picture's corner.
    """

    size_px: tuple[int, int]
    at_mm: tuple[float, float]
    focus_z_mm: float
    matrix_px_per_mm: NDArray[np.float64]
    tilt_rad: float
    tilt_towards_rad: float
    distortion: float

    @property
    def middle_px(self) -> NDArray[np.float64]:
        """The picture's centre, shape (2,); pixel (0, 0) is the centre of the first one."""
        return np.array([(self.size_px[0] - 1) / 2.0, (self.size_px[1] - 1) / 2.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Play:
    """What the mechanics do besides what they are told, in mm and s.

    Attributes
    ----------
    backlash_mm
        Full width of the play per axis.
    scatter_mm
        Standard deviation of coming to a position, fast part.
    pickup_mm, homing_mm
        Standard deviations of picking a tool up, and of a homing switch, fast parts.
    axis_wander
        Slow part of the positions, per axis: x, y, z, and u for a second carriage.
    pickup_wander
        Slow part of the pick-ups: three wanders a tool.
    camera_wander
        How the camera creeps on the bed: two wanders.
    ring_mm, ring_hz, ring_decay_s
        Vibration after a long move: first swing, frequency, decay time.
    """

    backlash_mm: Mm3
    scatter_mm: float
    pickup_mm: float
    homing_mm: float
    axis_wander: Mapping[str, Wander]
    pickup_wander: Mapping[int, tuple[Wander, Wander, Wander]]
    camera_wander: tuple[Wander, Wander]
    ring_mm: float
    ring_hz: float
    ring_decay_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """All that a run on the bench tries to find out, or has to live with.

    Attributes
    ----------
    seed
        Every random value comes from it.
    nozzles_mm
        Per tool: where its nozzle stands, seen from the reference nozzle, when
        both carriages read the same; the mean over pick-ups.
    bores_mm
        Per tool: diameter of the bore.
    plastic_on
        The tool with a drop of plastic at its rim, or None.
    start_mm
        Where the machine stands at first, near the camera.
    """

    seed: int
    nozzles_mm: Mapping[int, Mm3]
    bores_mm: Mapping[int, float]
    plastic_on: int | None
    eye: Eye
    play: Play
    start_mm: Mm3


def draw_truth(
    profile: Profile,
    *,
    seed: int,
    size_px: tuple[int, int],
    um_per_px: float,
    flipped: bool,
    drop_of_plastic: bool,
) -> Truth:
    """Return a truth for this machine, every value drawn from the seed."""
    rng = np.random.default_rng([seed, 0])
    nozzles = _draw_nozzles(profile, rng)
    others = [tool.number for tool in profile.tools if tool.number != profile.reference_tool]
    plastic_on = int(rng.choice(others)) if drop_of_plastic else None
    eye = _draw_eye(profile, rng, size_px=size_px, um_per_px=um_per_px, flipped=flipped)
    return Truth(
        seed=seed,
        nozzles_mm=MappingProxyType(nozzles),
        bores_mm=MappingProxyType({tool.number: tool.bore_mm for tool in profile.tools}),
        plastic_on=plastic_on,
        eye=eye,
        play=_draw_play(profile, rng),
        start_mm=_draw_start(profile, eye, rng),
    )


def _draw_nozzles(profile: Profile, rng: np.random.Generator) -> dict[int, Mm3]:
    heights = rng.uniform(0.0, TIP_HEIGHTS_MM, len(profile.tools))
    reference = next(
        index for index, tool in enumerate(profile.tools) if tool.number == profile.reference_tool
    )
    nozzles: dict[int, Mm3] = {}
    for tool, height in zip(profile.tools, heights, strict=True):
        off_x, off_y = rng.uniform(-1.0, 1.0, 2) * VECTOR_SPREAD_MM
        if tool.number == profile.reference_tool:
            nozzles[tool.number] = Mm3()
            continue
        nozzles[tool.number] = Mm3(
            tool.nominal_mm[0] + float(off_x),
            tool.nominal_mm[1] + float(off_y),
            float(height - heights[reference]),
        )
    return nozzles


def _draw_eye(
    profile: Profile,
    rng: np.random.Generator,
    *,
    size_px: tuple[int, int],
    um_per_px: float,
    flipped: bool,
) -> Eye:
    (x_low, x_high), (y_low, y_high), _ = travel_of(profile)
    at = (
        0.5 * (x_low + x_high) + float(rng.uniform(-15.0, 15.0)),
        0.5 * (y_low + y_high) + float(rng.uniform(-15.0, 15.0)),
    )
    return Eye(
        size_px=size_px,
        at_mm=at,
        focus_z_mm=20.0 + float(rng.uniform(-1.0, 1.0)),
        matrix_px_per_mm=_draw_matrix(rng, um_per_px=um_per_px, flipped=flipped),
        tilt_rad=math.radians(float(rng.uniform(0.5, 4.0))),
        tilt_towards_rad=float(rng.uniform(0.0, 2.0 * math.pi)),
        distortion=float(rng.uniform(-0.006, 0.006)),
    )


def _draw_matrix(
    rng: np.random.Generator, *, um_per_px: float, flipped: bool
) -> NDArray[np.float64]:
    """Return px per mm: turned by quarters and some degrees, skewed, a little off in scale."""
    quarter = float(rng.integers(0, 4)) * math.pi / 2.0
    angle = quarter + math.radians(float(rng.uniform(-12.0, 12.0)))
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    stretch = 1.0 + rng.uniform(-0.004, 0.004, 2)
    shape = np.array([[stretch[0], rng.uniform(-0.006, 0.006)], [0.0, stretch[1]]])
    mirror = np.diag([1.0, -1.0]) if flipped else np.eye(2)
    scale = 1000.0 / um_per_px * (1.0 + float(rng.uniform(-0.03, 0.03)))
    return np.asarray(scale * (mirror @ turn @ shape), dtype=np.float64)


def _draw_play(profile: Profile, rng: np.random.Generator) -> Play:
    backlash_um = (
        np.full(3, profile.reversal_um)
        if profile.reversal_um is not None
        else rng.uniform(8.0, 22.0, 3)
    )
    repeat_mm = profile.repeatability_um / 1000.0
    pickup_mm = profile.pickup_repeatability_um / 1000.0
    # 70 % of the variance is new each time, 30 % wanders over minutes.
    fast, slow = math.sqrt(0.7), math.sqrt(0.3)

    def three(sigma: float) -> tuple[Wander, Wander, Wander]:
        periods_s = (90.0, 1500.0)
        x, y, z = (draw_wander(rng, sigma=sigma, periods_s=periods_s) for _ in range(3))
        return x, y, z

    creep = tuple(draw_wander(rng, sigma=0.0015, periods_s=(200.0, 2400.0)) for _ in range(2))
    return Play(
        backlash_mm=Mm3(*(float(value) / 1000.0 for value in backlash_um)),
        scatter_mm=repeat_mm * fast,
        pickup_mm=pickup_mm * fast,
        # Nozzles bolted to one head have no pick-up of their own; their homing
        # switch scatters all the same.
        homing_mm=(pickup_mm or repeat_mm) * fast,
        axis_wander=MappingProxyType(
            {
                axis: draw_wander(rng, sigma=repeat_mm * slow, periods_s=(90.0, 1500.0))
                for axis in ("x", "y", "z", "u")
            }
        ),
        pickup_wander=MappingProxyType(
            {tool.number: three(pickup_mm * slow) for tool in profile.tools}
        ),
        camera_wander=(creep[0], creep[1]),
        ring_mm=float(rng.uniform(0.008, 0.02)),
        ring_hz=float(rng.uniform(18.0, 34.0)),
        ring_decay_s=float(rng.uniform(0.06, 0.12)),
    )


def _draw_start(profile: Profile, eye: Eye, rng: np.random.Generator) -> Mm3:
    """Return a place within a few tenths of the camera, on whole digits of the display."""
    step = max(profile.display_step_mm, 0.01)

    def near(value: float, spread: float) -> float:
        return round((value + float(rng.uniform(-spread, spread))) / step) * step

    return Mm3(near(eye.at_mm[0], 0.3), near(eye.at_mm[1], 0.3), near(eye.focus_z_mm, 0.05))


def travel_of(
    profile: Profile,
) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float]]:
    """Return the travel of each axis; 200 mm where the profile does not say."""
    return profile.travel_mm or ((0.0, 200.0), (0.0, 200.0), (0.0, 200.0))
