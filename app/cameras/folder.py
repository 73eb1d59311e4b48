"""A folder of numbered pictures as a source of frames."""

from __future__ import annotations

import logging
import re
from collections.abc import Sequence
from pathlib import Path

from app.cameras.images import PICTURE_SUFFIXES, read_image
from app.cameras.source import Clock, Identical, NoImage, Shot, Traits
from app.errors import InputError

log = logging.getLogger(__name__)

DEFAULT_FPS = 10.0
"""Pace of a folder when none is asked for: quick, and an eye can still follow."""


def natural_order(path: Path) -> tuple[tuple[int, int, str], ...]:
    """Return a sort key by which ``f2`` comes before ``f10``."""
    parts = re.split(r"(\d+)", path.name.casefold())
    return tuple((0, int(part), "") if part.isdigit() else (1, 0, part) for part in parts if part)


def pictures_in(folder: Path) -> tuple[Path, ...]:
    """Return the picture files of a folder in natural order of their names.

    Raises
    ------
    InputError
        The folder cannot be read, or holds no file with the name of a picture.
    """
    try:
        files = [file for file in folder.iterdir() if file.suffix.lower() in PICTURE_SUFFIXES]
    except OSError as failure:
        raise InputError(
            f"The folder {folder} cannot be read ({failure}); check the name and the permission.",
            code="folder-unreadable",
            file=str(folder),
        ) from failure
    if not files:
        raise InputError(
            f"The folder {folder} holds no pictures; put PNG, JPEG, TIFF or BMP files into it.",
            code="folder-empty",
            file=str(folder),
        )
    return tuple(sorted(files, key=natural_order))


class FolderGrabber:
    """Gives the pictures of a folder, or of one picture file, in order.

    Parameters
    ----------
    path
        A folder, or a single picture file.
    fps
        Pictures a second; above zero.
    loop
        Begin again after the last picture, for ever.

    Raises
    ------
    InputError
        There are no pictures (from `open` too, if they have gone since).
    """

    def __init__(self, path: Path, *, fps: float = DEFAULT_FPS, loop: bool = False) -> None:
        if not fps > 0:
            raise ValueError(f"fps must be above zero, got {fps}")
        self._path = path
        self._hold_s = 1.0 / fps
        self._loop = loop
        self._skipped: dict[Path, str] = {}
        self._files = self._list()
        self._next = 0

    @property
    def traits(self) -> Traits:
        """Return that it is recorded."""
        return Traits(name=self._path.name, live=False, identical=Identical.USUAL)

    def open(self) -> None:
        """List the files anew and begin at the first."""
        self._files = self._list()
        self._next = 0

    def grab(self, clock: Clock) -> Shot | NoImage:
        """Return the next picture that can be read; the others are named in `notes`."""
        for _ in range(len(self._files)):
            if self._next >= len(self._files):
                if not self._loop:
                    break
                self._next = 0
            file = self._files[self._next]
            self._next += 1
            try:
                image = read_image(file)
            except InputError as failure:
                self._skip(file, failure.message)
                continue
            return Shot(image=image, arrived_at_s=clock(), hold_s=self._hold_s)
        return self._end()

    def close(self) -> None:
        """Do nothing: no file stays open."""

    def notes(self) -> tuple[str, ...]:
        """Return one sentence for each file that was skipped."""
        return tuple(f"Skipped: {sentence}" for sentence in tuple(self._skipped.values()))

    def _list(self) -> Sequence[Path]:
        return pictures_in(self._path) if self._path.is_dir() else (self._path,)

    def _skip(self, file: Path, sentence: str) -> None:
        if file not in self._skipped:
            log.warning("skipped: %s", sentence)
        self._skipped[file] = sentence

    def _end(self) -> NoImage:
        if len(self._skipped) < len(self._files):
            return NoImage.END
        first = next(iter(self._skipped.values()))
        if len(self._files) == 1:
            raise InputError(first, code="not-a-picture", file=str(self._files[0]))
        raise InputError(
            f"None of the {len(self._files)} pictures in {self._path} can be read; the first: "
            f"{first}",
            code="not-a-picture",
            file=str(self._path),
        )
