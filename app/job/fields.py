"""Reading a mapping field by field: what is wrong is said with file, field and value."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import TypeVar

from app.errors import InputError

_E = TypeVar("_E", bound=StrEnum)
_T = TypeVar("_T")


class Fields:
    """One table of a profile or job file, taken field by field.

    Each take checks type and range; `finish` refuses what was not taken, by name.

    Parameters
    ----------
    table
        What the file's reader gave; anything but a mapping is refused.
    file
        The file's name, for messages.
    path
        Where this table stands in the file, such as ``tools[2]``; empty at the top.
    """

    def __init__(self, table: object, *, file: str | None, path: str = "") -> None:
        self.file = file
        self.path = path
        if not isinstance(table, Mapping):
            raise self._error("", f"has to be a table of fields, not {_kind(table)}", table)
        self._table: Mapping[str, object] = table
        self._taken: set[str] = set()

    def has(self, name: str) -> bool:
        """Whether the field stands in the table with a value (null counts as absent)."""
        self._taken.add(name)
        return self._table.get(name) is not None

    def number(
        self,
        name: str,
        *,
        default: float | None = None,
        low: float = -math.inf,
        high: float = math.inf,
    ) -> float:
        """Take a finite number from `low` to `high`."""
        if not self.has(name) and default is not None:
            return default
        return self._as_number(name, self._required(name), low, high)

    def integer(self, name: str, *, default: int | None = None, low: int = 0, high: int) -> int:
        """Take a whole number from `low` to `high`."""
        if not self.has(name) and default is not None:
            return default
        value = self._required(name)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self._error(name, f"has to be a whole number, not {_kind(value)}", value)
        if not low <= value <= high:
            raise self._error(name, f"has to lie from {low} to {high}", value)
        return value

    def flag(self, name: str, *, default: bool) -> bool:
        """Take true or false."""
        if not self.has(name):
            return default
        value = self._required(name)
        if not isinstance(value, bool):
            raise self._error(name, "has to be true or false", value)
        return value

    def text(self, name: str, *, default: str | None = None) -> str:
        """Take a text that is not blank."""
        if not self.has(name) and default is not None:
            return default
        value = self._required(name)
        if not isinstance(value, str) or not value.strip():
            raise self._error(name, f"has to be a text, not {_kind(value)}", value)
        return value

    def choice(self, name: str, kind: type[_E], *, default: _E | None = None) -> _E:
        """Take one of the words of an enumeration."""
        if not self.has(name) and default is not None:
            return default
        value = self._required(name)
        words = [member.value for member in kind]
        if not isinstance(value, str) or value not in words:
            raise self._error(name, f"has to be one of {', '.join(words)}", value)
        return kind(value)

    def numbers(
        self,
        name: str,
        lengths: Sequence[int],
        *,
        default: tuple[float, ...] | None = None,
        low: float = -math.inf,
        high: float = math.inf,
    ) -> tuple[float, ...]:
        """Take a list of finite numbers whose length is one of `lengths`."""
        if not self.has(name) and default is not None:
            return default
        value = self._required(name)
        wanted = " or ".join(str(length) for length in lengths)
        if not isinstance(value, list | tuple) or len(value) not in lengths:
            raise self._error(name, f"has to be a list of {wanted} numbers", value)
        return tuple(
            self._as_number(f"{name}[{i}]", entry, low, high) for i, entry in enumerate(value)
        )

    def table(self, name: str) -> Fields:
        """Take a table inside this one."""
        return Fields(self._required(name), file=self.file, path=self._at(name))

    def each(self, name: str, make: Callable[[Fields], _T]) -> tuple[_T, ...]:
        """Take a list of tables, each through `make`."""
        value = self._required(name)
        if not isinstance(value, list | tuple):
            raise self._error(name, f"has to be a list, not {_kind(value)}", value)
        return tuple(
            make(Fields(entry, file=self.file, path=f"{self._at(name)}[{i}]"))
            for i, entry in enumerate(value)
        )

    def names(self) -> tuple[str, ...]:
        """Take all fields of a table whose keys are free, and return the keys."""
        self._taken.update(self._table)
        return tuple(self._table)

    def finish(self) -> None:
        """Refuse the first field that was not taken."""
        for name, value in self._table.items():
            if name not in self._taken:
                known = ", ".join(sorted(self._taken))
                raise self._error(str(name), f"is not known here; known are {known}", value)

    def refuse(self, name: str, why: str) -> InputError:
        """Return the error for a field whose value cannot be, for the caller to raise."""
        value = self._table.get(name) if name else None
        return self._error(name, why, value)

    def _required(self, name: str) -> object:
        self._taken.add(name)
        value = self._table.get(name)
        if value is None:
            raise self._error(name, "is missing", None, code="missing-field")
        return value

    def _as_number(self, name: str, value: object, low: float, high: float) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self._error(name, f"has to be a number, not {_kind(value)}", value)
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise self._error(name, "has to be a finite number", str(value)[:40])
        if not low <= number <= high:
            raise self._error(name, f"has to {_range(low, high)}", value)
        return number

    def _at(self, name: str) -> str:
        return ".".join(part for part in (self.path, name) if part)

    def _error(self, name: str, why: str, value: object, code: str = "bad-field") -> InputError:
        at = self._at(name)
        subject = f"{self.file or 'The input'}: {at or 'the whole'}"
        shown = "" if code == "missing-field" else f" (it is {_shown(value)})"
        return InputError(
            f"{subject} {why}{shown}.", code=code, file=self.file, path=at or None, value=value
        )


def _range(low: float, high: float) -> str:
    if math.isinf(high):
        return f"be at least {low:g}"
    if math.isinf(low):
        return f"be at most {high:g}"
    return f"lie from {low:g} to {high:g}"


def _kind(value: object) -> str:
    names = {
        dict: "a table",
        list: "a list",
        str: "a text",
        bool: "true or false",
        type(None): "nothing",
    }
    for kind, name in names.items():
        if isinstance(value, kind):
            return name
    return "a number" if isinstance(value, int | float) else type(value).__name__


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
