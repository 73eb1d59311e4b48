"""Reads the words of a command line and hands them to the command."""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType

from app import __version__
from app.cli.outcome import Exit, give_error
from app.crash import write_report
from app.errors import InputError, StoppedByUser, TipwrightError
from app.logs import log_unexpected, logging_to, parse_log_settings
from app.settings import data_folder, log_words


def _measure() -> ModuleType:
    from app.cli import measure

    return measure


def _offsets() -> ModuleType:
    from app.cli import offsets

    return offsets


def _demo() -> ModuleType:
    from app.cli import demo

    return demo


def _bench() -> ModuleType:
    from app.cli import bench

    return bench


def _runs() -> ModuleType:
    from app.cli import runs

    return runs


_COMMANDS: tuple[tuple[str, Callable[[], ModuleType], str], ...] = (
    ("measure", _measure, "find the bore in pictures"),
    ("offsets", _offsets, "work a whole job out from its file"),
    ("demo", _demo, "do the whole job on the bench and compare with the truth"),
    ("bench", _bench, "open the window on the bench, or serve the bench to other programs"),
    ("runs", _runs, "list, show and export what was recorded"),
)
"""Name, module and summary; a module is imported when its command is asked for, since
OpenCV, SciPy and SQLAlchemy take longer to load than most commands to run."""

_EPILOG = """\
without a command the window opens.

exit status: 0 good; 1 worked out, but a check failed; 2 unusable input;
             3 a device, the disk or the program failed; 4 stopped by the user

TIPWRIGHT_DATA  another folder for the records and the log
TIPWRIGHT_LOG   what is logged: debug, info, warning or error; with ",stderr" to be seen at once
"""


OpenWindow = Callable[[str | None, int], int]
"""Opens the window, on a machine of the bench with this seed or on the start page, and
returns the exit status when it was closed."""


def run_command(words: Sequence[str], *, open_window: OpenWindow) -> int:
    """Run one command; whatever happens, a person gets a sentence and no traceback.

    Parameters
    ----------
    words
        Of the command line; without any the window opens.
    open_window
        The window is a room of its own, which this one knows nothing of.
    """
    _prepare_streams()
    as_json = "--json" in words
    folder = data_folder()
    try:
        try:
            with logging_to(folder, parse_log_settings(log_words())):
                return _run_logged(words, folder, open_window)
        except TipwrightError as error:
            return give_error(error, as_json=as_json)
        except KeyboardInterrupt:
            stopped = StoppedByUser("Stopped; what was recorded so far is kept.", code="stopped")
            return give_error(stopped, as_json=as_json)
    except BrokenPipeError:
        _let_go_of_output()
        return Exit.STOPPED


def _run_logged(words: Sequence[str], folder: Path, open_window: OpenWindow) -> int:
    """Run one command; what nobody foresaw goes to the log, and is told in a sentence."""
    try:
        if not words:
            return open_window(None, 1)
        arguments = _parser(words).parse_args(words)
        arguments.open_window = open_window
        command: Callable[[argparse.Namespace], int] = arguments.run
        return int(command(arguments))
    except SystemExit as ended:  # --help and --version
        return int(ended.code or Exit.GOOD)
    except (TipwrightError, BrokenPipeError):
        raise
    except Exception as error:
        log_unexpected(error)
        raise _unexpected(error, write_report(error, folder)) from error


def _unexpected(error: Exception, file: Path | None) -> TipwrightError:
    where = "No file could be written about it" if file is None else f"{file} tells more"
    return TipwrightError(
        f"Something happened that Tipwright was not made for ({type(error).__name__}: {error}). "
        f"What was recorded so far is kept. {where}; please report it.",
        code="unexpected",
        file=None if file is None else str(file),
    )


def _prepare_streams() -> None:
    """Let no name of a file stop the output: what the terminal cannot show is escaped."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _let_go_of_output() -> None:
    """Whoever read the output has gone: send the rest nowhere, or leaving complains again."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.dup2(nowhere, sys.stderr.fileno())
    os.close(nowhere)


class _Parser(argparse.ArgumentParser):
    """A parser whose complaints go the way of all other bad input."""

    def error(self, message: str) -> None:  # type: ignore[override]  # ours raises, never exits
        """Raise what is wrong with the words of the command line."""
        raise InputError(
            f"{message[:1].upper()}{message[1:]}. Try: {self.prog} --help", code="bad-usage"
        )


def _parser(words: Sequence[str]) -> argparse.ArgumentParser:
    """Return the parser of all commands; only the one that is asked for knows its options."""
    parser = _Parser(
        prog="tipwright",
        description="Puts every nozzle of a multi-tool printer on one datum.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"tipwright {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True, parser_class=_Parser)
    for name, load, summary in _COMMANDS:
        command = commands.add_parser(name, help=summary)
        if name in words:
            _declare(command, load)
    return parser


def _declare(command: argparse.ArgumentParser, load: Callable[[], ModuleType]) -> None:
    # Before vision: OpenCV reads its environment at its first import.
    import app.cameras.opencv  # noqa: F401 - for what its import does

    module = load()
    command.description = module.ABOUT
    command.formatter_class = argparse.RawDescriptionHelpFormatter
    module.add_arguments(command)
    command.set_defaults(run=module.run)
