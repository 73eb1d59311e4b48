"""Pictures of the world: what the microscope's sensor makes of one exposure."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from app.bench.truth import Truth
from app.bench.world import Glimpse
from vision.geometry import PointPx
from vision.synthesis import (
    Drop,
    Light,
    Optics,
    Sensor,
    Tip,
    TipTexture,
    expose,
    prepare_tip,
    render,
)

_FAR_OUTSIDE_PX = 4000.0
"""A tip this far away leaves the same dark underside of the machine in view."""

_SMEAR_FROM_PX = 0.5


class Photographer:
    """Makes frames of the tips as they are seen; each tip has its own surface.

    Calls may come from one thread at a time.

    Parameters
    ----------
    truth
        Which tips there are, and how the camera lies.
    sensor
        The camera's sensor; a plain one by default.
    """

    def __init__(self, truth: Truth, *, sensor: Sensor | None = None) -> None:
        self._truth = truth
        self._sensor = sensor or Sensor()
        eye = truth.eye
        scale = math.sqrt(abs(float(np.linalg.det(eye.matrix_px_per_mm))))
        self._um_per_px = 1000.0 / scale
        self._optics = Optics(k1=eye.distortion)
        self._light = Light()
        toward = np.array([math.cos(eye.tilt_towards_rad), math.sin(eye.tilt_towards_rad)])
        self._lean_rad = (float(eye.tilt_rad * toward[0]), float(eye.tilt_rad * toward[1]))
        # The picture moves by M when the tip does; the renderer shortens the tip
        # along the tilt once more, which the tip's own lean has in M already.
        longer = np.eye(2) + (1.0 / math.cos(eye.tilt_rad) - 1.0) * np.outer(toward, toward)
        self._matrix = eye.matrix_px_per_mm @ longer
        self._textures: dict[int, TipTexture] = {}

    def expose(self, start: Glimpse, end: Glimpse, *, number: int) -> NDArray[np.uint8]:
        """Return frame `number`, shape (H, W, 3), BGR.

        Parameters
        ----------
        start, end
            Where the tip is seen when the shutter opens and closes.
        number
            The frame's place in the stream: its noise hangs on seed and number
            alone.
        """
        middle = (start.flat_centre_px + end.flat_centre_px) / 2.0
        light = self._lit(end.tool, middle, (start.height_mm + end.height_mm) / 2.0)
        light = _smeared(light, end.flat_centre_px - start.flat_centre_px)
        rng = np.random.default_rng([self._truth.seed, 4, number])
        return expose(light, self._sensor, rng)

    def _lit(
        self, tool: int, centre_px: NDArray[np.float64], height_mm: float
    ) -> NDArray[np.float32]:
        near = np.clip(centre_px, -_FAR_OUTSIDE_PX, _FAR_OUTSIDE_PX)
        return render(
            self._texture(tool),
            size_px=self._truth.eye.size_px,
            centre_px=PointPx(float(near[0]), float(near[1])),
            matrix_px_per_mm=self._matrix,
            # A head that is lifted clear is one grey blur, whatever its height.
            defocus_mm=min(max(height_mm, -8.0), 8.0),
            light=self._light,
            optics=self._optics,
            tilt_rad=self._lean_rad,
        )

    def _texture(self, tool: int) -> TipTexture:
        if tool not in self._textures:
            tip = draw_tip(self._truth, tool)
            self._textures[tool] = prepare_tip(tip, um_per_px=self._um_per_px)
        return self._textures[tool]


def draw_tip(truth: Truth, tool: int) -> Tip:
    """Return a tool's tip: worn and stained as the seed has it, with plastic or without."""
    rng = np.random.default_rng([truth.seed, 5, tool])
    bore_mm = truth.bores_mm[tool]
    drop = None
    if tool == truth.plastic_on:
        angle = float(rng.uniform(0.0, 2.0 * math.pi))
        drop = Drop(angle_rad=angle, extent=float(rng.uniform(0.08, 0.18)), size_mm=0.5 * bore_mm)
    ex, ey = rng.normal(0.0, 0.01, 2)
    return Tip(
        # A new nozzle's bore is drilled to some hundredths; then it wears.
        bore_mm=bore_mm * float(rng.uniform(0.97, 1.05)),
        land_mm=bore_mm + float(rng.uniform(0.5, 0.7)),
        cone_mm=bore_mm + 3.2,
        eccentricity_mm=(float(ex), float(ey)),
        turning_marks=float(rng.uniform(0.2, 0.7)),
        scratches=int(rng.integers(2, 9)),
        stains=float(rng.uniform(0.1, 0.5)),
        drop=drop,
        seed=int(rng.integers(0, 2**31)),
    )


def _smeared(light: NDArray[np.float32], step_px: NDArray[np.float64]) -> NDArray[np.float32]:
    """Draw a picture out along the way that it moved while the shutter was open."""
    length_px = min(float(np.hypot(*step_px)), 120.0)
    if length_px < _SMEAR_FROM_PX:
        return light
    reach = math.ceil(length_px / 2.0) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), dtype=np.float32)
    direction = step_px / float(np.hypot(*step_px))
    for part in np.linspace(-0.5, 0.5, 4 * reach + 1):
        at = part * length_px * direction + reach
        _add_between_pixels(kernel, float(at[0]), float(at[1]))
    kernel /= kernel.sum()
    return cv2.filter2D(light, -1, kernel).astype(np.float32, copy=False)


def _add_between_pixels(kernel: NDArray[np.float32], u: float, v: float) -> None:
    """Add one unit at a place between pixels, shared out among its four neighbours."""
    left, top = math.floor(u), math.floor(v)
    part_u, part_v = u - left, v - top
    for row, share_v in ((top, 1.0 - part_v), (top + 1, part_v)):
        for column, share_u in ((left, 1.0 - part_u), (left + 1, part_u)):
            kernel[row, column] += share_u * share_v
