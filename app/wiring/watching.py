"""Two threads that look at one camera: one makes pictures to paint, one measures.

Neither waits for whoever takes what they made. They hand over frozen values through
one-slot mailboxes and say so through a `WatchListener`, without a payload, so that a
slow taker finds only the newest. A sighting is a burst of frames that all arrived
after it was asked for.
"""

from __future__ import annotations

import logging
import threading
import time
from dataclasses import dataclass
from typing import Protocol, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from app.job.interfaces import Camera, CameraHealth, CameraState, Frame
from app.job.live import Seen
from app.wiring.asks import CLOSED, Ask, Asks
from app.wiring.glance import BurstEnd, BurstFailed, BurstProgress, Glance, Shown
from app.wiring.slot import Slot
from app.wiring.taking import WAIT_S, BurstSettings, Near, next_frame, take_burst
from vision.bore import BoreFit, BoreRefusal, RadiusPrior, find_bore
from vision.coarse_focus import coarse_sharpness
from vision.exposure import exposure_of

log = logging.getLogger(__name__)

Image = NDArray[np.uint8] | NDArray[np.uint16]

FAULT_PAUSE_S = 0.25
"""Pause after a fault in the program, so that one in every frame does not take a core."""

BEFORE_ALL_S = -1e9
"""Thirty years before any clock began; finite, since the bench counts frames from it."""


class WatchListener(Protocol):
    """Who hears of what the threads found. Called from those threads; must not block."""

    def picture_ready(self) -> None:
        """There is a new picture; not called again until it was taken."""
        ...

    def glance_ready(self) -> None:
        """There is a new glance; not called again until it was taken."""
        ...

    def burst_told(self, progress: BurstProgress) -> None:
        """Hear that a sighting goes on; `taken` falls back to 0 where its frames begin anew."""
        ...

    def burst_ended(self, end: BurstEnd) -> None:
        """Hear that a sighting has ended: once for each number that `sight` gave out."""
        ...

    def health_changed(self, health: CameraHealth) -> None:
        """Hear that the camera's state or sentence is another; also once at the beginning."""
        ...

    def failed(self, error: Exception) -> None:
        """Hear of a fault in the program, which is in the log; the thread goes on."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchSettings:
    """How the threads look.

    Attributes
    ----------
    frames
        Frames a burst.
    settle_s
        On the camera's clock, from the request: the hand leaves the table, and frames
        that were under way have arrived.
    patience_s
        How long to wait for a frame of a burst, in real time; a lost camera may come back.
    restarts
        How often a burst may begin anew because the camera was opened anew.
    crop_radii
        Half side of a kept crop, in rim radii.
    join_s
        How long `close` waits for each thread.
    """

    frames: int = 12
    settle_s: float = 0.3
    patience_s: float = 10.0
    restarts: int = 5
    crop_radii: float = 2.2
    join_s: float = 3.0


DEFAULT_WATCH = WatchSettings()


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchTally:
    """How many pictures and glances were made, and how many of them nobody took in time."""

    pictures: int
    pictures_dropped: int
    glances: int
    glances_dropped: int


class Watching:
    """Looks at one camera from now on, until it is closed; closes the camera too.

    Any thread may call any method; only `close` blocks. The threads begin at once, so
    the listener may be called before this returns.

    Parameters
    ----------
    camera
        What is looked at.
    hears
        Who is told.
    settings
        How to look.
    """

    def __init__(
        self, camera: Camera, hears: WatchListener, settings: WatchSettings = DEFAULT_WATCH
    ) -> None:
        self._camera = camera
        self._hears = hears
        self._settings = settings
        self._stop = threading.Event()
        self._asks = Asks()
        self._pictures: Slot[Shown] = Slot()
        self._glances: Slot[Glance] = Slot()
        self._prior: RadiusPrior | None = None
        self._faults: dict[str, str] = {}
        self._threads = tuple(
            threading.Thread(target=target, name=f"{name} {camera.name}", daemon=True)
            for name, target in (("viewing", self._view), ("measuring", self._measure))
        )
        for thread in self._threads:
            thread.start()

    def picture(self) -> Shown | None:
        """Take the newest picture; None when it was taken already, or there is none."""
        return self._pictures.take()

    def glance(self) -> Glance | None:
        """Take the newest glance; None when it was taken already, or there is none."""
        return self._glances.take()

    def look_for(self, prior: RadiusPrior | None) -> None:
        """Say what is known of the radius; it counts from the next frame on."""
        self._prior = prior

    def sight(self) -> int:
        """Ask for a burst and return the request's number.

        No frame that arrived before now, plus the time to settle, enters it. A burst
        that is under way ends as failed.

        Raises
        ------
        ValueError
            After `close`.
        """
        return self._asks.ask(self._camera.now_s() + self._settings.settle_s)

    def stop_sighting(self) -> None:
        """Stop the burst that is under way, if there is one."""
        self._asks.stop()

    def health(self) -> CameraHealth:
        """Return how the camera is doing."""
        return self._camera.health()

    def tally(self) -> WatchTally:
        """Return what was made and what was dropped so far."""
        return WatchTally(
            pictures=self._pictures.put_count,
            pictures_dropped=self._pictures.dropped,
            glances=self._glances.put_count,
            glances_dropped=self._glances.dropped,
        )

    def close(self) -> None:
        """Stop both threads and close the camera; a second call does nothing.

        A burst under way ends as failed. After the return nobody is told anything
        more, unless a thread did not come back in time, which the log says.
        """
        self._stop.set()
        self._asks.close()
        # First, as it wakes those who wait for its next frame.
        self._camera.close()
        for thread in self._threads:
            if thread is threading.current_thread():
                continue
            thread.join(self._settings.join_s)
            if thread.is_alive():
                log.warning("the thread %s does not end; left behind", thread.name)

    # Viewing --------------------------------------------------------------------------

    def _view(self) -> None:
        after_s = BEFORE_ALL_S
        told: tuple[CameraState, str] | None = None
        while not self._stop.is_set():
            try:
                told = self._tell_health(told)
                frame = next_frame(self._camera, after_s, WAIT_S, self._stop.wait)
                if frame is not None:
                    # First, so that a frame that cannot be shown is not met again.
                    after_s = frame.arrived_at_s
                    self._show(frame)
                    self._faults.pop("viewing", None)
            except Exception as error:  # noqa: BLE001 - the top of a thread: logged and told
                self._note_fault("viewing", error)

    def _tell_health(self, told: tuple[CameraState, str] | None) -> tuple[CameraState, str] | None:
        health = self._camera.health()
        now = (health.state, health.sentence)
        if now != told and not self._stop.is_set():
            self._hears.health_changed(health)
        return now

    def _show(self, frame: Frame) -> None:
        is_news = self._pictures.put(Shown(frame=frame, bgra=bgra_of(frame.image)))
        if is_news and not self._stop.is_set():
            self._hears.picture_ready()

    # Measuring ------------------------------------------------------------------------

    def _measure(self) -> None:
        after_s = BEFORE_ALL_S
        near: Near | None = None
        while not self._stop.is_set():
            try:
                ask = self._asks.next()
                if ask is not None:
                    self._take(ask)
                    continue
                frame = next_frame(self._camera, after_s, WAIT_S, self._asks.pause)
                if frame is not None:
                    after_s = frame.arrived_at_s
                    near = self._glance_at(frame, near)
                    self._faults.pop("measuring", None)
            except Exception as error:  # noqa: BLE001 - the top of a thread: logged and told
                self._note_fault("measuring", error)
        while (ask := self._asks.next()) is not None:
            self._end(BurstFailed(ask=ask.number, sentence=CLOSED))

    def _glance_at(self, frame: Frame, near: Near | None) -> Near | None:
        """Measure one frame; return where the bore was seen, to look there first."""
        began_s = time.perf_counter()
        fit = self._find(frame, near)
        took_s = time.perf_counter() - began_s
        height, width = frame.image.shape[:2]
        glance = Glance(
            seen=Seen(
                frame_id=frame.frame_id,
                arrived_at_s=frame.arrived_at_s,
                camera_generation=frame.camera_generation,
                fit=fit,
            ),
            sharpness=coarse_sharpness(frame.image),
            exposure=exposure_of(frame.image),
            picture_size_px=(width, height),
            took_s=took_s,
        )
        if self._glances.put(glance) and not self._stop.is_set():
            self._hears.glance_ready()
        return Near.of(frame, fit)

    def _find(self, frame: Frame, near: Near | None) -> BoreFit | BoreRefusal:
        fits = near is not None and near.generation == frame.camera_generation
        return find_bore(
            frame.image, radius_prior=self._prior, near=near.fit if near and fits else None
        )

    def _take(self, ask: Ask) -> None:
        """Take one burst, to its end in any case."""
        try:
            end = take_burst(
                self._camera,
                self._asks,
                ask,
                find=self._find,
                tell=self._hears.burst_told,
                settings=BurstSettings(
                    frames=self._settings.frames,
                    patience_s=self._settings.patience_s,
                    restarts=self._settings.restarts,
                    crop_radii=self._settings.crop_radii,
                ),
            )
        except Exception as error:
            self._end(
                BurstFailed(
                    ask=ask.number,
                    sentence="The sighting was ended by a fault in the program "
                    f"({type(error).__name__}: {error}); nothing was recorded. Sight again.",
                )
            )
            raise
        self._end(end)

    def _end(self, end: BurstEnd) -> None:
        self._hears.burst_ended(end)

    # Both -----------------------------------------------------------------------------

    def _note_fault(self, thread: str, error: Exception) -> None:
        """Log and tell a fault, once while the very same goes on; then take breath."""
        words = f"{type(error).__name__}: {error}"
        if self._faults.get(thread) != words:
            self._faults[thread] = words
            log.error("the %s thread met a fault and goes on", thread, exc_info=error)
            try:
                self._hears.failed(error)
            except Exception:
                log.exception("nobody could be told of the fault")
        self._stop.wait(FAULT_PAUSE_S)


def bgra_of(image: Image) -> NDArray[np.uint8]:
    """Return a frame as it is painted: shape (H, W, 4), uint8, contiguous."""
    plane = cast("Image", np.ascontiguousarray(image))
    if plane.dtype == np.uint16:
        plane = cast("Image", cv2.convertScaleAbs(plane, alpha=1.0 / 257.0))
    code = cv2.COLOR_GRAY2BGRA if plane.ndim == 2 else cv2.COLOR_BGR2BGRA
    return np.asarray(cv2.cvtColor(plane, code), dtype=np.uint8)
