"""What is said against a result: each finding travels with the numbers and the text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.dialects.values import Layout, NozzleVectorMm
from app.job.budget import DEFAULT_SETTINGS, OffsetSettings
from app.job.jogs import decimals_of
from app.job.observations import Evidence, Observation
from app.job.offsets import Solution
from vision.geometry import PointMm
from vision.pixel_scale import DoubtfulEntry, PixelScale, doubtful_sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing to know before the numbers are used.

    Attributes
    ----------
    code
        Short name for programs.
    message
        For people: what is the matter and what to do.
    path
        Which entry or tool it is about, or None.
    fails
        Whether a check failed, or it is only good to know.
    """

    code: str
    message: str
    path: str | None = None
    fails: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What the machine's owner and its layout allow.

    Attributes
    ----------
    tolerance_mm
        Largest expanded uncertainty to be content with.
    vector_limit_mm
        How far a nozzle vector may lie from where it is expected; infinite where
        the layout says nothing.
    expected_mm
        Where each nozzle is expected by design or by what is stored now.
    layout
        For the words of the message.
    """

    tolerance_mm: float
    vector_limit_mm: float
    expected_mm: Mapping[int, NozzleVectorMm]
    layout: Layout | None = None


SIZE_CHANGE_LIMIT = 0.05
"""Apparent bore size varies by some percent with focus; more is a changed zoom or focus."""

_DISAGREEMENT_SIGMAS = 4.0
"""One sound job in some thousand has a sighting this far out (normal distribution)."""


def check(
    evidence: Evidence,
    solution: Solution,
    limits: Limits,
    settings: OffsetSettings = DEFAULT_SETTINGS,
) -> tuple[Finding, ...]:
    """Return all findings against a solution; an empty tuple is a clean bill."""
    return (
        *_scale_findings(evidence, solution.scale),
        *_closure_findings(evidence, solution, settings),
        *_repeat_findings(evidence, solution),
        *_size_findings(evidence),
        *_vector_findings(solution, limits),
        *_uncertainty_findings(solution, limits),
        *_reversal_findings(evidence),
        *_height_findings(solution),
    )


def doubt_words(
    doubtful: Sequence[DoubtfulEntry], seen: Sequence[Observation], decimals: int
) -> str:
    """Return what is said of entries that disagree with the picture, as the display reads.

    Parameters
    ----------
    doubtful
        Not empty; their indices count in `seen`.
    seen
        The jogs that the pixel scale was learnt from.
    decimals
        Places of the machine's display.
    """
    d = seen[doubtful[0].index].in_display_mm
    words = doubtful_sentence(doubtful, decimals=decimals, in_display_mm=PointMm(d.x, d.y))
    return words[0].upper() + words[1:]


def _scale_findings(evidence: Evidence, scale: PixelScale) -> Iterator[Finding]:
    if scale.mirrored:
        yield Finding(
            code="mirrored-picture",
            message="The picture is mirrored, or one axis was entered with the wrong sign: "
            "a camera that looks up and does not flip its picture gives a positive determinant. "
            "Make sure that +X and +Y are what the machine's display calls them.",
        )
    if scale.doubtful:
        decimals = decimals_of(evidence.figures.display_step_mm)
        yield Finding(
            code="entry-doubtful",
            message=f"{doubt_words(scale.doubtful, evidence.scale_jogs, decimals)}. "
            "Correct the entry, or strike that jog out.",
            path=evidence.scale_jogs[scale.doubtful[0].index].path,
            fails=True,
        )


def _closure_findings(
    evidence: Evidence, solution: Solution, settings: OffsetSettings
) -> Iterator[Finding]:
    closure, sigma = solution.closure_um, solution.closure_sigma_um
    if closure is None or sigma is None:
        yield Finding(
            code="no-closure",
            message="The reference tool was sighted once only, so nothing tells whether the "
            "camera moved meanwhile. Sight the reference tool again at the end.",
        )
        return
    if any(abs(c) > settings.closure_sigmas * s for c, s in zip(closure, sigma, strict=True)):
        last = evidence.of_tool(evidence.reference_tool)[-1]
        yield Finding(
            code="closure",
            message=f"The reference tool came back {closure[0]:+.0f} um in X and "
            f"{closure[1]:+.0f} um in Y from where it was: the camera or the machine moved "
            "in between. Repeat everything since the last agreeing sighting of the reference.",
            path=last.path,
            fails=True,
        )


def _repeat_findings(evidence: Evidence, solution: Solution) -> Iterator[Finding]:
    """Sightings of one tool that do not agree: a mistyped place, or a tool badly seated."""
    for tool in evidence.tools:
        at = [i for i, s in enumerate(evidence.sightings) if s.tool == tool]
        misses = np.abs(solution.residuals_um[at])
        expected = np.maximum(solution.expected_residuals_um[at], 0.5)
        worst = int(np.argmax(np.max(misses / expected, axis=1)))
        if len(at) < 2 or np.max(misses[worst] / expected[worst]) < _DISAGREEMENT_SIGMAS:
            continue
        miss = solution.residuals_um[at[worst]] * 1e-3
        names = ", ".join(evidence.sightings[i].path for i in at)
        yield Finding(
            code="sightings-disagree",
            message=f"The sightings of tool {tool} ({names}) disagree by more than the machine "
            f"scatters: {evidence.sightings[at[worst]].path} is off by {miss[0]:+.3f} mm in X and "
            f"{miss[1]:+.3f} mm in Y. Check the typed positions, and that the tool sat well.",
            path=evidence.sightings[at[worst]].path,
            fails=True,
        )


def _size_findings(evidence: Evidence) -> Iterator[Finding]:
    reference = [
        s
        for s in (*evidence.scale_jogs, *evidence.sightings)
        if s.tool == evidence.reference_tool and s.radius_px
    ]
    radii = [s.radius_px for s in reference if s.radius_px]
    for seen, radius in zip(reference[1:], radii[1:], strict=True):
        if abs(radius / radii[0] - 1.0) > SIZE_CHANGE_LIMIT:
            yield Finding(
                code="size-changed",
                message=f"The bore of the reference tool measures {radius:.1f} px at {seen.path}, "
                f"and {radii[0]:.1f} px at {reference[0].path}: focus or zoom changed. "
                "Learn the pixel scale again and repeat what came after.",
                path=seen.path,
                fails=True,
            )
            return


def _vector_findings(solution: Solution, limits: Limits) -> Iterator[Finding]:
    for offset in solution.tools[1:]:
        expected = limits.expected_mm.get(offset.tool, NozzleVectorMm(0.0, 0.0))
        off = math.hypot(offset.vector_mm.x - expected.x, offset.vector_mm.y - expected.y)
        if off > limits.vector_limit_mm:
            layout = "this machine" if limits.layout is None else f"layout {limits.layout.value}"
            yield Finding(
                code="vector-beyond-layout",
                message=f"Nozzle {offset.tool} stands {off:.2f} mm from where it is expected, more "
                f"than the {limits.vector_limit_mm:g} mm that {layout} allows: "
                "a wrong sign, a wrong tool or a mistyped position is likely.",
                path=f"tool {offset.tool}",
                fails=True,
            )


def _uncertainty_findings(solution: Solution, limits: Limits) -> Iterator[Finding]:
    for offset in solution.tools[1:]:
        worst = max(offset.expanded_mm[0], offset.expanded_mm[1])
        if worst > limits.tolerance_mm:
            largest = offset.contributors[0]
            yield Finding(
                code="uncertainty-above-tolerance",
                message=f"Tool {offset.tool} is known to +-{worst:.3f} mm, which is more than "
                f"the {limits.tolerance_mm:g} mm asked for. Most of it is {largest.name}: "
                f"{largest.remedy}.",
                path=f"tool {offset.tool}",
                fails=True,
            )


def _reversal_findings(evidence: Evidence) -> Iterator[Finding]:
    sides = {s.approach for s in evidence.sightings}
    unknown = any(0 in side for side in sides)
    if evidence.figures.reversal_um is None and (unknown or len(sides) > 1):
        what = (
            "It is not said of all places from which side they were reached"
            if unknown
            else "Not all places were reached from the same side"
        )
        yield Finding(
            code="reversal-unknown",
            message=f"{what}, and the machine's reversal (backlash) is not known; "
            "the uncertainty allows for a usual one.",
        )


def _height_findings(solution: Solution) -> Iterator[Finding]:
    if any(offset.vector_mm.z is not None for offset in solution.tools[1:]):
        worst = max(o.expanded_mm[2] or 0.0 for o in solution.tools)
        yield Finding(
            code="height-by-focus",
            message=f"The heights rest on focusing alone (+-{worst:.2f} mm). "
            "Measure Z with a shim or a probe before you rely on it.",
        )
