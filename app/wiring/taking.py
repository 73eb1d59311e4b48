"""Takes one burst: frames from after the request, one generation, one centre."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from app.job.interfaces import Camera, CameraState, Frame
from app.wiring.asks import Ask, Asks
from app.wiring.bursts import burst_of, moved_between
from app.wiring.glance import BurstEnd, BurstFailed, BurstProgress, BurstTaken
from vision.bore import BoreFit, BoreRefusal, combine_burst

WAIT_S = 0.2
"""How long to wait for a frame at a time: a stop is heard in between."""

IDLE_S = 0.05
"""A source that says at once that it has nothing is asked no oftener than this."""


_NEVER_AGAIN = (CameraState.ENDED, CameraState.CLOSED)
"""States that no patience helps."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """How the bore was seen last, and in which generation of the camera."""

    fit: BoreFit
    generation: int

    @classmethod
    def of(cls, frame: Frame, fit: BoreFit | BoreRefusal) -> Near | None:
        """Return how a frame's bore was seen; None when none was found."""
        if isinstance(fit, BoreRefusal):
            return None
        return cls(fit=fit, generation=frame.camera_generation)


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstSettings:
    """How a burst is taken; see `WatchSettings` for what each means."""

    frames: int
    patience_s: float
    restarts: int
    crop_radii: float


Find = Callable[[Frame, Near | None], BoreFit | BoreRefusal]


def next_frame(
    camera: Camera, after_s: float, timeout_s: float, pause: Callable[[float], object]
) -> Frame | None:
    """Return a frame that arrived after `after_s`, or None, never spinning.

    A source that has ended answers at once; the pause is what keeps its thread calm.
    """
    began_s = time.monotonic()
    frame = camera.next_frame(after_s=after_s, timeout_s=timeout_s)
    if frame is None:
        pause(max(0.0, IDLE_S - (time.monotonic() - began_s)))
    return frame


def take_burst(
    camera: Camera,
    asks: Asks,
    ask: Ask,
    *,
    find: Find,
    tell: Callable[[BurstProgress], None],
    settings: BurstSettings,
) -> BurstEnd:
    """Take the frames of one request, find the bore in each, and combine.

    The frames begin anew when the camera was opened anew or changed its size between
    two of them.
    """
    frames: list[Frame] = []
    fits: list[BoreFit | BoreRefusal] = []
    near: Near | None = None
    restarts = 0
    last_s = time.monotonic()
    tell(BurstProgress(ask=ask.number, taken=0, wanted=settings.frames))
    while len(frames) < settings.frames:
        if why := asks.unwanted(ask.number):
            return BurstFailed(ask=ask.number, sentence=why)
        after_s = frames[-1].arrived_at_s if frames else ask.after_s
        frame = next_frame(
            camera, after_s, WAIT_S, lambda seconds: asks.pause(seconds, during=ask.number)
        )
        if frame is None:
            is_late = time.monotonic() - last_s > settings.patience_s
            if is_late or camera.health().state in _NEVER_AGAIN:
                return BurstFailed(ask=ask.number, sentence=_no_frames(camera))
            continue
        last_s = time.monotonic()
        if frames and frame.camera_generation != frames[-1].camera_generation:
            restarts += 1
            if restarts > settings.restarts:
                return BurstFailed(ask=ask.number, sentence=_never_still(camera))
            frames, fits, near = [], [], None
        fit = find(frame, near)
        near = Near.of(frame, fit) or near
        frames.append(frame)
        fits.append(fit)
        tell(BurstProgress(ask=ask.number, taken=len(frames), wanted=settings.frames))
    combined = combine_burst(fits)
    return BurstTaken(
        ask=ask.number,
        burst=burst_of(frames, combined, settings.crop_radii),
        moved=moved_between(combined),
    )


def _no_frames(camera: Camera) -> str:
    health = camera.health()
    return (
        f"No picture came from the camera: {health.sentence or 'it gives no new frames.'} "
        "Nothing was recorded. Check the camera's plug or address, and sight again when the "
        "picture is back."
    )


def _never_still(camera: Camera) -> str:
    return (
        f"{camera.name} was lost and opened again several times during the sighting. Check its "
        "plug and cable, then sight again."
    )
