"""Watch for a picture that does not change, grey level by grey level."""

from __future__ import annotations

import numpy as np

from app.cameras.source import Image

PROBE_STEP = 16
"""Every 16th row is compared first, as noise shows there too, in a sixteenth of the time."""


class FreezeWatch:
    """How long a source has been giving the very same pixels.

    A picture of one single grey level (lid on, light off, burnt out everywhere) is
    never called frozen: such a picture may honestly repeat.
    """

    def __init__(self) -> None:
        self._last: Image | None = None
        self._since_s = 0.0

    def frozen_for_s(self, image: Image, arrived_at_s: float) -> float:
        """Take note of a picture; return for how long it has been the same."""
        if self._last is None or not _same(self._last, image):
            self._since_s = arrived_at_s
        self._last = image
        return arrived_at_s - self._since_s


def _same(one: Image, other: Image) -> bool:
    if one.shape != other.shape or one.dtype != other.dtype:
        return False
    if not np.array_equal(one[::PROBE_STEP], other[::PROBE_STEP]):
        return False
    return bool(np.array_equal(one, other)) and int(one.min()) != int(one.max())
