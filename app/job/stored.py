"""From nozzle vectors to what the firmware stores: old value, new value, text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from app.dialects import dialect_named
from app.dialects.values import NozzleVectorMm, OffsetMm, PasteText
from app.job.checks import Finding
from app.job.offsets import Solution
from app.job.profile import Profile


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredOffsets:
    """What goes into the firmware: old and new value of each tool, the text, and what to know."""

    old: Mapping[int, OffsetMm]
    new: Mapping[int, OffsetMm]
    text: PasteText


def stored_offsets(
    dialect: str,
    stored_raw: Mapping[int, OffsetMm],
    reference_tool: int,
    solution: Solution,
    *,
    with_heights: bool = True,
) -> StoredOffsets:
    """Return old and new stored values and the paste text.

    Parameters
    ----------
    dialect
        Name of what the firmware wants to be told.
    stored_raw
        What it has now, in its own sign; a tool left out has zero.
    reference_tool, solution
        The measured nozzle vectors, seen from this tool.
    with_heights
        Whether measured heights go in; if not, the stored ones stay.
    """
    speaks = dialect_named(dialect)
    vectors = {
        offset.tool: offset.vector_mm if with_heights else offset.vector_mm._replace(z=None)
        for offset in solution.tools
    }
    old = {tool: OffsetMm() for tool in vectors} | dict(stored_raw)
    new = speaks.new_stored(vectors=vectors, stored_raw=old, reference_tool=reference_tool)
    text = speaks.text(
        new=new,
        stored_raw=old,
        reference_tool=reference_tool,
        z_measured=any(vectors[tool].z is not None for tool in vectors if tool != reference_tool),
    )
    return StoredOffsets(old=old, new=new, text=text)


def stored_of(profile: Profile, solution: Solution) -> StoredOffsets:
    """Return the same for a machine's profile; heights only where its owner asks for them."""
    old = {tool.number: tool.stored_raw for tool in profile.tools}
    return stored_offsets(
        profile.dialect,
        old,
        profile.reference_tool,
        solution,
        with_heights=profile.z_by_focus,
    )


def stored_findings(
    dialect: str, old: Mapping[int, OffsetMm], new: Mapping[int, OffsetMm]
) -> tuple[Finding, ...]:
    """Return what of the old and of the new stored values this firmware cannot have."""
    speaks = dialect_named(dialect)
    found = {(one.code, one.tool): one for one in (*speaks.findings(new), *speaks.findings(old))}
    return tuple(
        Finding(code=one.code, message=one.message, path=f"tool {one.tool}", fails=True)
        for one in found.values()
    )


def expected_vectors_mm(
    dialect: str, stored_raw: Mapping[int, OffsetMm], reference_tool: int
) -> dict[int, NozzleVectorMm]:
    """Return where nozzles stand by what is stored now, seen from the reference nozzle.

    The amount d that the display contains is the nozzle vector itself when the
    stored value is right: C = L - d puts all nozzles on one L.
    """
    speaks = dialect_named(dialect)
    d = {tool: speaks.in_display_mm(raw) for tool, raw in stored_raw.items()}
    origin = d.get(reference_tool, OffsetMm())
    return {tool: NozzleVectorMm(own.x - origin.x, own.y - origin.y) for tool, own in d.items()}
