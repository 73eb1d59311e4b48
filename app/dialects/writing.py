"""What a dialect's writer is handed, and how numbers look in the text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from app.dialects.values import OffsetMm

Axis = Literal["x", "y", "z"]

AXES: tuple[Axis, ...] = ("x", "y", "z")

DECIMALS = 3
"""Decimals in every text: firmwares print and store stored offsets with at most three."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """The new stored values, and which of them are to be written.

    Attributes
    ----------
    new
        New stored value of each tool, in the firmware's own sign.
    reference_tool
        The tool that all others were measured from.
    changed_tools
        The tools that need a line: all that the firmware keeps a value for, less
        a reference tool whose own value stays.
    axes
        The axes to write: x and y, and z where it was measured or where leaving
        it out would lose a value that is there.
    home_x
        The coordinate of the second carriage at its switch, where X is stored
        so; None where it is not, or where no usable value is known.
    """

    new: Mapping[int, OffsetMm]
    reference_tool: int
    changed_tools: tuple[int, ...]
    axes: tuple[Axis, ...]
    home_x: float | None = None

    def all_tools(self) -> tuple[int, ...]:
        """Return the numbers of all tools, in order."""
        return tuple(sorted(self.new))

    def axes_without_x(self) -> tuple[Axis, ...]:
        """Return the axes to write where X is stored in another place."""
        return tuple(axis for axis in self.axes if axis != "x")


def mm_text(value_mm: float) -> str:
    """Return a number with three decimals, and never a negative zero.

    >>> mm_text(-0.34), mm_text(-0.0004)
    ('-0.340', '0.000')
    """
    text = f"{value_mm:.{DECIMALS}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def component(offset: OffsetMm, axis: Axis) -> float:
    """Return one axis of an offset."""
    return offset[AXES.index(axis)]


def words(
    offset: OffsetMm,
    axes: Iterable[Axis],
    *,
    equals: str = "",
    letters: Mapping[Axis, str] | None = None,
) -> str:
    """Return an offset as words of a command.

    Parameters
    ----------
    offset
        The values.
    axes
        Which of them to write.
    equals
        What stands between a letter and its number.
    letters
        Other letters for some axes (X stored under U).

    Returns
    -------
    str
        The words, one blank between them.

    >>> words(OffsetMm(-0.34, 0.12, 0.0), ("x", "y"))
    'X-0.340 Y0.120'
    """
    named = {axis: axis.upper() for axis in AXES} | dict(letters or {})
    return " ".join(f"{named[axis]}{equals}{mm_text(component(offset, axis))}" for axis in axes)
