"""Offsets, nozzle vectors and paste text: the values that dialects work on."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple


class Layout(StrEnum):
    """How the machine carries its nozzles."""

    INDEPENDENT_CARRIAGES = "independent-carriages"
    TOOL_CHANGER = "tool-changer"
    FIXED_NOZZLES = "fixed-nozzles"
    LIFTING_NOZZLE = "lifting-nozzle"


class OffsetMm(NamedTuple):
    """An offset per axis in mm; whose sign it carries stands in the name that holds it."""

    x: float = 0.0
    y: float = 0.0
    z: float = 0.0


class NozzleVectorMm(NamedTuple):
    """Where a nozzle stands, seen from the reference nozzle, in machine axes.

    z is None where the height was not measured.
    """

    x: float
    y: float
    z: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PasteText:
    """What goes into the firmware or its files.

    Attributes
    ----------
    settings
        Lines that move nothing.
    moves
        Lines that move the machine, among them tool changes and homing. They
        stand under a caution: lift Z, take the camera away first.
    notes
        What to know before pasting, one sentence each (where the lines go, what
        makes them last, which trap to avoid).
    comment
        What begins a line of comment wherever the settings may be pasted; the
        moves are G-code, where it is a semicolon.
    """

    settings: str
    moves: str
    notes: tuple[str, ...] = ()
    comment: str = ";"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something about stored values that this firmware cannot have.

    Attributes
    ----------
    code
        Short name for programs, kept stable.
    message
        One sentence for people: what is wrong and what to do.
    tool
        The tool it concerns.
    """

    code: str
    message: str
    tool: int
