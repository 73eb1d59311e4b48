"""One picture of each camera, taken beside the window: no Qt in here."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.cameras import open_camera
from app.errors import TipwrightError

log = logging.getLogger(__name__)

OPEN_S = 6.0
"""How long one camera may take to show its first picture."""

SETTLE_S = 0.4
"""The first pictures of many cameras are dark: automatic exposure is still at work."""

JOIN_S = 8.0

Image = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Glimpse:
    """What came of looking through a camera.

    Attributes
    ----------
    source
        Of the camera.
    image
        Grey or BGR; None when there was none.
    sentence
        Why there was none; empty when there was.
    """

    source: str
    image: Image | None = None
    sentence: str = ""


def one_picture(source: str) -> Image:
    """Open a camera, take one picture and close it again.

    Raises
    ------
    CameraError, InputError
        In words for people.
    """
    with open_camera(source, wait_s=OPEN_S) as camera:
        first = camera.next_frame(after_s=-np.inf, timeout_s=0.0)
        settled = camera.next_frame(after_s=camera.now_s() + SETTLE_S, timeout_s=2.0 * SETTLE_S)
        frame = settled or first
        if frame is None:
            # `open_camera` has waited for a picture, so there was one.
            raise AssertionError("a camera that is ready has no picture")
        return frame.image


class PictureTaker:
    """Looks through cameras one after the other, on a thread of its own.

    Parameters
    ----------
    listener
        Called from that thread with a `Glimpse` of each source, and with None at the end.
    look
        Takes a picture, as `one_picture`.
    """

    def __init__(
        self,
        listener: Callable[[Glimpse | None], None],
        look: Callable[[str], Image] = one_picture,
    ) -> None:
        self._listener = listener
        self._look = look
        self._stop = threading.Event()
        self._busy = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def is_busy(self) -> bool:
        """Whether a camera may be open."""
        return self._busy.is_set()

    def take(self, sources: Sequence[str]) -> bool:
        """Begin; False while it is under way already."""
        if self.is_busy or self._stop.is_set():
            return False
        self._busy.set()
        self._thread = threading.Thread(
            target=self._run, args=(tuple(sources),), name="camera pictures", daemon=True
        )
        self._thread.start()
        return True

    def close(self) -> None:
        """Leave the rest out and wait for the camera that is open; a second call does nothing."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(JOIN_S)

    def _run(self, sources: tuple[str, ...]) -> None:
        for source in sources:
            if self._stop.is_set():
                return
            glimpse = self._glimpse(source)
            if not self._stop.is_set():
                self._listener(glimpse)
        self._busy.clear()
        if not self._stop.is_set():
            self._listener(None)

    def _glimpse(self, source: str) -> Glimpse:
        try:
            return Glimpse(source=source, image=self._look(source))
        except TipwrightError as error:
            return Glimpse(source=source, sentence=error.message)
        except Exception as error:
            log.exception("no picture of %s", source)
            sentence = f"It gave no picture ({type(error).__name__}); choose it and try."
            return Glimpse(source=source, sentence=sentence)
