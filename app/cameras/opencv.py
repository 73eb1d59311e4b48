"""OpenCV's video functions, imported with the environment that they need.

The rest of this room takes `cv2` from here. Two things happen round the import:
variables that OpenCV reads when its video code is first used are set, unless the
user has set them; and the two variables of Qt that the OpenCV wheel sets for a Qt 5
of its own are put back, so that programs started by us do not inherit them.
"""

from __future__ import annotations

import os
from collections.abc import MutableMapping, Sequence
from pathlib import Path
from typing import Any, Protocol

VIDEO_ENVIRONMENT = {
    # Opening through Media Foundation takes 4 to 20 s with hardware transforms on.
    "OPENCV_VIDEOIO_MSMF_ENABLE_HW_TRANSFORMS": "0",
    # A silent V4L2 camera would block a read for 10 s.
    "OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT": "2",
    # OpenCV can ask for permission only from the main thread. macOS asks by itself when a
    # camera is first used (from memory, not tried).
    "OPENCV_AVFOUNDATION_SKIP_AUTH": "1",
    # A broken stream is told in our own sentences, not as lines of a decoder.
    "OPENCV_FFMPEG_LOGLEVEL": "-8",
    "OPENCV_LOG_LEVEL": "SILENT",
}
"""What OpenCV is told before its first import."""

QT_VARIABLES = ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_QPA_FONTDIR")
"""What the OpenCV wheel sets on Linux when it is imported."""


def set_video_environment(environment: MutableMapping[str, str]) -> None:
    """Add the variables of `VIDEO_ENVIRONMENT` that the user has not set."""
    for name, value in VIDEO_ENVIRONMENT.items():
        environment.setdefault(name, value)


def restore_qt_variables(
    environment: MutableMapping[str, str], before: MutableMapping[str, str], folder: Path
) -> None:
    """Undo what the import did to the variables of Qt.

    Parameters
    ----------
    environment
        Changed in place.
    before
        The variables as they were before the import.
    folder
        Where OpenCV is installed: values that point into it are never kept.
    """
    for name in QT_VARIABLES:
        if not environment.get(name, "").startswith(str(folder)):
            continue
        del environment[name]
        kept = before.get(name, "")
        if kept and not kept.startswith(str(folder)):
            environment[name] = kept


set_video_environment(os.environ)
_before = dict(os.environ)

import cv2  # noqa: E402 - the environment comes first, that is what this module is for

restore_qt_variables(os.environ, _before, Path(cv2.__file__).parent)


class Capture(Protocol):
    """The part of `cv2.VideoCapture` that is used here; fakes in tests have it too."""

    def isOpened(self) -> bool:
        """Return whether the source was opened; stays true after unplugging."""
        ...

    def grab(self) -> bool:
        """Wait for the next picture; false when there was none."""
        ...

    def retrieve(self) -> tuple[bool, Any]:
        """Decode the picture of the last `grab`."""
        ...

    def set(self, propId: int, value: float, /) -> bool:
        """Ask for a property; true is no proof that it was taken."""
        ...

    def get(self, propId: int, /) -> float:
        """Return what the driver says of a property."""
        ...

    def release(self) -> None:
        """Let go of the source."""
        ...


def open_capture(source: str | int, backend: int, parameters: Sequence[int] = ()) -> Capture:
    """Open a source of video with a named backend."""
    if isinstance(source, int):
        return cv2.VideoCapture(source, backend, list(parameters))
    return cv2.VideoCapture(source, backend, list(parameters))


__all__ = [
    "QT_VARIABLES",
    "VIDEO_ENVIRONMENT",
    "Capture",
    "cv2",
    "open_capture",
    "restore_qt_variables",
    "set_video_environment",
]
