"""Pictures as PNG files beside the database, each checked by its SHA-256."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

import cv2
import numpy as np

from app.errors import RecordsError
from app.job.interfaces import Picture, PictureKind
from app.records import disk

PICTURES = "pictures"
INCOMING = "incoming"

_PNG_LEVEL = [cv2.IMWRITE_PNG_COMPRESSION, 1]
"""Level 1: on camera pictures higher levels take several times as long for little."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Encoded:
    """A picture as it will stand in its file."""

    picture: Picture
    png: bytes
    sha256: str

    def file(self, run_id: str, number: int) -> str:
        """Return the name of its file, relative to the folder of the records."""
        name = f"{number:04d}-{self.picture.frame_id}-{self.sha256[:16]}.png"
        return f"{PICTURES}/{run_id}/{name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What the database knows of a picture's file."""

    kind: PictureKind
    origin_px: tuple[int, int]
    frame_id: int
    file: str
    sha256: str


def encode(picture: Picture) -> Encoded:
    """Return a grey picture of 8 or 16 bits as PNG with its hash.

    Raises
    ------
    ValueError
        The image is not of shape (H, W), is empty, or is neither uint8 nor uint16.
    """
    image = picture.image
    if image.ndim != 2 or image.size == 0 or image.dtype not in (np.uint8, np.uint16):
        raise ValueError(
            "picture has to be grey (H, W) of uint8 or uint16, "
            f"not {image.dtype} of shape {image.shape}"
        )
    _, encoded = cv2.imencode(".png", np.ascontiguousarray(image), _PNG_LEVEL)
    png = encoded.tobytes()
    return Encoded(picture=picture, png=png, sha256=hashlib.sha256(png).hexdigest())


def write(folder: Path, run_id: str, number: int, pictures: Sequence[Encoded]) -> None:
    """Write pictures, through to the disk; on failure none of them stays.

    Parameters
    ----------
    folder
        The folder of the records.
    run_id, number
        The fact that they belong to; no row may refer to them yet.

    Raises
    ------
    OSError
        The disk is full, gone or read-only.
    """
    if not pictures:
        return
    home = folder / PICTURES / run_id
    is_new = not home.exists()
    home.mkdir(parents=True, exist_ok=True)
    try:
        for encoded in pictures:
            part = folder / INCOMING / f"{uuid4().hex}.part"
            try:
                disk.write_part(part, encoded.png)
                part.replace(folder / encoded.file(run_id, number))
            finally:
                part.unlink(missing_ok=True)
        disk.keep_names(home)
        if is_new:
            disk.keep_names(home.parent)
    except OSError:
        discard(folder, run_id, number, pictures)
        raise


def discard(folder: Path, run_id: str, number: int, pictures: Sequence[Encoded]) -> None:
    """Remove pictures whose fact was not recorded, as far as the disk lets us."""
    for encoded in pictures:
        try:
            (folder / encoded.file(run_id, number)).unlink(missing_ok=True)
        except OSError:
            continue  # a file that nothing refers to does no harm


def read(folder: Path, kept: Kept) -> Picture:
    """Return a picture as it was recorded, its image read-only.

    Raises
    ------
    RecordsError
        The file is missing, or not the one that was written.
    """
    path = folder / kept.file
    try:
        png = path.read_bytes()
    except FileNotFoundError as error:
        raise RecordsError(
            f"The picture {path} is missing; the numbers of its sighting still stand. Put the "
            "file back from a copy to see it again.",
            code="picture-missing",
            file=str(path),
        ) from error
    if hashlib.sha256(png).hexdigest() != kept.sha256:
        raise RecordsError(
            f"The picture {path} is not the one that was recorded (its SHA-256 differs); the "
            "numbers of its sighting still stand. Put the file back from a copy.",
            code="picture-altered",
            file=str(path),
        )
    decoded = cv2.imdecode(np.frombuffer(png, dtype=np.uint8), cv2.IMREAD_UNCHANGED)
    assert decoded is not None
    is_deep = decoded.dtype == np.uint16
    image = decoded.astype(np.uint16) if is_deep else decoded.astype(np.uint8)
    image.flags.writeable = False
    return Picture(image=image, kind=kept.kind, origin_px=kept.origin_px, frame_id=kept.frame_id)
