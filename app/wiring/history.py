"""What earlier runs on a machine found."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.dialects.values import NozzleVectorMm
from app.errors import RecordsError
from app.job.facts import Entry
from app.job.run import fold
from app.records import RunSummary, Store

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
    runs = [
        run.run_id
        for run in _earlier(store.runs(), before)
        if run.exported and run.machine == machine and run.simulated == simulated
    ]
    newest_first: list[list[tuple[int, PastOffset]]] = []
    for run_id in runs:
        if len(newest_first) == MOST_RUNS:
            break
        try:
            exported = _exported(run_id, store.entries(run_id))
        except RecordsError as error:
            log.warning("run %s is left out of the history: %s", run_id, error.message)
            continue
        if exported:
            newest_first.append(exported)
    found: dict[int, list[PastOffset]] = {}
    for tool, offset in (pair for run in reversed(newest_first) for pair in run):
        found.setdefault(tool, []).append(offset)
    return {tool: tuple(offsets) for tool, offsets in found.items()}


def _earlier(newest_first: Sequence[RunSummary], before: str | None) -> Sequence[RunSummary]:
    """Return the runs written before one, as the records order them: clocks may be set back."""
    ids = [run.run_id for run in newest_first]
    return newest_first if before not in ids else newest_first[ids.index(before) + 1 :]


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
