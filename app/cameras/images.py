"""Read single picture files, and say in one sentence why one cannot be used."""

from __future__ import annotations

from pathlib import Path
from typing import NoReturn, cast

import numpy as np

from app.cameras.opencv import cv2
from app.cameras.source import Image
from app.errors import InputError

PICTURE_SUFFIXES = frozenset({".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp"})
"""Names of picture files that a folder of frames may hold, in small letters."""


def read_image(path: str | Path) -> Image:
    """Return the picture in a file.

    Parameters
    ----------
    path
        A PNG, JPEG, TIFF or BMP file; what counts is what is in it, not its name.

    Returns
    -------
    Image
        Grey (H, W) or BGR (H, W, 3), uint8 or uint16. Transparency is left out.

    Raises
    ------
    InputError
        The file is missing, a folder, empty, cut short, no picture, or of a pixel
        type that is not 8 or 16 bit.
    """
    file = Path(path)
    data = _bytes_of(file)
    if _is_cut_short(data):
        _refuse(file, "picture-cut-short", "is cut short; copy or save it again")
    image = _decoded(data)
    if image is None:
        _refuse(file, "not-a-picture", "is no picture that can be read; use PNG, JPEG, TIFF or BMP")
    if image.dtype not in (np.uint8, np.uint16):
        _refuse(
            file,
            "pixel_type",
            f"has pixels of type {image.dtype}; save it with 8 or 16 bits a channel",
        )
    return image


def picture_from(data: bytes) -> Image | None:
    """Return the 8- or 16-bit picture in encoded bytes; None if it is broken or none."""
    if not data or _is_cut_short(data):
        return None
    image = _decoded(data)
    return image if image is not None and image.dtype in (np.uint8, np.uint16) else None


def _bytes_of(file: Path) -> bytes:
    try:
        if file.is_dir():
            _refuse(file, "is-a-folder", "is a folder; name a picture file in it")
        data = file.read_bytes()
    except FileNotFoundError:
        _refuse(file, "file-missing", "does not exist; check the name")
    except (OSError, ValueError) as failure:
        raise InputError(
            f"{file} cannot be read ({failure}); check the name and the permission.",
            code="file-unreadable",
            file=str(file),
        ) from failure
    if not data:
        _refuse(file, "file-empty", "is empty; copy or save it again")
    return data


def _is_cut_short(data: bytes) -> bool:
    """Say whether the end mark of a PNG or JPEG is missing.

    A decoder fills the rest of such a picture with grey, and a measurement in it would
    look sound.
    """
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return b"IEND" not in data
    if data.startswith(b"\xff\xd8\xff"):
        return data.rfind(b"\xff\xd9") < data.rfind(b"\xff\xda")
    return False


def _decoded(data: bytes) -> Image | None:
    flags = cv2.IMREAD_ANYDEPTH | cv2.IMREAD_ANYCOLOR
    try:
        return cast("Image | None", cv2.imdecode(np.frombuffer(data, np.uint8), flags))
    except cv2.error:
        return None


def _refuse(file: Path, code: str, what: str) -> NoReturn:
    raise InputError(f"{file} {what}.", code=code, file=str(file))
