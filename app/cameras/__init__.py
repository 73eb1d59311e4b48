"""Frame sources behind one protocol."""

from app.cameras.devices import ListedCamera, list_cameras
from app.cameras.feed import CameraFeed, FeedTiming
from app.cameras.images import read_image
from app.cameras.selection import SOURCE_FORMS, SourceOptions, make_grabber, open_camera
from app.cameras.source import Clock, Grabber, Identical, Image, NoImage, Shot, Traits
from app.cameras.usb_settings import UsbSettings

__all__ = [
    "SOURCE_FORMS",
    "CameraFeed",
    "Clock",
    "FeedTiming",
    "Grabber",
    "Identical",
    "Image",
    "ListedCamera",
    "NoImage",
    "Shot",
    "SourceOptions",
    "Traits",
    "UsbSettings",
    "list_cameras",
    "make_grabber",
    "open_camera",
    "read_image",
]
