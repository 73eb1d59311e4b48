"""Frozen values to plain JSON values and back, led by their type hints.

Dataclasses and NamedTuples become objects with their field names, tuples become
lists, enums their value. Reading is strict: a missing, unknown or ill-typed
field is refused by name, so that nothing is ever filled in by guess.
"""

from __future__ import annotations

import dataclasses
import functools
import json
import math
import numbers
import operator
import types
import typing
from enum import Enum
from typing import TypeVar

import numpy as np

from app.errors import RecordsError

_T = TypeVar("_T")


def to_text(value: object) -> str:
    """Return a dataclass as JSON text; floats keep all their digits.

    Raises
    ------
    ValueError, TypeError
        For a number that is not finite, or a value that its hint does not allow;
        the message names the field.
    """
    # ASCII only, so that any text survives, lone surrogates of file names too.
    return json.dumps(_to_plain(type(value), value, ""), allow_nan=False, separators=(",", ":"))


def from_text(kind: type[_T], text: str) -> _T:
    """Return the dataclass of this kind that `to_text` wrote.

    Raises
    ------
    RecordsError
        Names the field that is missing, unknown or of the wrong type.
    """
    return from_plain(kind, parse(text))


def parse(text: str) -> object:
    """Return JSON text as plain values; the same name twice and NaN are refused."""
    try:
        plain: object = json.loads(text, object_pairs_hook=_unique, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise _refusal("", f"is no JSON that can be read ({error})", text[:60]) from error
    return plain


def from_plain(kind: type[_T], plain: object) -> _T:
    """Return the dataclass of this kind from plain JSON values; see `from_text`."""
    value = _from_plain(kind, plain, "")
    assert isinstance(value, kind)
    return value


def _unique(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found: dict[str, object] = {}
    for name, value in pairs:
        if name in found:
            raise ValueError(f"the field {name} stands there twice")
        found[name] = value
    return found


def _refuse_constant(name: str) -> object:
    raise ValueError(f"{name} is no finite number")


@functools.cache
def _field_hints(kind: object) -> dict[str, object] | None:
    """Return the fields of a dataclass or NamedTuple with their hints, else None."""
    # Cached, since working hints out takes far longer than reading a fact by them.
    if not isinstance(kind, type):
        return None
    if dataclasses.is_dataclass(kind):
        names: tuple[str, ...] = tuple(field.name for field in dataclasses.fields(kind))
    elif issubclass(kind, tuple) and hasattr(kind, "_fields"):
        names = tuple(kind._fields)
    else:
        return None
    hints = typing.get_type_hints(kind)
    return {name: hints[name] for name in names}


def _optional(hint: object) -> object | None:
    """Return X for the hint X | None, else None; other unions are not supported."""
    if typing.get_origin(hint) not in (types.UnionType, typing.Union):
        return None
    inner = [arg for arg in typing.get_args(hint) if arg is not types.NoneType]
    if len(inner) != 1 or len(typing.get_args(hint)) != 2:
        raise TypeError(f"{hint} cannot be recorded; only X | None is supported")
    wrapped: object = inner[0]
    return wrapped


def _tuple_hints(hint: object, length: int) -> list[object] | None:
    """Return one hint for each of `length` items; None when the length is wrong."""
    args = typing.get_args(hint)
    if len(args) == 2 and args[1] is Ellipsis:
        return [args[0]] * length
    return list(args) if len(args) == length else None


def _to_plain(hint: object, value: object, path: str) -> object:
    inner = _optional(hint)
    if inner is not None:
        return None if value is None else _to_plain(inner, value, path)
    fields = _field_hints(hint)
    if fields is not None:
        assert isinstance(hint, type)
        if type(value) is not hint:
            raise TypeError(f"{path or 'the value'} has to be {hint.__name__}, not {value!r}")
        return {
            name: _to_plain(field, getattr(value, name), _join(path, name))
            for name, field in fields.items()
        }
    if typing.get_origin(hint) is tuple:
        return _tuple_to_plain(hint, value, path)
    return _scalar_to_plain(hint, value, path)


def _tuple_to_plain(hint: object, value: object, path: str) -> list[object]:
    if not isinstance(value, tuple):
        raise TypeError(f"{path} has to be a tuple, not {value!r}")
    hints = _tuple_hints(hint, len(value))
    if hints is None:
        raise ValueError(f"{path} has the wrong length: {value!r}")
    return [
        _to_plain(item_hint, item, f"{path}[{index}]")
        for index, (item_hint, item) in enumerate(zip(hints, value, strict=True))
    ]


def _scalar_to_plain(hint: object, value: object, path: str) -> object:
    """Return a number, text, flag or enum member; numpy's own scalars count as numbers."""
    if isinstance(hint, type) and issubclass(hint, Enum) and isinstance(value, hint):
        return value.value
    if hint is bool and isinstance(value, bool | np.bool_):
        return bool(value)
    if hint is str and isinstance(value, str):
        return str(value)
    is_number = not isinstance(value, bool)
    if hint is int and is_number and isinstance(value, numbers.Integral):
        return operator.index(value)
    if hint is float and is_number and isinstance(value, numbers.Real):
        number = float(value)
        if not math.isfinite(number):
            raise ValueError(f"{path} is {number}; only finite numbers can be recorded")
        return number
    raise TypeError(f"{path} has to be {_name(hint)}, not {value!r}")


def _from_plain(hint: object, plain: object, path: str) -> object:
    inner = _optional(hint)
    if inner is not None:
        return None if plain is None else _from_plain(inner, plain, path)
    fields = _field_hints(hint)
    if fields is not None:
        return _record_from_plain(hint, fields, plain, path)
    if typing.get_origin(hint) is tuple:
        return _tuple_from_plain(hint, plain, path)
    return _scalar_from_plain(hint, plain, path)


def _record_from_plain(kind: object, fields: dict[str, object], plain: object, path: str) -> object:
    assert callable(kind)
    if not isinstance(plain, dict):
        raise _refusal(path, "has to be a table of fields", plain)
    for name in fields:
        if name not in plain:
            raise _refusal(_join(path, name), "is missing", None)
    for name, value in plain.items():
        if name not in fields:
            raise _refusal(_join(path, name), "is not known to this program", value)
    values = {
        name: _from_plain(hint, plain[name], _join(path, name)) for name, hint in fields.items()
    }
    made: object = kind(**values)
    return made


def _tuple_from_plain(hint: object, plain: object, path: str) -> tuple[object, ...]:
    if not isinstance(plain, list):
        raise _refusal(path, "has to be a list", plain)
    hints = _tuple_hints(hint, len(plain))
    if hints is None:
        raise _refusal(path, "has the wrong length", plain)
    return tuple(
        _from_plain(item_hint, item, f"{path}[{index}]")
        for index, (item_hint, item) in enumerate(zip(hints, plain, strict=True))
    )


def _scalar_from_plain(hint: object, plain: object, path: str) -> object:
    if isinstance(hint, type) and issubclass(hint, Enum):
        try:
            return hint(plain)
        except ValueError:
            words = ", ".join(str(member.value) for member in hint)
            raise _refusal(path, f"has to be one of {words}", plain) from None
    is_number = isinstance(plain, int | float) and not isinstance(plain, bool)
    if hint is float and is_number:
        return _finite(plain, path)
    fits = is_number and isinstance(plain, int) if hint is int else type(plain) is hint
    if not fits:
        raise _refusal(path, f"has to be {_name(hint)}", plain)
    return plain


def _finite(plain: object, path: str) -> float:
    assert isinstance(plain, int | float)
    try:
        number = float(plain)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise _refusal(path, "has to be a finite number", str(plain)[:60])
    return number


def _join(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _name(hint: object) -> str:
    words = {float: "a number", int: "a whole number", str: "a text", bool: "true or false"}
    return words[hint] if isinstance(hint, type) and hint in words else str(hint)


def _refusal(path: str, why: str, value: object) -> RecordsError:
    return RecordsError(
        f"{path or 'The value'} {why}; the record was written by another version of the program "
        "or changed by hand.",
        code="record-unreadable",
        path=path or None,
        value=value,
    )
