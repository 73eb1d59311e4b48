"""Writing results to files so that a failed write leaves the last good state."""

from __future__ import annotations

import tempfile
from pathlib import Path

from app.errors import InputError


def write_text(path: Path, text: str) -> None:
    """Write a text under a temporary name beside `path`, then put it in its place.

    Raises
    ------
    InputError
        When the folder is not there or cannot be written to.
    """
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", newline="", dir=path.parent, delete=False
        ) as file:
            file.write(text)
        Path(file.name).replace(path)
    except OSError as error:
        raise InputError(
            f"{path} cannot be written: {error.strerror or error}.",
            code="file-not-written",
            file=str(path),
        ) from error
