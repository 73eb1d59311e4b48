"""The camera's body on the bed: what a head can hit, and what happens then."""

from __future__ import annotations

import math

import numpy as np

from app.bench.axes import Mm3
from app.bench.truth import Eye

WORKING_DISTANCE_MM = 6.0
"""From the top of the camera up to its plane of focus."""

RADIUS_MM = 15.0
"""The camera's body, seen from above."""


class CameraBody:
    """Where the camera lies. A tip that comes too low over it pushes it aside.

    Not locked: the world's lock stands around it.
    """

    def __init__(self, eye: Eye, rng: np.random.Generator) -> None:
        self._eye = eye
        self._rng = rng
        self._shifts: list[tuple[float, float, float]] = []

    @property
    def knocks(self) -> int:
        """How often the camera was hit."""
        return len(self._shifts)

    def sweep(self, start_mm: Mm3, end_mm: Mm3, *, at_s: float) -> None:
        """Let a tip go straight from one place to another; it may hit the camera.

        Places are of the tip itself, in the coordinates of the reference nozzle.
        """
        if self._is_hit(start_mm, end_mm):
            angle = float(self._rng.uniform(0.0, 2.0 * math.pi))
            far_mm = float(self._rng.uniform(0.1, 0.4))
            self._shifts.append((at_s, far_mm * math.cos(angle), far_mm * math.sin(angle)))

    def shift_mm(self, time_s: float) -> tuple[float, float]:
        """Return by how much the camera had been pushed aside at a time."""
        done = [shift for shift in self._shifts if shift[0] <= time_s]
        return sum(shift[1] for shift in done), sum(shift[2] for shift in done)

    def _is_hit(self, start_mm: Mm3, end_mm: Mm3) -> bool:
        if min(start_mm.z, end_mm.z) > self._eye.focus_z_mm - WORKING_DISTANCE_MM:
            return False
        return _distance(self._eye.at_mm, start_mm, end_mm) < RADIUS_MM


def _distance(point: tuple[float, float], start_mm: Mm3, end_mm: Mm3) -> float:
    """Return the distance of a point from a stretch, seen from above."""
    along_x, along_y = end_mm.x - start_mm.x, end_mm.y - start_mm.y
    to_x, to_y = point[0] - start_mm.x, point[1] - start_mm.y
    length2 = along_x**2 + along_y**2
    part = (to_x * along_x + to_y * along_y) / length2 if length2 > 0.0 else 0.0
    part = min(max(part, 0.0), 1.0)
    return math.hypot(to_x - part * along_x, to_y - part * along_y)
