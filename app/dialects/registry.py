"""All dialects by name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from app.dialects.dialect import Dialect
from app.dialects.klipper import KLIPPER_ENDSTOP, KLIPPER_MACRO, KLIPPER_SAVED_VARIABLES
from app.dialects.marlin import MARLIN, MARLIN_TWO_CARRIAGES
from app.dialects.reprapfirmware import REPRAPFIRMWARE, REPRAPFIRMWARE_TWO_CARRIAGES
from app.dialects.slicer import SLICER
from app.dialects.smoothieware import SMOOTHIEWARE
from app.errors import InputError

DIALECTS: Mapping[str, Dialect] = MappingProxyType(
    {
        dialect.name: dialect
        for dialect in (
            MARLIN,
            MARLIN_TWO_CARRIAGES,
            REPRAPFIRMWARE,
            REPRAPFIRMWARE_TWO_CARRIAGES,
            KLIPPER_MACRO,
            KLIPPER_SAVED_VARIABLES,
            KLIPPER_ENDSTOP,
            SMOOTHIEWARE,
            SLICER,
        )
    }
)
"""In the order in which they are offered."""


def dialect_named(name: str) -> Dialect:
    """Return the dialect of this name.

    Raises
    ------
    InputError
        When there is none; the sentence names those there are.
    """
    if name in DIALECTS:
        return DIALECTS[name]
    raise InputError(
        f"There is no dialect {name!r}: choose one of {', '.join(DIALECTS)}.",
        code="unknown-dialect",
        path="dialect",
        value=name,
    )
