"""Reads the words of a command line and hands them to the command."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from types import ModuleType

from app.cli import bench, demo, measure, offsets, runs
from app.cli.outcome import Exit, give_error, say
from app.errors import InputError, StoppedByUser, TipwrightError

_COMMANDS: tuple[tuple[str, ModuleType, str], ...] = (
    ("measure", measure, "find the bore in pictures"),
    ("offsets", offsets, "work a whole job out from its file"),
    ("demo", demo, "do the whole job on the bench and compare with the truth"),
    ("bench", bench, "serve the bench: a camera stream and a machine"),
    ("runs", runs, "list, show and export what was recorded"),
)


def run_command(words: Sequence[str]) -> int:
    """Run one command; whatever happens, a person gets a sentence and no traceback."""
    as_json = "--json" in words
    try:
        arguments = _parser().parse_args(words)
        command: Callable[[argparse.Namespace], int] = arguments.run
        return int(command(arguments))
    except TipwrightError as error:
        return give_error(error, as_json=as_json)
    except KeyboardInterrupt:
        stopped = StoppedByUser("Stopped; what was recorded so far is kept.", code="stopped")
        return give_error(stopped, as_json=as_json)
    except BrokenPipeError:
        # Whoever read the output has gone; there is nobody left to tell.
        sys.stderr.close()
        return Exit.GOOD


class _Parser(argparse.ArgumentParser):
    """A parser whose complaints go the way of all other bad input."""

    def error(self, message: str) -> None:  # type: ignore[override]  # ours raises, never exits
        """Raise what is wrong with the words of the command line."""
        raise InputError(
            f"{message[:1].upper()}{message[1:]}. Try: {self.prog} --help", code="bad-usage"
        )


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="tipwright",
        description="Puts every nozzle of a multi-tool printer on one datum.",
    )
    commands = parser.add_subparsers(metavar="COMMAND", required=True, parser_class=_Parser)
    for name, module, summary in _COMMANDS:
        command = commands.add_parser(name, help=summary, description=f"{summary.capitalize()}.")
        module.add_arguments(command)
        command.set_defaults(run=module.run)
    return parser


__all__ = ["run_command", "say"]
