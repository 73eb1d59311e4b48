"""Writing results to files so that a failed write leaves the last good state."""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Iterator
from pathlib import Path

from app.errors import InputError


def write_text(path: Path, text: str) -> None:
    """Write a text under a temporary name beside `path`, then put it in its place.

    The file gets the mode that any new file gets. When something fails, what stood at
    `path` stands there still, and nothing else is left behind.

    Raises
    ------
    InputError
        When the folder is not there or cannot be written to.
    """
    part = path.parent / f".tipwright-{secrets.token_hex(6)}.part"
    try:
        with _removed_on_failure(part):
            # The tempfile module would make a file that nobody else may read.
            with part.open("x", encoding="utf-8", newline="") as file:
                file.write(text)
            part.replace(path)
    except OSError as error:
        raise InputError(
            f"{path} cannot be written: {error.strerror or error}.",
            code="file-not-written",
            file=str(path),
        ) from error


@contextlib.contextmanager
def _removed_on_failure(file: Path) -> Iterator[None]:
    try:
        yield
    except BaseException:
        # What is told is why it failed, not that its rest cannot be removed either.
        with contextlib.suppress(OSError):
            file.unlink()
        raise
