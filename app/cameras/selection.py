"""Choose a frame source by its name: the table of SOURCE on the command line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from app.cameras.feed import CameraFeed, FeedTiming
from app.cameras.folder import DEFAULT_FPS, FolderGrabber
from app.cameras.images import PICTURE_SUFFIXES
from app.cameras.network import NetworkGrabber
from app.cameras.source import Grabber
from app.cameras.usb import UsbGrabber
from app.cameras.usb_settings import UsbSettings
from app.cameras.video import VideoGrabber
from app.errors import InputError

SOURCE_FORMS = "usb:N, http://host:port/path, file:PATH (a video or a folder of pictures) or bench"


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceOptions:
    """How to open a source; each kind takes what concerns it.

    Attributes
    ----------
    usb
        What to ask of a USB camera.
    fps
        Pace of recorded pictures; None for the video's own, or 10 for a folder.
    loop
        Whether recorded pictures begin again after the last.
    on_demand
        Give recorded pictures one by one as they are asked for, dropping none.
    """

    usb: UsbSettings = field(default_factory=UsbSettings)
    fps: float | None = None
    loop: bool = False
    on_demand: bool = False


def make_grabber(source: str, options: SourceOptions | None = None) -> Grabber:
    """Return the source that a name stands for, not yet open.

    Raises
    ------
    InputError
        The name has none of the known forms, or its file or folder is no use.
    """
    if source == "bench":
        raise InputError(
            "The bench has no camera of its own: it is opened together with its machine.",
            code="camera-source",
            value=source,
        )
    prefix = source.partition(":")[0]
    make = SOURCES.get(prefix)
    if make is None or ":" not in source:
        raise InputError(
            f"{source!r} is no camera source; use {SOURCE_FORMS}.",
            code="camera-source",
            value=source,
        )
    return make(source, options or SourceOptions())


def open_camera(
    source: str,
    options: SourceOptions | None = None,
    *,
    wait_s: float = 20.0,
    timing: FeedTiming | None = None,
) -> CameraFeed:
    """Return a running camera.

    Parameters
    ----------
    source
        ``usb:N``, ``http://...``, ``https://...`` or ``file:PATH``. The bench is opened
        together with its machine, elsewhere.
    options
        How to open it.
    wait_s
        How long to wait for the first picture; some systems take many seconds to
        open a camera. With 0 the camera is returned at once, in whatever state it
        is, and its `health` tells how the opening goes.
    timing
        How patient to be later.

    Raises
    ------
    InputError
        The source cannot be one, or its file or folder is no use.
    CameraError
        The source could not be opened, or gave no picture in time. Nothing stays open.
    """
    options = options or SourceOptions()
    grabber = make_grabber(source, options)
    on_demand = options.on_demand and not grabber.traits.live
    feed = CameraFeed(grabber, timing=timing, on_demand=on_demand).start()
    if wait_s > 0:
        try:
            feed.wait_ready(wait_s)
        except BaseException:
            feed.close()
            raise
    return feed


def _usb(source: str, options: SourceOptions) -> Grabber:
    number = source.partition(":")[2]
    if not (number.isascii() and number.isdigit()):
        raise InputError(
            f"{source!r} names no camera; after usb: comes its number, as in usb:0.",
            code="camera-source",
            value=source,
        )
    return UsbGrabber(int(number), settings=options.usb)


def _network(source: str, options: SourceOptions) -> Grabber:
    return NetworkGrabber(source)


def _file(source: str, options: SourceOptions) -> Grabber:
    name = source.partition(":")[2]
    path = Path(name).expanduser()
    if not name or not path.exists():
        raise InputError(
            f"{name or 'The path after file:'} does not exist; name a video or a folder of "
            "pictures.",
            code="file-missing",
            file=name,
            value=source,
        )
    if path.is_dir() or path.suffix.lower() in PICTURE_SUFFIXES:
        return FolderGrabber(path, fps=options.fps or DEFAULT_FPS, loop=options.loop)
    return VideoGrabber(path, fps=options.fps, loop=options.loop)


SOURCES: Mapping[str, Callable[[str, SourceOptions], Grabber]] = MappingProxyType(
    {"usb": _usb, "http": _network, "https": _network, "file": _file}
)
"""What comes before the colon, and what it opens."""
