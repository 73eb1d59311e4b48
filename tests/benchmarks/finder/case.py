"""One picture with its truth, whoever drew it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A picture to be graded.

    Attributes
    ----------
    frame
        Shape (H, W) or (H, W, 3) in BGR, 8 bits.
    centre_px
        (u, v) of the rim's centre; None where no bore should be found.
    radius_px
        Radius of the rim, px; of the round thing that is no bore where `centre_px` is None
        and there is one.
    kind
        The one thing that makes the picture what it is, a few words: rows of a table.
    conditions
        Everything else that was drawn by chance, a few words each.
    """

    frame: NDArray[np.uint8]
    centre_px: tuple[float, float] | None
    radius_px: float | None
    kind: str
    conditions: tuple[str, ...] = ()
