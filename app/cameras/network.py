"""A network stream as a source of frames.

Motion JPEG, which nearly all cameras and telephones speak, is read by our own reader
(`multipart` says why). What else comes over HTTP goes to OpenCV's FFmpeg.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from app.cameras.http_stream import (
    CONNECT_S,
    READ_S,
    MultipartStream,
    ask,
    checked_address,
    refuse_content,
    shown_address,
)
from app.cameras.opencv import Capture, cv2, open_capture
from app.cameras.source import Clock, Identical, NoImage, Shot, Traits
from app.errors import CameraError


class _Stream(Protocol):
    broken: int

    def grab(self, clock: Clock) -> Shot | NoImage: ...

    def close(self) -> None: ...


def _open_url(url: str) -> Capture:
    limits = [
        *(cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, round(CONNECT_S * 1000)),
        # Without it a silent stream blocks a read for 30 s.
        *(cv2.CAP_PROP_READ_TIMEOUT_MSEC, round(READ_S * 1000)),
    ]
    return open_capture(url, cv2.CAP_FFMPEG, limits)


class NetworkGrabber:
    """Gives the pictures of a stream over http or https.

    Parameters
    ----------
    url
        ``http://host:port/path``; a name and password may stand before the host.
    opener
        Opens a stream that is not motion JPEG; for tests.

    Raises
    ------
    InputError
        The address cannot be one.
    """

    def __init__(self, url: str, *, opener: Callable[[str], Capture] = _open_url) -> None:
        self._url = checked_address(url)
        self._name = shown_address(url)
        self._opener = opener
        self._stream: _Stream | None = None
        self._broken = 0

    @property
    def traits(self) -> Traits:
        """Return that it is live, and that a server may show a still picture."""
        return Traits(name=self._name, live=True, identical=Identical.DOUBTFUL)

    def open(self) -> None:
        """Ask the server. Raises `CameraError` if it is no use."""
        answer = ask(self._url)
        try:
            refuse_content(answer)
            if answer.content_type.lower().startswith("multipart/"):
                self._stream = MultipartStream(answer)
                return
        except CameraError:
            answer.close()
            raise
        answer.close()
        self._stream = self._decoded(answer.url)

    def grab(self, clock: Clock) -> Shot | NoImage:
        """Wait for the next picture. Raises `CameraError` when the stream is lost."""
        if self._stream is None:
            raise CameraError(f"{self._name} is not open.", code="camera-lost", value=self._name)
        return self._stream.grab(clock)

    def close(self) -> None:
        """Hang up."""
        if self._stream is not None:
            self._stream.close()
            self._broken += self._stream.broken
            self._stream = None

    def notes(self) -> tuple[str, ...]:
        """Return how many broken pictures were left out, if any."""
        stream = self._stream
        broken = self._broken + (stream.broken if stream else 0)
        return (f"{broken} broken pictures were left out.",) if broken else ()

    def _decoded(self, url: str) -> _Stream:
        capture = self._opener(url)
        if not capture.isOpened():
            capture.release()
            raise CameraError(
                f"{self._name} answers, but with no video that can be decoded; the address of a "
                "motion JPEG stream is needed.",
                code="camera-address",
                value=self._name,
            )
        return _DecodedStream(capture, self._name)


class _DecodedStream:
    """Pictures of a stream that OpenCV's FFmpeg decodes.

    It scales all pictures to the size of the first, so a change of size goes unseen here.
    """

    def __init__(self, capture: Capture, name: str) -> None:
        self._capture = capture
        self._name = name
        self.broken = 0

    def grab(self, clock: Clock) -> Shot | NoImage:
        if not self._capture.grab():
            # Any further read of a stream that has failed once fails too.
            raise CameraError(
                f"{self._name} sends no more pictures; it is being opened again.",
                code="camera-lost",
                value=self._name,
            )
        arrived_at_s = clock()
        decoded, image = self._capture.retrieve()
        if not decoded:
            self.broken += 1
            return NoImage.NOTHING
        return Shot(image=image, arrived_at_s=arrived_at_s)

    def close(self) -> None:
        self._capture.release()
