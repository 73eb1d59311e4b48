"""Facts, pictures and clocks that the tests of the records share."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import count

import numpy as np

from app.dialects.values import Layout, NozzleVectorMm, OffsetMm
from app.job import facts
from app.job.interfaces import Picture, PictureKind
from app.job.profile import Profile, Tool
from vision.geometry import CovMm2, CovPx2, PointPx

HERON = Profile(
    name="Heron",
    layout=Layout.INDEPENDENT_CARRIAGES,
    dialect="marlin",
    tools=(
        Tool(number=0),
        Tool(number=1, stored_raw=OffsetMm(0.1, -0.25, 1 / 3), nominal_mm=(0.2, -0.1)),
    ),
    reversal_um=12.5,
    travel_mm=((0.0, 300.0), (-5.0, 280.0), (0.0, 250.0)),
)

CENTRE = PointPx(640.25, 480.125)

EXPORTED = facts.Exported(
    tools=(
        facts.ExportedTool(
            tool=1,
            nozzle_vector_mm=NozzleVectorMm(0.342, -0.118),
            covariance_mm2=CovMm2(9e-6, 1e-7, 8e-6),
            expanded_uncertainty_mm=(0.006, 0.0057, None),
            new_stored=OffsetMm(-0.342, 0.118, 0.0),
        ),
    ),
    settings_text="M218 T1 X-0.342 Y0.118\n",
    moves_text="",
    warnings=("Closure of 31 µm: sight T0 again.",),
    algorithm="offsets 1",
)


def a_start(profile: Profile = HERON, *, simulated: bool = False) -> facts.RunStarted:
    return facts.RunStarted(
        profile=profile,
        camera="usb:0",
        mode=facts.PositionMode.SHOWN,
        simulated=simulated,
        program_version="0.1.0",
    )


def a_sighting(centre: PointPx = CENTRE, tool: int = 1) -> facts.Sighted:
    return facts.Sighted(
        purpose=facts.Purpose.TOOL,
        tool=tool,
        position=facts.Position(150.34, 99.88),
        in_display_mm=OffsetMm(),
        approach=facts.Approach(1, -1),
        centre_px=centre,
        temporal_cov_px2=CovPx2(0.01, 0.0, 0.01),
        static_cov_px2=CovPx2(0.02, 0.001, 0.02),
        radius_px=80.0,
        blur_px=1.5,
        frame_centres_px=(centre, None),
        picture_size_px=(1280, 960),
        camera_generation=1,
        algorithm="rim 1",
    )


def a_picture(seed: int = 0, frame_id: int = 7, *, deep: bool = False) -> Picture:
    """A picture of noise, which shrinks little as PNG, of 8 or 16 bits."""
    rng = np.random.default_rng(seed)
    if deep:
        image = rng.integers(0, 65536, size=(48, 64), dtype=np.uint16)
        return Picture(image=image, kind=PictureKind.FULL, origin_px=(0, 0), frame_id=frame_id)
    crop = rng.integers(0, 256, size=(48, 64), dtype=np.uint8)
    return Picture(image=crop, kind=PictureKind.CROP, origin_px=(608, 456), frame_id=frame_id)


def same_picture(one: Picture, other: Picture) -> bool:
    same_rest = (one.kind, one.origin_px, one.frame_id) == (
        other.kind,
        other.origin_px,
        other.frame_id,
    )
    same_type = one.image.dtype == other.image.dtype
    return same_rest and same_type and np.array_equal(one.image, other.image)


def ticking(start: datetime = datetime(2026, 11, 25, 11, 30, tzinfo=UTC)) -> Callable[[], datetime]:
    """A clock that is a second later at each look."""
    seconds = count()
    return lambda: start + timedelta(seconds=next(seconds))


def drawing(*texts: str) -> Callable[[], str]:
    """Draws these texts in turn."""
    rest: Iterator[str] = iter(texts)
    return lambda: next(rest)
