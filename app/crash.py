"""What a crash leaves: one file for a report, with nothing private in it.

It holds versions, the traceback and the last lines of the log. Names of people, of
computers and of folders at home, addresses of cameras and printers are taken out, so
that it can be sent to anybody.
"""

from __future__ import annotations

import contextlib
import faulthandler
import getpass
import importlib.metadata as metadata
import os
import platform
import re
import sys
import traceback
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from app import __version__
from app.logs import FILE_NAME

FOLDER = "crashes"
LOG_LINES = 60
PACKAGES = ("PySide6-Essentials", "opencv-python", "numpy", "scipy", "scikit-image", "SQLAlchemy")
SHORTEST_NAME = 3
"""A user called "a" must not turn every a of the report into a placeholder."""


def write_report(error: BaseException, folder: Path, *, thread: str = "main") -> Path | None:
    """Write what is known of an unexpected exception; None when the disk does not let it.

    Parameters
    ----------
    error
        With its traceback.
    folder
        The user's data folder: its log is quoted, and the file goes below it.
    thread
        The name of the thread that it came from.
    """
    text = "\n".join(
        (
            "Tipwright report. Names, addresses and folders at home were taken out; please read "
            "it through before you send it.",
            "",
            *_versions(),
            f"thread: {thread}",
            "",
            *_scrubbed(traceback.format_exception(error)),
            "the last lines of the log:",
            *_scrubbed(_last_lines(folder / FILE_NAME)),
            "",
        )
    )
    file = folder / FOLDER / f"crash-{datetime.now(UTC):%Y%m%d-%H%M%S-%f}.txt"
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
    except OSError:
        return None
    return file


def catch_hard_crashes(folder: Path) -> TextIO | None:
    """Let the interpreter write its stacks to a file when it is killed by a fault of its own.

    Returns the open file, to be handed to `release_hard_crashes`; None when it cannot be
    written.
    """
    file = folder / FOLDER / "hard-crash.txt"
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        # Kept open: the handler writes to it when nothing else works any more.
        stream = file.open("w", encoding="utf-8")
    except OSError:
        return None
    faulthandler.enable(stream)
    return stream


def release_hard_crashes(stream: TextIO | None) -> None:
    """Let go of that file; an empty one is removed."""
    if stream is None:
        return
    faulthandler.disable()
    stream.close()
    file = Path(stream.name)
    try:
        if file.stat().st_size == 0:
            file.unlink()
    except OSError:
        return  # an empty file that stays does no harm


def scrub(text: str) -> str:
    """Return a text without what tells who and where."""
    for private, shown in _private():
        text = text.replace(private, shown)
    text = re.sub(r"(?i)\b([a-z][a-z+.-]*)://[^\s'\"<>)]+", r"\1://<address>", text)
    return re.sub(r"\b\d{1,3}(?:\.\d{1,3}){3}(?::\d+)?\b", "<address>", text)


def _private() -> list[tuple[str, str]]:
    """Return what is private on this computer, the longest first."""
    found = {str(Path.home()): "~", platform.node(): "<computer>"}
    with contextlib.suppress(KeyError, OSError, ImportError):  # no such user on this system
        found[getpass.getuser()] = "<user>"
    # The program's own folders may lie at home, or name a person in another way.
    found[str(Path(__file__).resolve().parents[1])] = "<program>"
    found[sys.prefix] = "<python>"
    names = [(name, shown) for name, shown in found.items() if len(name) >= SHORTEST_NAME]
    return sorted(names, key=lambda pair: -len(pair[0]))


def _scrubbed(lines: Iterable[str]) -> list[str]:
    return [scrub(line.rstrip("\n")) for line in lines]


def _last_lines(file: Path) -> list[str]:
    try:
        return file.read_text(encoding="utf-8", errors="replace").splitlines()[-LOG_LINES:]
    except OSError:
        return ["(there is no log)"]


def _versions() -> list[str]:
    lines = [
        f"tipwright {__version__}",
        f"Python {platform.python_version()}, {platform.system()} {platform.release()} "
        f"({platform.machine()})",
        f"window system: {os.environ.get('QT_QPA_PLATFORM', 'as the system has it')}",
    ]
    for package in PACKAGES:
        try:
            lines.append(f"{package} {metadata.version(package)}")
        except metadata.PackageNotFoundError:
            lines.append(f"{package} is not installed")
    return lines
