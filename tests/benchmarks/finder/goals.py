"""Values that have a goal, and one sentence on how often it is met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """One value that has a goal, where it was found, and whether no picture was refused."""

    value: float
    where: str
    complete: bool


def verdict(grades: Sequence[Grade], goal: float, unit: str) -> str:
    """Say how often the goal is met; where a picture is refused it is not."""
    met = sum(grade.complete and grade.value <= goal for grade in grades)
    refused = sum(not grade.complete for grade in grades)
    measured = [grade for grade in grades if np.isfinite(grade.value)]
    said = f"Goal {goal:g}{unit}: met in {met} of {len(grades)}"
    if refused:
        said += f", not all found in {refused}"
    if not measured:
        return said + "."
    worst = max(measured, key=lambda grade: grade.value)
    return f"{said}; worst {worst.value:.3g}{unit} at {worst.where}."
