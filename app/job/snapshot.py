"""All that follows from a run's facts, worked out once when a fact arrives."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from app.dialects import dialect_named
from app.dialects.values import NozzleVectorMm, OffsetMm
from app.job.bores import bore_findings, bores_of
from app.job.checks import Finding, Limits, check
from app.job.offsets import ALGORITHM, Solution, learn_scale_from, solve
from app.job.places import position_problem
from app.job.profile import Profile
from app.job.run import Run
from app.job.stored import expected_vectors_mm, stored_findings, stored_of
from vision.bore import BoreSize
from vision.geometry import PointPx
from vision.pixel_scale import PixelScale, ScaleRefusal

EXPORT_AGREES_UM = 0.5
"""Exported numbers are written to a micrometre; less than half of one is the same."""

LEAST_SCALE_JOGS = 3
"""Fewer places than this say nothing about a map with six unknowns."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """A run and all that follows from it: what a screen shows and a next step needs.

    Attributes
    ----------
    run
        What the facts come down to.
    scale
        The pixel scale, why there is none, or None while jogs are still few.
    target_px
        Where bores are brought to: the first reference sighting; None before it.
    solution
        The offsets of all tools that were sighted, or None.
    findings
        What is said against it.
    bores
        How wide the bore of each tool is, where it was sighted and the scale is known.
    """

    run: Run
    scale: PixelScale | ScaleRefusal | None
    target_px: PointPx | None
    solution: Solution | None
    findings: tuple[Finding, ...]
    bores: Mapping[int, BoreSize] = field(default_factory=dict)


def snapshot_of(run: Run) -> Snapshot:
    """Return all that follows from a run."""
    evidence = run.evidence()
    reference = evidence.of_tool(evidence.reference_tool)
    target = reference[0].centre_px if reference else None
    few = len(evidence.scale_jogs) < LEAST_SCALE_JOGS
    scale = None if few else learn_scale_from(evidence)
    if not isinstance(scale, PixelScale) or target is None:
        return Snapshot(run=run, scale=scale, target_px=target, solution=None, findings=())
    solution = solve(evidence, scale)
    stored = {tool.number: tool.stored_raw for tool in run.profile.tools}
    bores = bores_of(evidence, scale)
    findings = (
        *_unanswered(run, check(evidence, solution, limits_of(run.profile))),
        *_picture_findings(run),
        *bore_findings(bores, {tool.number: tool.bore_mm for tool in run.profile.tools}),
        *_place_findings(run),
        *stored_findings(run.profile.dialect, stored, stored_of(run.profile, solution).new),
        *_export_findings(run, solution),
    )
    return Snapshot(
        run=run,
        scale=scale,
        target_px=target,
        solution=solution,
        findings=findings,
        bores=bores,
    )


def in_display_mm(profile: Profile, tool: int) -> OffsetMm:
    """Return how much of a tool's stored offset the shown coordinate contains."""
    if not profile.display_includes_offset:
        return OffsetMm()
    return dialect_named(profile.dialect).in_display_mm(profile.tool(tool).stored_raw)


def expected_vector_mm(profile: Profile, tool: int) -> NozzleVectorMm:
    """Return where a nozzle is expected, seen from the reference nozzle.

    By what the firmware has stored where it stores anything, else by design.
    """
    stored = {t.number: t.stored_raw for t in profile.tools}
    by_store = expected_vectors_mm(profile.dialect, stored, profile.reference_tool)
    if any(vector != NozzleVectorMm(0.0, 0.0) for vector in by_store.values()):
        return by_store[tool]
    return by_design_mm(profile, tool)


def by_design_mm(profile: Profile, tool: int) -> NozzleVectorMm:
    """Return where a nozzle stands by design, seen from the reference nozzle."""
    own = profile.tool(tool).nominal_mm
    origin = profile.tool(profile.reference_tool).nominal_mm
    return NozzleVectorMm(own[0] - origin[0], own[1] - origin[1])


def limits_of(profile: Profile) -> Limits:
    """Return what a machine's profile allows."""
    return Limits(
        tolerance_mm=profile.tolerance_mm,
        vector_limit_mm=profile.vector_limit_mm,
        expected_mm={t.number: by_design_mm(profile, t.number) for t in profile.tools},
        layout=profile.layout,
    )


def _unanswered(run: Run, findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Leave out what the person has answered already."""
    answered = {"mirrored-picture"} if run.mirrored else set()
    return tuple(found for found in findings if found.code not in answered)


def _place_findings(run: Run) -> tuple[Finding, ...]:
    """Name the sightings whose position the machine's display cannot have shown."""
    return tuple(
        Finding(code="position-impossible", message=problem, path=f"entry {s.number}", fails=True)
        for s in run.sightings
        if s.counts and (problem := position_problem(run.profile, s.seen.position)) is not None
    )


def _export_findings(run: Run, solution: Solution) -> tuple[Finding, ...]:
    """Tell when the same facts now give other numbers than were exported."""
    if run.exported is None:
        return ()
    now = {offset.tool: offset.vector_mm for offset in solution.tools}
    off_um = {
        tool.tool: 1e3 * math.dist(tool.nozzle_vector_mm[:2], now[tool.tool][:2])
        for tool in run.exported.tools
        if tool.tool in now
    }
    if not off_um or max(off_um.values()) <= EXPORT_AGREES_UM:
        return ()
    worst = max(off_um, key=lambda tool: off_um[tool])
    return (
        Finding(
            code="differs-from-export",
            message=f"Worked out again by {ALGORITHM}, nozzle {worst} stands "
            f"{off_um[worst]:.1f} um from where {run.exported.algorithm} had it when the offsets "
            "were exported. What is in the machine is the exported value; export again if you "
            "want the new one.",
            path=f"tool {worst}",
            fails=True,
        ),
    )


def _picture_findings(run: Run) -> tuple[Finding, ...]:
    counting = [s for s in run.sightings if s.counts]
    sizes = {s.seen.picture_size_px for s in counting}
    if len(sizes) > 1:
        shown = " and ".join(f"{w}x{h}" for w, h in sorted(sizes))
        return (
            Finding(
                code="picture-size-changed",
                message=f"The camera's picture changed size in the run ({shown}). Set it back, or "
                "say that the camera was disturbed and learn the pixel scale again.",
                fails=True,
            ),
        )
    if len({s.seen.camera_generation for s in counting}) > 1:
        return (
            Finding(
                code="camera-reopened",
                message="The camera was lost and came back during the run; the closure tells "
                "whether it stayed where it was.",
            ),
        )
    return ()
