"""Where the program's log goes: a file that rotates, and standard error when asked.

INFO tells the story of a run, DEBUG every line on the wire, WARNING what a user
should act on. The modules only ask for ``logging.getLogger(__name__)``.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path

from app.errors import InputError

FILE_NAME = "tipwright.log"
LARGEST_BYTES = 1_000_000
KEPT_FILES = 3
"""Enough for the story of some hundred runs, or of one at DEBUG."""

LEVELS = {
    "debug": logging.DEBUG,
    "info": logging.INFO,
    "warning": logging.WARNING,
    "error": logging.ERROR,
}

_LINE = "%(asctime)s %(levelname)s %(threadName)s %(name)s: %(message)s"
_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogSettings:
    """What is logged.

    Attributes
    ----------
    level
        The lowest level that is kept, as `logging` numbers them.
    on_stderr
        Whether standard error gets it too.
    """

    level: int = logging.INFO
    on_stderr: bool = False


def parse_log_settings(words: str) -> LogSettings:
    """Return what the words of TIPWRIGHT_LOG ask for.

    Parameters
    ----------
    words
        A level, the word ``stderr``, or both with a comma between; empty for the usual.

    Raises
    ------
    InputError
        For any other word.

    Examples
    --------
    >>> parse_log_settings("debug,stderr")
    LogSettings(level=10, on_stderr=True)
    """
    settings = LogSettings()
    for word in filter(None, (part.strip().lower() for part in words.split(","))):
        if word == "stderr":
            settings = LogSettings(level=settings.level, on_stderr=True)
        elif word in LEVELS:
            settings = LogSettings(level=LEVELS[word], on_stderr=settings.on_stderr)
        else:
            raise InputError(
                f"TIPWRIGHT_LOG says {word!r}; it takes one of {', '.join(LEVELS)}, and stderr, "
                "with a comma between.",
                code="bad-environment",
                path="TIPWRIGHT_LOG",
                value=words,
            )
    return settings


@contextmanager
def logging_to(folder: Path, settings: LogSettings) -> Iterator[None]:
    """Keep the log of `app` and `vision` until the context ends; warnings of Python too.

    Nothing is made in `folder` before something is logged, and a log that cannot
    be written stops nobody.
    """
    handlers: list[logging.Handler] = [_LogFile(folder / FILE_NAME)]
    if settings.on_stderr:
        handlers.append(logging.StreamHandler())
    root = logging.getLogger()
    ours = [logging.getLogger(name) for name in ("app", "vision")]
    levels = [logger.level for logger in ours]
    for handler in handlers:
        handler.setFormatter(logging.Formatter(_LINE))
        root.addHandler(handler)
    for logger in ours:
        logger.setLevel(settings.level)
    logging.captureWarnings(True)
    try:
        yield
    finally:
        logging.captureWarnings(False)
        for logger, level in zip(ours, levels, strict=True):
            logger.setLevel(level)
        for handler in handlers:
            root.removeHandler(handler)
            handler.close()


def log_unexpected(error: BaseException) -> None:
    """Log an exception that nobody foresaw, with its traceback."""
    _LOG.critical("unexpected %s", type(error).__name__, exc_info=error)


class _LogFile(RotatingFileHandler):
    """A log file whose folder is made with the first line."""

    def __init__(self, file: Path) -> None:
        super().__init__(
            file, maxBytes=LARGEST_BYTES, backupCount=KEPT_FILES, encoding="utf-8", delay=True
        )

    def _open(self) -> TextIOWrapper:
        Path(self.baseFilename).parent.mkdir(parents=True, exist_ok=True)
        return super()._open()

    def handleError(self, record: logging.LogRecord) -> None:
        """Go on without the line: a full or read-only disk is told by who needs the disk."""
