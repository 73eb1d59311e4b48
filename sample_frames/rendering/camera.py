"""The microscope as geometry: where it stands, and where a point falls in its picture.

The camera's axes are right-handed: right, down and forward, so a camera that looks
up at the tips with u to the right and v down is not mirrored, and nothing here puts
in that sign by hand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Microscope:
    """A thin lens with a sensor behind it, below the tips, looking up.

    Attributes
    ----------
    aim_mm
        The world point (x, y, z) on the optical axis that is in focus.
    distance_mm
        From the lens to that point.
    um_per_px
        Size of a pixel in the plane of focus.
    size_px
        Width and height.
    rotation_deg
        Turn of the picture's axes against the machine's.
    tilt_deg, tilt_towards_deg
        Angle between optical axis and vertical, and the direction (in the machine's
        X-Y plane) towards which the axis leans as it goes up.
    aperture_radius_mm
        Of the lens; it makes the depth of field.
    ring_radius_mm
        Of the circle on which the lamps sit round the lens.
    """

    aim_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    distance_mm: float = 32.0
    um_per_px: float = 6.0
    size_px: tuple[int, int] = (640, 480)
    rotation_deg: float = 0.0
    tilt_deg: float = 0.0
    tilt_towards_deg: float = 0.0
    aperture_radius_mm: float = 1.6
    ring_radius_mm: float = 7.0

    @property
    def axes(self) -> Array:
        """Rows right, down, forward as unit vectors of the world, shape (3, 3)."""
        tilt, towards = np.radians([self.tilt_deg, self.tilt_towards_deg])
        forward = np.array(
            [np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)]
        )
        turn = np.radians(self.rotation_deg)
        right = np.array([np.cos(turn), np.sin(turn), 0.0])
        right -= forward * (right @ forward)
        right /= np.linalg.norm(right)
        return np.stack([right, np.cross(forward, right), forward])

    @property
    def lens_mm(self) -> Array:
        """Centre of the lens in the world, shape (3,)."""
        return np.asarray(np.array(self.aim_mm) - self.distance_mm * self.axes[2])

    @property
    def focal_px(self) -> float:
        """Pixels per unit of tangent."""
        return 1000.0 * self.distance_mm / self.um_per_px

    @property
    def field_of_view_deg(self) -> float:
        """Full angle across the width."""
        return float(2.0 * np.degrees(np.arctan(0.5 * self.size_px[0] / self.focal_px)))

    def project(self, points_mm: Array) -> Array:
        """Return pixels (u, v), shape (N, 2), of world points, shape (N, 3).

        Through the centre of the lens. Pixel (0, 0) is the centre of the top-left
        pixel, so the optical axis falls on ((width - 1) / 2, (height - 1) / 2).
        """
        seen = (np.atleast_2d(points_mm) - self.lens_mm) @ self.axes.T
        middle = (np.asarray(self.size_px) - 1.0) / 2.0
        return np.asarray(middle + self.focal_px * seen[:, :2] / seen[:, 2:])

    def px_per_mm_at(self, point_mm: Array) -> Array:
        """Return d(u, v) / d(X, Y), shape (2, 2), for a tip that is carried at this point."""
        step = 1e-4
        columns = [
            (self.project(point_mm + move) - self.project(point_mm - move))[0] / (2.0 * step)
            for move in (np.array([step, 0.0, 0.0]), np.array([0.0, step, 0.0]))
        ]
        return np.stack(columns, axis=1)

    def lamp_places_mm(self, count: int = 8) -> Array:
        """Return the centres of the lamps round the lens, shape (count, 3)."""
        angles = 2.0 * np.pi * (np.arange(count) + 0.5) / count
        right, down, forward = self.axes
        ring = np.cos(angles)[:, None] * right + np.sin(angles)[:, None] * down
        return np.asarray(self.lens_mm + self.ring_radius_mm * ring + 1.0 * forward)
