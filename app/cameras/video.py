"""A video file as a source of frames."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

from app.cameras.opencv import Capture, cv2, open_capture
from app.cameras.source import Clock, Identical, NoImage, Shot, Traits
from app.errors import InputError

USUAL_FPS = 25.0
"""Pace of a file that does not tell its own, or tells nonsense."""

HIGHEST_FPS = 1000.0


def _open_file(path: Path) -> Capture:
    return open_capture(str(path), cv2.CAP_FFMPEG)


class VideoGrabber:
    """Gives the pictures of a video file at its own pace or another.

    Most video files have lost detail to compression; for measuring, a folder of PNG
    files or a lossless video is better.

    Parameters
    ----------
    path
        The file.
    fps
        Pictures a second; None for the file's own pace.
    loop
        Begin again after the last picture, for ever.
    opener
        Opens the file; for tests.
    """

    def __init__(
        self,
        path: Path,
        *,
        fps: float | None = None,
        loop: bool = False,
        opener: Callable[[Path], Capture] = _open_file,
    ) -> None:
        if fps is not None and not fps > 0:
            raise ValueError(f"fps must be above zero, got {fps}")
        self._path = path
        self._fps = fps
        self._loop = loop
        self._opener = opener
        self._capture: Capture | None = None
        self._hold_s = 0.0
        self._given = 0

    @property
    def traits(self) -> Traits:
        """Return that it is recorded."""
        return Traits(name=self._path.name, live=False, identical=Identical.USUAL)

    def open(self) -> None:
        """Open the file at its first picture. Raises `InputError` if it is no video."""
        self._begin()

    def grab(self, clock: Clock) -> Shot | NoImage:
        """Decode the next picture."""
        shot = self._decode(clock)
        if shot is None and self._loop and self._given:
            self._begin()
            shot = self._decode(clock)
        if shot is not None:
            return shot
        if not self._given:
            raise self._no_video()
        return NoImage.END

    def close(self) -> None:
        """Close the file."""
        if self._capture is not None:
            self._capture.release()
            self._capture = None

    def notes(self) -> tuple[str, ...]:
        """Return nothing: a video is played as it is."""
        return ()

    def _begin(self) -> None:
        self.close()
        self._given = 0
        capture = self._opener(self._path)
        if not capture.isOpened():
            capture.release()
            raise self._no_video()
        self._capture = capture
        self._hold_s = 1.0 / (self._fps or _pace_of(capture))

    def _decode(self, clock: Clock) -> Shot | None:
        if self._capture is None or not self._capture.grab():
            return None
        arrived_at_s = clock()
        decoded, image = self._capture.retrieve()
        if not decoded:
            return None
        self._given += 1
        return Shot(image=image, arrived_at_s=arrived_at_s, hold_s=self._hold_s)

    def _no_video(self) -> InputError:
        return InputError(
            f"{self._path} is neither a picture nor a video that can be decoded; use a folder of "
            "PNG, JPEG, TIFF or BMP files, or a video with a common codec (MJPG, H.264, FFV1).",
            code="not-a-video",
            file=str(self._path),
        )


def _pace_of(capture: Capture) -> float:
    fps = capture.get(cv2.CAP_PROP_FPS)
    return fps if math.isfinite(fps) and 0.0 < fps <= HIGHEST_FPS else USUAL_FPS
