"""A place or a step along the three machine axes, in mm."""

from __future__ import annotations

from typing import NamedTuple


class Mm3(NamedTuple):
    """X, Y and Z in mm; what is measured from what stands in the name that holds it."""

    x: float = 0.0
    y: float = 0.0
    z: float = 0.0

    def plus(self, other: Mm3) -> Mm3:
        """Return the sum, axis by axis."""
        return Mm3(self.x + other.x, self.y + other.y, self.z + other.z)

    def minus(self, other: Mm3) -> Mm3:
        """Return the difference, axis by axis."""
        return Mm3(self.x - other.x, self.y - other.y, self.z - other.z)

    def times(self, factor: float) -> Mm3:
        """Return the multiple, axis by axis."""
        return Mm3(self.x * factor, self.y * factor, self.z * factor)
