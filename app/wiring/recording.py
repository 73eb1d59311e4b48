"""Writes the facts of a run on a thread of its own, and gives back what follows from them.

A fact that the disk does not take is kept, with all that came after it, until somebody
says to try again: nothing is lost. Nothing is written twice either: before a fact is
tried again, the run is read, for a write can reach the disk and fail all the same.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from app.errors import RecordsError
from app.job.facts import Fact, Sighted
from app.job.interfaces import Picture
from app.job.run import Run, fold
from app.job.snapshot import Snapshot, snapshot_of
from app.records import Store
from vision.geometry import PointPx

log = logging.getLogger(__name__)

THUMBNAIL_PX = 96
THUMBNAIL_RADII = 2.0
"""Half side of a thumbnail, in rim radii: the rim and some of the land."""

E = TypeVar("E", bound=Exception)

Thumbnails = Mapping[int, NDArray[np.uint8]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recorded:
    """The run as it stands on disk.

    Attributes
    ----------
    snapshot
        The run and what follows from it.
    thumbnails
        Square grey pictures, (96, 96) uint8, by the entry number of their sighting.
    """

    snapshot: Snapshot
    thumbnails: Thumbnails


class RecordListener(Protocol):
    """Who hears of what was written. Called from the writing thread; must not block."""

    def recorded(self, recorded: Recorded) -> None:
        """Hear that a fact is on disk; once at the beginning, what was there."""
        ...

    def not_recorded(self, error: RecordsError) -> None:
        """Hear that a fact could not be written, or the run not be read; it waits for `retry`."""
        ...

    def failed(self, error: Exception) -> None:
        """Hear of a fault in the program, which is in the log."""
        ...


class Recorder:
    """The writer of one run; any thread may call, only `close` blocks.

    Parameters
    ----------
    store
        Where facts go.
    run_id
        The run, which is there already.
    hears
        Who is told.
    """

    def __init__(self, store: Store, run_id: str, hears: RecordListener) -> None:
        self._store = store
        self._run_id = run_id
        self._hears = hears
        self._changed = threading.Condition()
        self._queue: deque[tuple[Fact, tuple[Picture, ...]]] = deque()
        self._is_stuck = False
        self._is_closing = False
        self._must_read = True
        self._is_doubtful = False
        self._n_known = 0
        self._is_idle = False
        self._thumbnails: dict[int, NDArray[np.uint8]] = {}
        self._looked_for: set[int] = set()
        self._thread = threading.Thread(target=self._work, name="writing", daemon=True)

    def start(self) -> None:
        """Start the thread; it reads the run and reports it first."""
        self._thread.start()

    def add(self, fact: Fact, pictures: Sequence[Picture] = ()) -> None:
        """Have a fact written, its pictures first. Raises ValueError once closed."""
        with self._changed:
            if self._is_closing:
                raise ValueError("add was called on a recorder that is closed")
            self._queue.append((fact, tuple(pictures)))
            self._is_idle = False
            self._changed.notify_all()

    def retry(self) -> None:
        """Try again to write what could not be written."""
        with self._changed:
            self._is_stuck = False
            self._changed.notify_all()

    def is_idle(self) -> bool:
        """Say whether all that was added is on disk and was reported."""
        with self._changed:
            return self._is_idle

    def close(self, timeout_s: float = 10.0) -> None:
        """Write what is queued, if the disk takes it, and stop; a second call does nothing."""
        with self._changed:
            self._is_closing = True
            self._is_stuck = False
            self._changed.notify_all()
        if self._thread.ident is not None and self._thread is not threading.current_thread():
            self._thread.join(timeout_s)
            if self._thread.is_alive():
                log.warning("the disk does not answer; the thread that writes is left behind")

    # The thread -----------------------------------------------------------------------

    def _work(self) -> None:
        while self._wait():
            try:
                self._do_next()
            except RecordsError as error:
                if not self._wait_for_retry(error):
                    return
            except Exception as error:
                log.exception("the thread that writes met a fault and goes on")
                _tell(self._hears.failed, error)
                if not self._wait_for_retry(_fault(error)):
                    return

    def _wait(self) -> bool:
        """Wait for something to do; False when there is nothing more to come."""
        with self._changed:
            while True:
                has_work = (self._must_read or bool(self._queue)) and not self._is_stuck
                if has_work:
                    return True
                self._is_idle = not self._is_stuck
                if self._is_closing:
                    return False
                self._changed.wait()

    def _wait_for_retry(self, error: RecordsError) -> bool:
        """Do nothing more until somebody says so; False when nobody can any more."""
        log.warning("%s", error.message)
        with self._changed:
            if self._is_closing:
                if self._queue:
                    log.error("%d facts could not be written before the end", len(self._queue))
                return False
            self._is_stuck = True
        _tell(self._hears.not_recorded, error)
        return True

    def _do_next(self) -> None:
        if self._must_read:
            self._report()
            return
        fact, pictures = self._queue[0]
        number = self._written_after_all(fact) if self._is_doubtful else None
        if number is None:
            number = self._write(fact, pictures)
        with self._changed:
            self._queue.popleft()
            self._is_doubtful = False
            self._must_read = True
        if number is not None and isinstance(fact, Sighted):
            self._keep_thumbnail(number, fact, pictures)

    def _write(self, fact: Fact, pictures: Sequence[Picture]) -> int | None:
        """Write a fact and return its number; None for one that can be in no record."""
        self._is_doubtful = True
        try:
            return self._store.append(self._run_id, fact, pictures).number
        except (ValueError, TypeError) as error:
            # It would fail for ever, and hold up all after it. Nothing was written.
            log.exception("a fact cannot be recorded and is left out: %r", fact)
            _tell(self._hears.failed, error)
            return None

    def _written_after_all(self, fact: Fact) -> int | None:
        """Return the number under which a fact is on disk although its write failed."""
        new = self._store.entries(self._run_id)[self._n_known :]
        return next((entry.number for entry in new if entry.fact == fact), None)

    def _report(self) -> None:
        """Tell how the run stands; a fault in that holds up nothing."""
        entries = self._store.entries(self._run_id)
        self._n_known = len(entries)
        self._must_read = False
        try:
            run = fold(entries)
            self._fetch_thumbnails(run)
            snapshot = snapshot_of(run)
            thumbnails = MappingProxyType(dict(self._thumbnails))
            self._hears.recorded(Recorded(snapshot=snapshot, thumbnails=thumbnails))
        except Exception as error:
            log.exception("what was recorded could not be shown")
            _tell(self._hears.failed, error)

    def _fetch_thumbnails(self, run: Run) -> None:
        """Read the pictures of sightings from before this program was started, once."""
        for sighting in run.sightings:
            if sighting.number in self._looked_for:
                continue
            self._looked_for.add(sighting.number)
            try:
                pictures = self._store.pictures(self._run_id, sighting.number)
            except RecordsError as error:
                log.warning("%s", error.message)
                continue
            self._keep_thumbnail(sighting.number, sighting.seen, pictures)

    def _keep_thumbnail(self, number: int, seen: Sighted, pictures: Sequence[Picture]) -> None:
        """Keep a small picture of a sighting; one that cannot be made is done without."""
        self._looked_for.add(number)
        if not pictures:
            return
        try:
            self._thumbnails[number] = thumbnail_of(pictures[0], seen.centre_px, seen.radius_px)
        except Exception:
            log.exception("sighting %d has no thumbnail", number)


def _fault(error: Exception) -> RecordsError:
    return RecordsError(
        f"A fault in the program stopped the records ({type(error).__name__}); what was to be "
        "written is kept in memory: try again.",
        code="records-fault",
    )


def _tell(hear: Callable[[E], None], error: E) -> None:
    """Tell of an error; who cannot hear must not end the thread that holds unwritten facts."""
    try:
        hear(error)
    except Exception:
        log.exception("nobody could be told of %r", error)


def thumbnail_of(picture: Picture, centre_px: PointPx, radius_px: float) -> NDArray[np.uint8]:
    """Return a square round a bore, (96, 96) uint8, read-only; black beyond the picture."""
    image = picture.image
    grey = np.asarray(image if image.dtype == np.uint8 else image >> 8, dtype=np.uint8, order="C")
    step = 2.0 * THUMBNAIL_RADII * radius_px / THUMBNAIL_PX
    if step > 1.0:
        # As wide as the pixels to come, or noise and fine texture would flicker through.
        grey = np.asarray(cv2.blur(grey, (round(step), round(step))), dtype=np.uint8)
    u = centre_px.u - picture.origin_px[0]
    v = centre_px.v - picture.origin_px[1]
    middle = (THUMBNAIL_PX - 1) / 2.0
    to_picture = np.array([[step, 0.0, u - middle * step], [0.0, step, v - middle * step]])
    made = cv2.warpAffine(
        grey,
        to_picture,
        (THUMBNAIL_PX, THUMBNAIL_PX),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
    )
    small = np.asarray(made, dtype=np.uint8)
    small.flags.writeable = False
    return small
