"""What earlier runs on a machine found."""

from __future__ import annotations

from dataclasses import dataclass

from app.dialects.values import NozzleVectorMm


@dataclass(frozen=True, slots=True, kw_only=True)
class PastOffset:
    """One tool's nozzle vector as an earlier run exported it.

    Attributes
    ----------
    at
        When, ISO 8601 in UTC.
    run_id
        Which run.
    vector_mm
        Seen from the reference nozzle of that run.
    expanded_mm
        Its expanded uncertainty, X and Y.
    """

    at: str
    run_id: str
    vector_mm: NozzleVectorMm
    expanded_mm: tuple[float, float]
