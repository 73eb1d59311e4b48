"""A picture of a tip before it is drawn: what every graded picture has in common.

A draft is a tip, where and how it is seen, and what is painted over it. The renderer of
`vision.synthesis` draws the tip; paints are laid on in linear light, before the sensor.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.finder.case import Case
from tests.benchmarks.finder.grading_plane import FloatArray, Plane
from vision.geometry import PointPx
from vision.synthesis import (
    DARK_PLASTIC,
    Bgr,
    Lamp,
    Light,
    Optics,
    Oval,
    Sensor,
    Tip,
    expose,
    prepare_tip,
    render,
)

Rng = np.random.Generator
Frame = NDArray[np.uint8]
Paint = Callable[[FloatArray, Plane], None]

SIZES_PX = ((320, 240), (400, 300), (480, 360), (640, 480))
SMALLEST_RADIUS_PX, LARGEST_RADIUS_PX = 11.0, 60.0
BORES_MM = (0.25, 0.4, 0.6, 0.8)
# Pixels of microscopes at the distances in use; finer ones only make larger textures.
SMALLEST_UM_PER_PX, LARGEST_UM_PER_PX = 3.5, 20.0
# Linear BGR: brass, copper, plated steel, hardened steel.
METALS: tuple[Bgr, ...] = (
    (0.30, 0.60, 0.82),
    (0.28, 0.42, 0.78),
    (0.62, 0.66, 0.68),
    (0.34, 0.35, 0.36),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """Everything that is drawn by chance of a picture of a tip, but the noise.

    Attributes
    ----------
    radius_px
        Rim radius: half the bore over the size of a pixel.
    margin_rims
        Least distance of the centre from the frame's edges, in rim radii.
    land_level
        Encoded brightness, 0 to 1, to which the land is exposed.
    paints
        Laid over the picture one after the other.
    """

    tip: Tip
    size_px: tuple[int, int]
    centre_px: PointPx
    radius_px: float
    turn_rad: float
    mirrored: bool
    light: Light
    optics: Optics
    sensor: Sensor
    land_level: float
    tilt_rad: tuple[float, float] = (0.0, 0.0)
    defocus_mm: float = 0.0
    paints: tuple[Paint, ...] = ()

    @property
    def um_per_px(self) -> float:
        return 500.0 * self.tip.bore_mm / self.radius_px

    @property
    def matrix_px_per_mm(self) -> NDArray[np.float64]:
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        turn = np.array([[cos, -sin], [sin, cos]]) * (1000.0 / self.um_per_px)
        return np.asarray(turn @ np.diag([-1.0 if self.mirrored else 1.0, 1.0]))

    @property
    def plane(self) -> Plane:
        """Return the plane of the tip as the picture shows it."""
        return Plane.of(
            self.tip,
            centre_px=self.centre_px,
            size_px=self.size_px,
            matrix_px_per_mm=self.matrix_px_per_mm,
            tilt_rad=self.tilt_rad,
            blur_px=self.optics.blur_px(self.defocus_mm, 1000.0 / self.um_per_px),
        )

    def painted(self, *paints: Paint) -> Draft:
        return replace(self, paints=(*self.paints, *paints))

    def with_tip(self, **changes: object) -> Draft:
        return replace(self, tip=replace(self.tip, **changes))  # type: ignore[arg-type]  # names checked by the class

    def with_light(self, **changes: object) -> Draft:
        return replace(self, light=replace(self.light, **changes))  # type: ignore[arg-type]  # names checked by the class


def plain_draft(rng: Rng, *, margin_rims: float = 1.35) -> Draft:
    """Return a used, fairly clean tip under an ordinary light, whole rim in view."""
    size_px = any_size(rng)
    largest = min(LARGEST_RADIUS_PX, 0.48 * min(size_px) / margin_rims)
    radius_px = math.exp(rng.uniform(math.log(SMALLEST_RADIUS_PX), math.log(largest)))
    margin_px = margin_rims * radius_px + 2.0
    place = [float(rng.uniform(margin_px, side - 1.0 - margin_px)) for side in size_px]
    return Draft(
        tip=_plain_tip(_bore_mm(radius_px, rng), rng),
        size_px=size_px,
        centre_px=PointPx(*place),
        radius_px=radius_px,
        turn_rad=rng.uniform(-math.pi, math.pi),
        mirrored=bool(rng.random() < 0.3),
        light=_plain_light(rng),
        optics=Optics(
            base_blur_px=rng.uniform(0.7, min(2.4, 0.7 + 0.05 * radius_px)),
            vignetting=rng.uniform(0.0, 0.3),
        ),
        sensor=any_camera(rng),
        land_level=rng.uniform(0.4, 0.9),
    )


def _bore_mm(radius_px: float, rng: Rng) -> float:
    um_per_px = [500.0 * bore / radius_px for bore in BORES_MM]
    fitting = [
        bore
        for bore, um in zip(BORES_MM, um_per_px, strict=True)
        if SMALLEST_UM_PER_PX <= um <= LARGEST_UM_PER_PX
    ]
    return float(rng.choice(fitting))


def _plain_tip(bore_mm: float, rng: Rng) -> Tip:
    metal = METALS[rng.integers(len(METALS))]
    cone_share = rng.uniform(0.6, 1.0)
    return Tip(
        bore_mm=bore_mm,
        land_mm=bore_mm * rng.uniform(2.0, 3.2),
        cone_mm=max(3.6, 4.0 * bore_mm),
        oval=Oval(axis_ratio=rng.uniform(0.985, 1.0), angle_rad=rng.uniform(0.0, math.pi)),
        eccentricity_mm=_away(rng, bore_mm * rng.uniform(0.0, 0.04)),
        edge_break_mm=bore_mm * rng.uniform(0.0, 0.035),
        turning_marks=rng.uniform(0.1, 0.8),
        grain=rng.uniform(0.1, 0.8),
        scratches=int(rng.integers(0, 10)),
        stains=rng.uniform(0.0, 0.5),
        land_albedo=metal,
        cone_albedo=(metal[0] * cone_share, metal[1] * cone_share, metal[2] * cone_share),
        bore_fill=DARK_PLASTIC if rng.random() < 0.15 else None,
        burr_mm=bore_mm * rng.uniform(0.0, 0.03) if rng.random() < 0.3 else 0.0,
        seed=int(rng.integers(2**31)),
    )


def _away(rng: Rng, distance: float) -> tuple[float, float]:
    """Return an offset of this length in any direction."""
    angle = rng.uniform(-math.pi, math.pi)
    return distance * math.cos(angle), distance * math.sin(angle)


def _plain_light(rng: Rng) -> Light:
    count, first = int(rng.integers(4, 13)), rng.uniform(0.0, 2.0 * math.pi)
    height_mm = rng.uniform(15.0, 40.0)
    radius_mm = height_mm * rng.uniform(0.18, 0.4)
    lamps = tuple(
        Lamp(
            angle_rad=first + 2.0 * math.pi * k / count,
            radius_mm=radius_mm,
            strength=rng.uniform(0.7, 1.2),
        )
        for k in range(count)
    )
    return Light(
        lamps=lamps,
        height_mm=height_mm,
        one_sided=rng.uniform(0.0, 0.4),
        one_sided_rad=rng.uniform(-math.pi, math.pi),
        ambient=rng.uniform(0.15, 0.6),
        glint_sharpness=rng.uniform(0.0, 0.45),
        colour=(rng.uniform(0.85, 1.1), 1.0, rng.uniform(0.85, 1.1)),
    )


def any_camera(rng: Rng) -> Sensor:
    """Return a camera, good or poor; its exposure is set when the picture is there."""
    return Sensor(
        full_well_e=math.exp(rng.uniform(math.log(1500.0), math.log(20000.0))),
        read_noise_e=rng.uniform(3.0, 20.0),
        gamma=float(rng.choice([1.0, 1.8, 2.2, 2.4])),
        jpeg_quality=int(rng.integers(78, 98)) if rng.random() < 0.6 else None,
        bayer=bool(rng.random() < 0.8),
    )


def any_size(rng: Rng) -> tuple[int, int]:
    """Return width and height of a small frame."""
    return SIZES_PX[rng.integers(len(SIZES_PX))]


def scene_of(draft: Draft) -> FloatArray:
    """Return the linear picture, shape (height, width, 3), with all that is painted on it."""
    plane = draft.plane
    picture = render(
        prepare_tip(draft.tip, um_per_px=draft.um_per_px),
        size_px=draft.size_px,
        centre_px=draft.centre_px,
        matrix_px_per_mm=draft.matrix_px_per_mm,
        defocus_mm=draft.defocus_mm,
        light=draft.light,
        optics=draft.optics,
        tilt_rad=draft.tilt_rad,
    )
    for paint in draft.paints:
        paint(picture, plane)
    return picture


def taken(draft: Draft, rng: Rng) -> Frame:
    """Return the camera's picture of a draft, exposed for the land."""
    picture = scene_of(draft)
    return through_camera(
        picture, draft.plane.land_light(picture), draft.land_level, draft.sensor, rng
    )


def through_camera(
    picture: FloatArray, reference: float, level: float, sensor: Sensor, rng: Rng
) -> Frame:
    """Return the 8-bit picture, exposed so that light of `reference` is encoded as `level`.

    One picture in eight is grey, shape (height, width).
    """
    exposure = level**sensor.gamma / max(reference, 1e-3)
    frame = expose(picture, replace(sensor, exposure=exposure), rng)
    if rng.random() < 0.125:
        return np.asarray(cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
    return frame


def conditions_of(draft: Draft, *more: str) -> tuple[str, ...]:
    """Return what was drawn by chance in words."""
    sensor, tilt = draft.sensor, math.degrees(math.hypot(*draft.tilt_rad))
    words = [
        f"{draft.size_px[0]} x {draft.size_px[1]}",
        f"rim radius {draft.radius_px:.1f} px",
        f"blur {draft.plane.blur_px:.1f} px",
        f"{sensor.full_well_e:.0f} electrons",
        f"gamma {sensor.gamma:g}",
    ]
    words += [f"JPEG {sensor.jpeg_quality}"] if sensor.jpeg_quality is not None else []
    words += [f"tilt {tilt:.1f} degrees"] if tilt else []
    return (*words, *more)


def case_of(draft: Draft, kind: str, rng: Rng, *, bore: bool, more: Sequence[str] = ()) -> Case:
    """Return the finished picture with its truth; `bore` says whether it should be found."""
    return Case(
        frame=taken(draft, rng),
        centre_px=(draft.centre_px.u, draft.centre_px.v) if bore else None,
        radius_px=draft.radius_px,
        kind=kind,
        conditions=conditions_of(draft, *more),
    )
