"""What earlier runs on a machine found."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.dialects.values import NozzleVectorMm
from app.errors import RecordsError
from app.job.facts import Entry
from app.job.run import fold
from app.records import Store

log = logging.getLogger(__name__)

MOST_RUNS = 20
"""More points than this tell nothing more in a small plot."""


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


def past_offsets(
    store: Store, machine: str, *, simulated: bool, before: str | None = None
) -> Mapping[int, tuple[PastOffset, ...]]:
    """Return what earlier runs on a machine exported, by tool, oldest first.

    Parameters
    ----------
    machine, simulated
        Only runs of this machine, and only those on the bench or only real ones.
    before
        The id of a run that does not count, with all that began after it.

    Raises
    ------
    RecordsError
        When the records cannot be read. One run that cannot be read is left out.
    """
    found: dict[int, list[PastOffset]] = {}
    runs = [run for run in store.runs() if run.machine == machine and run.simulated == simulated]
    if before is not None:
        began = next((run.started_at for run in runs if run.run_id == before), None)
        runs = [r for r in runs if began is None or r.started_at < began]
    for run in [run for run in runs if run.exported and run.run_id != before][:MOST_RUNS][::-1]:
        try:
            entries = store.entries(run.run_id)
        except RecordsError as error:
            log.warning("run %s is left out of the history: %s", run.run_id, error.message)
            continue
        for tool, offset in _exported(run.run_id, entries):
            found.setdefault(tool, []).append(offset)
    return {tool: tuple(offsets) for tool, offsets in found.items()}


def _exported(run_id: str, entries: Sequence[Entry]) -> list[tuple[int, PastOffset]]:
    """Return the offsets of the export that still stands at the end of a run."""
    run = fold(entries)
    if run.exported is None:
        return []
    at = next(entry.at for entry in reversed(run.entries) if entry.fact is run.exported)
    return [
        (
            tool.tool,
            PastOffset(
                at=at,
                run_id=run_id,
                vector_mm=tool.nozzle_vector_mm,
                expanded_mm=tool.expanded_uncertainty_mm[:2],
            ),
        )
        for tool in run.exported.tools
    ]
