"""The offsets of a job as a table for spreadsheets."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from app.dialects.values import OffsetMm
from app.job.checks import Finding
from app.job.offsets import Solution, ToolOffset
from app.job.stored import StoredOffsets

BYTE_ORDER_MARK = "\ufeff"
"""Spreadsheets take a file without it for an old code page."""

_HEAD = (
    "tool",
    "vector X (mm)",
    "vector Y (mm)",
    "vector Z (mm)",
    "U X (mm)",
    "U Y (mm)",
    "U Z (mm)",
    "largest contributor",
    "old stored X",
    "old stored Y",
    "old stored Z",
    "new stored X",
    "new stored Y",
    "new stored Z",
    "warnings",
)


def offsets_csv(
    solution: Solution,
    findings: Sequence[Finding],
    stored: StoredOffsets | None,
    *,
    simulated: bool = False,
) -> str:
    """Return the table as text: UTF-8 with its mark, fixed decimals, units in the headings."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow((*_HEAD, "simulated") if simulated else _HEAD)
    general = [found for found in findings if not (found.path or "").startswith("tool ")]
    for offset in solution.tools:
        own = [found for found in findings if found.path == f"tool {offset.tool}"]
        row = _row(offset, [*general, *own], stored)
        writer.writerow([*row, "yes"] if simulated else row)
    return BYTE_ORDER_MARK + text.getvalue()


def _row(
    offset: ToolOffset, findings: Sequence[Finding], stored: StoredOffsets | None
) -> list[str]:
    old = None if stored is None else stored.old[offset.tool]
    new = None if stored is None else stored.new[offset.tool]
    return [
        str(offset.tool),
        *(_fixed(value) for value in offset.vector_mm),
        *(_fixed(value) for value in offset.expanded_mm),
        offset.largest_contributor or "reference",
        *_stored_cells(old),
        *_stored_cells(new),
        " ".join(found.code for found in findings),
    ]


def _stored_cells(value: OffsetMm | None) -> list[str]:
    return ["", "", ""] if value is None else [_fixed(part) for part in value]


def _fixed(value: float | None) -> str:
    return "" if value is None else f"{value + 0.0:.4f}"
