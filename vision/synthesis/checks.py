"""Refusals of values that no picture can be made from."""

from __future__ import annotations

import math
from collections.abc import Sequence


def require_positive(name: str, value: float) -> None:
    """Raise `ValueError` naming `name` unless `value` is finite and above 0."""
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} must be a finite number above 0, got {value!r}")


def require_not_negative(name: str, value: float) -> None:
    """Raise `ValueError` naming `name` unless `value` is finite and 0 or more."""
    if not (math.isfinite(value) and value >= 0.0):
        raise ValueError(f"{name} must be a finite number of 0 or more, got {value!r}")


def require_share(name: str, value: float) -> None:
    """Raise `ValueError` naming `name` unless `value` lies in 0..1."""
    if not 0.0 <= value <= 1.0:
        raise ValueError(f"{name} must lie between 0 and 1, got {value!r}")


def require_finite(name: str, *values: float) -> None:
    """Raise `ValueError` naming `name` unless every value is finite."""
    if not all(math.isfinite(value) for value in values):
        raise ValueError(f"{name} must be finite, got {values!r}")


def require_colour(name: str, colour: Sequence[float]) -> None:
    """Raise `ValueError` naming `name` unless `colour` is three finite numbers of 0 or more."""
    if len(colour) != 3 or not all(math.isfinite(part) and part >= 0.0 for part in colour):
        raise ValueError(f"{name} must be three finite BGR parts of 0 or more, got {colour!r}")
