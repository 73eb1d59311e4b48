"""A camera for the rest of the program: one source, one thread, one slot.

The thread opens the source, drains it, and opens it again when it fails. Everything
that other threads see of it is a frame in the mailbox or a frozen `_Status`, replaced
as a whole.
"""

from __future__ import annotations

import logging
import math
import threading
import time
from dataclasses import dataclass, replace
from types import TracebackType
from typing import Self

from app.cameras.freeze import FreezeWatch
from app.cameras.mailbox import Mailbox
from app.cameras.source import Clock, Grabber, Identical, NoImage, Shot
from app.errors import CameraError, InputError, TipwrightError
from app.job.interfaces import CameraHealth, CameraState, Frame

log = logging.getLogger(__name__)

IDLE_S = 0.01
"""Pause after a grab that brought nothing, so that a source that says so at once
does not take a core."""

WANTED_POLL_S = 1.0
"""How often the thread of an on-demand source looks whether it should stop; it is
woken anyway."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedTiming:
    """How patient a feed is.

    Attributes
    ----------
    stall_s
        A live source without a new frame for so long is stalled.
    first_retry_s, longest_retry_s
        Pause before opening a lost source again; doubled at each failure in a row.
    join_s
        How long `close` waits for the thread; a driver that hangs is left behind.
    """

    stall_s: float = 2.0
    first_retry_s: float = 0.25
    longest_retry_s: float = 4.0
    join_s: float = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Status:
    state: CameraState
    sentence: str = ""
    since_s: float = 0.0
    """When the source was opened, from which a first frame is waited for."""
    is_open: bool = False
    failures: int = 0
    """Failures in a row, since the last frame."""
    error: TipwrightError | None = None


class CameraFeed:
    """A `Camera` on any `Grabber`.

    Parameters
    ----------
    grabber
        The source; from now on only the feed's thread calls it, but for `notes`.
    clock
        Seconds that only grow. The default has a fine step on every system, which
        `time.monotonic` has not.
    timing
        How patient to be.
    on_demand
        Take a picture only when `next_frame` asks for one that is not there; for
        recorded sources, of which no picture shall be dropped.
    """

    def __init__(
        self,
        grabber: Grabber,
        *,
        clock: Clock = time.perf_counter,
        timing: FeedTiming | None = None,
        on_demand: bool = False,
    ) -> None:
        self._grabber = grabber
        self._clock = clock
        self._timing = timing or FeedTiming()
        self._on_demand = on_demand
        self._box = Mailbox()
        self._stop = threading.Event()
        self._settled = threading.Event()
        self.name = grabber.traits.name
        self._status = _Status(
            state=CameraState.OPENING, sentence=f"{self.name} is being opened.", since_s=clock()
        )
        self._generation = 0
        self._frame_id = 0
        self._frozen_reopened = False
        self._freeze = FreezeWatch()
        self._thread = threading.Thread(target=self._run, name=f"camera {self.name}", daemon=True)

    def start(self) -> Self:
        """Start the thread; once."""
        self._thread.start()
        return self

    def __enter__(self) -> Self:
        """Return the feed."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        failure: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the feed."""
        self.close()

    def now_s(self) -> float:
        """Return the present time on the clock of `Frame.arrived_at_s`."""
        return self._clock()

    def next_frame(self, *, after_s: float, timeout_s: float) -> Frame | None:
        """Return the newest frame that arrived after `after_s`, waiting up to `timeout_s`.

        None when there was none, and at once when there will be none. After the end of
        a recorded source its last frame can still be had.
        """
        return self._box.take(after_s=after_s, timeout_s=timeout_s)

    def health(self) -> CameraHealth:
        """Return how the source is doing, without blocking."""
        # A thread that was left behind in its driver must not bring a closed feed to life.
        status = self._closed() if self._stop.is_set() else self._status
        newest = self._box.newest
        now_s = self._clock()
        state, sentence = status.state, status.sentence
        if status.is_open and self._is_late(status, newest, now_s):
            # Asked here too, as the thread may be blocked in its driver.
            state, sentence = CameraState.STALLED, self._stall_sentence()
        return CameraHealth(
            state=state,
            sentence=sentence,
            frame_age_s=math.inf if newest is None else max(0.0, now_s - newest.arrived_at_s),
            dropped=self._box.dropped,
        )

    def notes(self) -> tuple[str, ...]:
        """Return what the source has to tell: asked against got, files skipped."""
        return self._grabber.notes()

    def wait_ready(self, timeout_s: float) -> None:
        """Wait for the first frame (on demand: until the source is open).

        Raises
        ------
        CameraError, InputError
            What went wrong first, or that nothing happened within `timeout_s`. The feed
            goes on trying; close it if that is not wanted.
        """
        if not self._settled.wait(timeout_s):
            raise CameraError(
                f"{self.name} has given no picture within {timeout_s:g} s; check its plug or "
                "address, and that no other program uses it.",
                code="camera-silent",
                value=self.name,
            )
        error = self._status.error
        if error is not None:
            raise error

    def close(self) -> None:
        """Stop the thread, which releases the source; a second call does nothing."""
        self._stop.set()
        self._box.shut()
        if self._thread.ident is not None and self._thread is not threading.current_thread():
            self._thread.join(self._timing.join_s)
            if self._thread.is_alive():
                log.warning("%s does not let go of its driver; left behind", self.name)
        self._settled.set()

    def _closed(self) -> _Status:
        return _Status(state=CameraState.CLOSED, sentence=f"{self.name} is closed.")

    # The thread -----------------------------------------------------------------------

    def _run(self) -> None:
        try:
            while not self._stop.is_set() and self._serve_once():
                pass
        except Exception as failure:
            log.exception("the thread of %s stopped", self.name)
            self._end_with(
                CameraError(
                    f"{self.name} stopped through a fault in the program "
                    f"({type(failure).__name__}: {failure}); open the camera again.",
                    code="camera-fault",
                    value=self.name,
                )
            )

    def _serve_once(self) -> bool:
        """Open, drain and close the source once; say whether to do so again."""
        try:
            try:
                self._open()
                self._drain()
            finally:
                self._grabber.close()
        except CameraError as failure:
            if not self._grabber.traits.live:
                self._end_with(failure)
                return False
            self._pause_after(failure)
            return True
        except InputError as failure:
            self._end_with(failure)
            return False
        return False

    def _open(self) -> None:
        self._grabber.open()
        self._generation += 1
        self._freeze = FreezeWatch() if not self._frozen_reopened else self._freeze
        self.name = self._grabber.traits.name
        self._status = replace(self._status, since_s=self._clock(), is_open=True)
        log.info("%s is open", self.name)
        if self._on_demand:
            self._status = replace(self._status, state=CameraState.LIVE, sentence="")
            self._settled.set()

    def _drain(self) -> None:
        while not self._stop.is_set():
            if self._on_demand and not self._box.wait_wanted(WANTED_POLL_S):
                continue
            shot = self._grabber.grab(self._clock)
            if shot is NoImage.END:
                self._end_with(None)
                return
            if isinstance(shot, NoImage):
                self._check_stall()
                self._stop.wait(IDLE_S)
                continue
            self._deliver(shot)
            if shot.hold_s and not self._on_demand:
                self._stop.wait(max(0.0, shot.arrived_at_s + shot.hold_s - self._clock()))

    def _deliver(self, shot: Shot) -> None:
        newest = self._box.newest
        if newest is not None and newest.image.shape[:2] != shot.image.shape[:2]:
            # The first frame after a reopening has a new generation already.
            self._generation += newest.camera_generation == self._generation
        sentence = self._freeze_sentence(shot)
        shot.image.flags.writeable = False
        self._frame_id += 1 + shot.skipped
        frame = Frame(
            image=shot.image,
            frame_id=self._frame_id,
            arrived_at_s=shot.arrived_at_s,
            camera_generation=self._generation,
        )
        self._status = _Status(
            state=CameraState.LIVE,
            sentence=sentence,
            since_s=self._status.since_s,
            is_open=True,
        )
        self._box.put(frame, skipped=shot.skipped)
        self._settled.set()

    # What is wrong ----------------------------------------------------------------------

    def _is_late(self, status: _Status, newest: Frame | None, now_s: float) -> bool:
        if not self._grabber.traits.live:
            return False
        last_s = status.since_s if newest is None else max(status.since_s, newest.arrived_at_s)
        return now_s - last_s >= self._timing.stall_s

    def _check_stall(self) -> None:
        if self._is_late(self._status, self._box.newest, self._clock()):
            raise CameraError(self._stall_sentence(), code="camera-stalled", value=self.name)

    def _stall_sentence(self) -> str:
        return (
            f"{self.name} has sent no new picture for {self._timing.stall_s:g} s; "
            "it is being opened again. Check its plug or address."
        )

    def _freeze_sentence(self, shot: Shot) -> str:
        """Return a doubt about a picture that does not change; raise if it is a fault."""
        identical = self._grabber.traits.identical
        if identical is Identical.USUAL:
            return ""
        frozen_s = self._freeze.frozen_for_s(shot.image, shot.arrived_at_s)
        if frozen_s == 0.0:
            self._frozen_reopened = False
        if frozen_s < self._timing.stall_s:
            return ""
        if identical is Identical.FAULT and not self._frozen_reopened:
            # Once only: what is the same even after that is a still picture, not a fault.
            self._frozen_reopened = True
            raise CameraError(
                f"The picture of {self.name} has stood still for {self._timing.stall_s:g} s, "
                "without even noise; the camera is being opened again.",
                code="camera-frozen",
                value=self.name,
            )
        return (
            f"The picture of {self.name} stands still, without even noise: it may be old. "
            "Move something in view; if nothing moves in the picture, start the camera again."
        )

    def _pause_after(self, failure: CameraError) -> None:
        failures = self._status.failures + 1
        if failures == 1:
            log.warning("%s", failure.message)
        self._status = _Status(
            state=CameraState.STALLED,
            sentence=failure.message,
            failures=failures,
            error=failure,
            since_s=self._clock(),
        )
        self._settled.set()
        pause_s = self._timing.first_retry_s * 2.0 ** min(failures - 1, 16)
        self._stop.wait(min(pause_s, self._timing.longest_retry_s))

    def _end_with(self, failure: TipwrightError | None) -> None:
        last = f"{self.name} has come to its end; the last picture stays."
        self._status = _Status(
            state=CameraState.ENDED,
            sentence=failure.message if failure else last,
            error=failure,
        )
        if failure is not None:
            log.warning("%s", failure.message)
        self._box.end()
        self._settled.set()
