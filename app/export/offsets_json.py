"""The offsets of a job as one JSON object, schema 1."""

from __future__ import annotations

from collections.abc import Sequence

from app.job.checks import Finding
from app.job.offsets import Solution, ToolOffset
from app.job.stored import StoredOffsets

SCHEMA = 1

JsonObject = dict[str, object]


def offsets_object(
    solution: Solution,
    findings: Sequence[Finding],
    stored: StoredOffsets | None,
    *,
    simulated: bool = False,
) -> JsonObject:
    """Return the result of a job for programs.

    Parameters
    ----------
    solution, findings
        The offsets, and what is said against them.
    stored
        New stored values and text, where the firmware is known.
    simulated
        Marks a run on the bench.
    """
    closure = solution.closure_um
    whole: JsonObject = {
        "schema": SCHEMA,
        "pixel_scale_px_per_mm": [
            [float(value) for value in row] for row in solution.scale.matrix_px_per_mm
        ],
        "residual_um": list(solution.scale.rms_um),
        "closure_um": None if closure is None else list(closure),
        "tools": [_tool_object(offset, stored) for offset in solution.tools],
        "warnings": [
            {"code": found.code, "message": found.message, "path": found.path} for found in findings
        ],
    }
    if stored is not None:
        whole["text"] = {"settings": stored.text.settings, "moves": stored.text.moves}
    if simulated:
        whole["simulated"] = True
    return whole


def _tool_object(offset: ToolOffset, stored: StoredOffsets | None) -> JsonObject:
    covariance = offset.covariance_mm2
    tool: JsonObject = {
        "tool": offset.tool,
        "nozzle_vector_mm": list(offset.vector_mm),
        "expanded_uncertainty_mm": list(offset.expanded_mm),
        "covariance_mm2": [[covariance.xx, covariance.xy], [covariance.xy, covariance.yy]],
        "largest_contributor": offset.largest_contributor,
    }
    if stored is not None:
        tool["new_stored"] = list(stored.new[offset.tool])
    return tool
