"""How a command ends: exit status, and what is said on which stream."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentTypeError
from collections.abc import Mapping
from enum import IntEnum

from app.errors import TipwrightError

SCHEMA = 1


class Exit(IntEnum):
    """Exit status of every command."""

    GOOD = 0
    CHECK_FAILED = 1
    BAD_INPUT = 2
    DEVICE = 3
    STOPPED = 4


def say(text: str) -> None:
    """Tell people something: on standard error, which programs do not read."""
    print(text, file=sys.stderr)


def give(text: str) -> None:
    """Give the result: on standard output."""
    print(text, flush=True)


def give_json(value: Mapping[str, object]) -> None:
    """Give one JSON object on one line."""
    give(json_text(value).rstrip("\n"))


def json_text(value: Mapping[str, object]) -> str:
    """Return one JSON object as a line of text; NaN has no place in it.

    It is ASCII: it reads the same whatever a terminal or pipe is set to, and holds
    names of files that are no text.
    """
    return json.dumps(value, allow_nan=False) + "\n"


def seed(word: str) -> int:
    """Read the number that chooses a hidden truth, for argparse."""
    if not (word.isascii() and word.isdigit()) or len(word) > 9:
        raise ArgumentTypeError(f"has to be a whole number from 0 to 999999999, not {word!r}")
    return int(word)


def give_error(error: TipwrightError, *, as_json: bool) -> int:
    """Tell of an error, and return the exit status that goes with it."""
    if as_json:
        give_json({"schema": SCHEMA, "error": error_object(error)})
    say(error.message)
    return error.exit_status


def error_object(error: TipwrightError) -> dict[str, object]:
    """Return an error for programs."""
    return {
        "code": error.code,
        "message": error.message,
        "file": error.file,
        "path": error.path,
        "value": _plain(error.value),
    }


def _plain(value: object) -> object:
    """Return a value as JSON can hold it; what it cannot becomes text."""
    try:
        json.dumps(value, allow_nan=False)
    except (TypeError, ValueError):
        return repr(value)
    return value
