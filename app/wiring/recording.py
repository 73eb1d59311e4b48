"""Writes the facts of a run on a thread of its own, and gives back what follows from them.

A fact that the disk does not take is kept, with all that came after it, until somebody
says to try again: nothing is lost, and nothing is written twice, since a failed
`append` has written nothing.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol

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
        """Hear of a fault in the program; the fact that met it is in the log."""
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
        self._is_idle = False
        self._thumbnails: dict[int, NDArray[np.uint8]] = {}
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
                log.warning("%s", error.message)
                with self._changed:
                    if self._is_closing:
                        return
                    self._is_stuck = True
                self._hears.not_recorded(error)
            except Exception as error:
                log.exception("a fact could not be recorded")
                with self._changed:
                    # The same fact would fail for ever, and hold up all after it.
                    self._must_read = False
                    if self._queue:
                        self._queue.popleft()
                self._hears.failed(error)

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

    def _do_next(self) -> None:
        if self._must_read:
            self._report()
            self._must_read = False
            return
        fact, pictures = self._queue[0]
        entry = self._store.append(self._run_id, fact, pictures)
        with self._changed:
            self._queue.popleft()
            self._must_read = True
        if isinstance(fact, Sighted):
            self._keep_thumbnail(entry.number, fact, pictures)

    def _report(self) -> None:
        run = fold(self._store.entries(self._run_id))
        self._fetch_thumbnails(run)
        snapshot = snapshot_of(run)
        thumbnails = MappingProxyType(dict(self._thumbnails))
        self._hears.recorded(Recorded(snapshot=snapshot, thumbnails=thumbnails))

    def _fetch_thumbnails(self, run: Run) -> None:
        """Read the pictures of sightings from before this program was started."""
        for sighting in run.sightings:
            if sighting.number in self._thumbnails:
                continue
            try:
                pictures = self._store.pictures(self._run_id, sighting.number)
            except RecordsError as error:
                log.warning("%s", error.message)
                pictures = ()
            self._keep_thumbnail(sighting.number, sighting.seen, pictures)

    def _keep_thumbnail(self, number: int, seen: Sighted, pictures: Sequence[Picture]) -> None:
        if pictures:
            self._thumbnails[number] = thumbnail_of(pictures[0], seen.centre_px, seen.radius_px)


def thumbnail_of(picture: Picture, centre_px: PointPx, radius_px: float) -> NDArray[np.uint8]:
    """Return a square round a bore, (96, 96) uint8, read-only; black beyond the picture."""
    image = picture.image
    grey = image if image.dtype == np.uint8 else (image >> 8).astype(np.uint8)
    step = 2.0 * THUMBNAIL_RADII * radius_px / THUMBNAIL_PX
    u = centre_px.u - picture.origin_px[0]
    v = centre_px.v - picture.origin_px[1]
    middle = (THUMBNAIL_PX - 1) / 2.0
    to_picture = np.array([[step, 0.0, u - middle * step], [0.0, step, v - middle * step]])
    made = cv2.warpAffine(
        np.ascontiguousarray(grey),
        to_picture,
        (THUMBNAIL_PX, THUMBNAIL_PX),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
    )
    small = np.asarray(made, dtype=np.uint8)
    small.flags.writeable = False
    return small
