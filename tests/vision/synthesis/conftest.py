"""Tips and light without anything that could pull a centre aside."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.geometry import PointPx
from vision.synthesis import Fill, Lamp, Light, Optics, Tip, TipTexture, prepare_tip, render

EVEN_LIGHT = Light(lamps=(Lamp(angle_rad=0.0, strength=0.0),), ambient=1.5, glint_sharpness=0.0)
PLAIN_TIP = Tip(
    turning_marks=0.0,
    grain=0.0,
    scratches=0,
    stains=0.0,
    edge_break_mm=0.0,
    eccentricity_mm=(0.0, 0.0),
    # Evenly dark up to the rim: the light on a bare wall would soften the step.
    bore_fill=Fill(albedo=(0.02, 0.02, 0.02), gloss=0.0),
)
PLAIN_OPTICS = Optics(vignetting=0.0)
UM_PER_PX = 6.0
SCALE = 1000.0 / UM_PER_PX

Grey = NDArray[np.float64]
Shot = Callable[..., NDArray[np.float32]]


@pytest.fixture(scope="session")
def plain_texture() -> TipTexture:
    return prepare_tip(PLAIN_TIP, um_per_px=UM_PER_PX)


@pytest.fixture(scope="session")
def used_texture() -> TipTexture:
    return prepare_tip(Tip(), um_per_px=UM_PER_PX)


@pytest.fixture
def shot(plain_texture: TipTexture) -> Shot:
    """Return a picture of the plain tip; every argument of `render` may be given."""

    def take(texture: TipTexture = plain_texture, **changes: object) -> NDArray[np.float32]:
        given: dict[str, object] = {
            "size_px": (200, 180),
            "centre_px": PointPx(99.5, 89.5),
            "matrix_px_per_mm": SCALE * np.eye(2),
            "defocus_mm": 0.0,
            "light": EVEN_LIGHT,
            "optics": PLAIN_OPTICS,
        }
        return render(texture, **(given | changes))  # type: ignore[arg-type]  # names checked there

    return take
