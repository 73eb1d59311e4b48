"""What the result sheet says of a run: sentences and the rows of its table, no Qt."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from app.dialects import Dialect, dialect_named
from app.dialects.writing import AXES, Axis, component, mm_text
from app.job.budget import DEFAULT_SETTINGS
from app.job.checks import Finding
from app.job.offsets import Solution, ToolOffset
from app.job.profile import Profile
from app.job.snapshot import Snapshot
from app.job.stored import StoredOffsets
from app.ui.look.states import State
from app.ui.result.texts import is_taken
from app.ui.state import DeskState

LEFT_OUT = "left out"
"""Stands for a new value that the text leaves out; the notes say what to do instead."""

_SEVERAL = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A sentence with the state whose shape stands before it."""

    state: State
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolRow:
    """One tool in the table of X and Y.

    Attributes
    ----------
    tool
        Its number.
    state
        REFERENCE, WARNING where U exceeds what the machine asks for, else None.
    old, new, change
        X and Y in mm as text; None where the firmware stores nothing for this tool.
    u
        Expanded uncertainty of X and Y in um; empty for the reference.
    mostly
        Name of the largest contributor; "reference" for the reference.
    remark
        Instead of old and new values: that nothing is stored.
    """

    tool: int
    state: State | None
    old: tuple[str, str] | None
    new: tuple[str, str] | None
    change: tuple[str, str] | None
    u: tuple[str, str]
    mostly: str
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightRow:
    """One tool in the table of Z, which is there only if a stored Z changes."""

    tool: int
    old: str
    new: str
    change: str
    u: str


def made_words(state: DeskState, zone: tzinfo | None = None) -> str:
    """Return when the run's last entry was made, in the person's own time."""
    at = datetime.fromisoformat(state.snapshot.run.entries[-1].at).astimezone(zone)
    count = len(state.snapshot.run.profile.tools)
    return f"{count} tools, {at:%Y-%m-%d %H:%M}"


def closure_said(snapshot: Snapshot) -> Said:
    """Return how well the reference came back, against what scatter alone would do."""
    solution = snapshot.solution
    closure = None if solution is None else solution.closure_um
    sigma = None if solution is None else solution.closure_sigma_um
    if closure is None or sigma is None:
        return Said(
            state=State.WARNING,
            sentence="The reference was sighted once only: nothing tells whether anything moved.",
        )
    came = f"The reference came back to within X {_um(closure[0])}, Y {_um(closure[1])} um"
    expected = f"{max(sigma):.0f} um is to be expected"
    if any(found.code == "closure" for found in snapshot.findings):
        return Said(state=State.BAD, sentence=f"{came}; {expected}: something moved.")
    if any(abs(c) > _SEVERAL * s for c, s in zip(closure, sigma, strict=True)):
        limit = DEFAULT_SETTINGS.closure_sigmas * max(sigma)
        return Said(
            state=State.WARNING,
            sentence=f"{came}; {expected}. That is much, but less than the {limit:.0f} um "
            "that would mean a movement.",
        )
    return Said(state=State.GOOD, sentence=f"{came}; {expected}: nothing moved.")


def findings_said(findings: tuple[Finding, ...]) -> tuple[Said, ...]:
    """Return what is said against the result, failed checks first."""
    ordered = sorted(findings, key=lambda found: not found.fails)
    return tuple(
        Said(
            state=State.BAD if found.fails else State.WARNING,
            sentence=f"{'Check failed' if found.fails else 'Good to know'}: {found.message}",
        )
        for found in ordered
    )


def tool_rows(profile: Profile, solution: Solution, stored: StoredOffsets) -> tuple[ToolRow, ...]:
    """Return the table of X and Y, one row a tool in the order of their numbers."""
    speaks = dialect_named(profile.dialect)
    offsets = sorted(solution.tools, key=lambda offset: offset.tool)
    return tuple(_tool_row(speaks, profile, offset, stored) for offset in offsets)


def _tool_row(
    speaks: Dialect, profile: Profile, offset: ToolOffset, stored: StoredOffsets
) -> ToolRow:
    tool = offset.tool
    is_reference = tool == profile.reference_tool
    too_wide = max(offset.expanded_mm[:2]) > profile.tolerance_mm and not is_reference
    u_x, u_y = (f"{1e3 * value:.0f}" for value in offset.expanded_mm[:2])
    holds = speaks.can_store(tool)
    pairs = [_cells(speaks, tool, axis, stored) for axis in ("x", "y")]
    x, y = pairs
    return ToolRow(
        tool=tool,
        state=State.REFERENCE if is_reference else State.WARNING if too_wide else None,
        old=(x[0], y[0]) if holds else None,
        new=(x[1], y[1]) if holds else None,
        change=(x[2], y[2]) if holds else None,
        u=("", "") if is_reference else (u_x, u_y),
        mostly=offset.largest_contributor or "reference",
        remark="" if holds else f"{speaks.title} stores nothing for T{tool}",
    )


def _cells(speaks: Dialect, tool: int, axis: Axis, stored: StoredOffsets) -> tuple[str, str, str]:
    """Return old, new and change as they are written, so that the row adds up."""
    old = component(stored.old[tool], axis)
    new = component(stored.new[tool], axis)
    if axis not in speaks.axes:
        return "", "", ""
    change = _change(old, new)
    usable = speaks.usable_home_x
    if (
        usable is not None
        and speaks.is_home_coordinate(tool, axis)
        and not (usable(old) and usable(new))
    ):
        return mm_text(old), LEFT_OUT, change
    return mm_text(old), mm_text(new), change


def height_rows(
    profile: Profile, solution: Solution, stored: StoredOffsets
) -> tuple[HeightRow, ...]:
    """Return the table of Z; empty where no stored Z changes."""
    speaks = dialect_named(profile.dialect)
    offsets = sorted(solution.tools, key=lambda offset: offset.tool)
    rows = []
    for offset in offsets:
        old, new, change = _cells(speaks, offset.tool, AXES[2], stored)
        u_z = offset.expanded_mm[2]
        is_reference = offset.tool == profile.reference_tool
        u = "" if u_z is None or is_reference else f"{1e3 * u_z:.0f}"
        rows.append(HeightRow(tool=offset.tool, old=old, new=new, change=change, u=u))
    return tuple(rows) if any(row.old != row.new for row in rows) else ()


def remedies(solution: Solution) -> tuple[str, ...]:
    """Return what would reduce U, one sentence a largest contributor with its tools."""
    tools: dict[tuple[str, str], list[int]] = {}
    for offset in sorted(solution.tools, key=lambda offset: offset.tool):
        if offset.contributors:
            most = offset.contributors[0]
            tools.setdefault((most.name, most.remedy), []).append(offset.tool)
    return tuple(
        f"U of {_names(numbers)} is mostly {name}; it shrinks by: {remedy}."
        for (name, remedy), numbers in tools.items()
    )


def u_words(profile: Profile, solution: Solution) -> str:
    """Return what U means here, and what the mark beside a tool says."""
    factors = [k for offset in solution.tools if offset.contributors for k in offset.coverage]
    low, high = min(factors, default=2.0), max(factors, default=2.0)
    span = f"{low:.2f}" if f"{low:.2f}" == f"{high:.2f}" else f"{low:.2f} to {high:.2f}"
    return (
        f"Values in mm. U: expanded uncertainty, 95 % (factor {span}); "
        f"this machine asks for {1e3 * profile.tolerance_mm:.0f} um."
    )


def bores_words(snapshot: Snapshot) -> str:
    """Return how wide the bores are; empty where that was not measured."""
    if not snapshot.bores:
        return ""
    sizes = ", ".join(
        f"T{tool} {1e-3 * size.diameter_um:.3f}" for tool, size in sorted(snapshot.bores.items())
    )
    most = max(size.expanded_um for size in snapshot.bores.values())
    return f"Bores as measured: {sizes} mm, U at most {1e-3 * most:.3f} mm (k = 2)."


def too_wide_words(profile: Profile) -> str:
    """Return what the warning shape in the table says."""
    return f"U is above the {1e3 * profile.tolerance_mm:.0f} um that this machine asks for"


def entering_words(profile: Profile, stored: StoredOffsets) -> str:
    """Return how to enter the text: the first of the dialect's notes."""
    notes = " ".join(stored.text.notes[:_SEVERAL])
    more = " The other notes stand in the text." if len(stored.text.notes) > _SEVERAL else ""
    return f"{dialect_named(profile.dialect).title}: {notes}{more}"


def next_words(state: DeskState) -> str:
    """Return what comes after this sheet, in one calm sentence."""
    if not is_taken(state):
        return (
            "Next: take the offsets with the big button; from then on they are kept, and can be "
            "copied and saved."
        )
    return (
        "Once entered, prove it: sight the tools again with the new offsets, then print "
        "something small with all of them."
    )


def _names(tools: list[int]) -> str:
    names = [f"T{tool}" for tool in tools]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _change(old: float, new: float) -> str:
    change = float(mm_text(new)) - float(mm_text(old))
    text = mm_text(change)
    return text if text.startswith("-") or float(text) == 0.0 else f"+{text}"


def _um(value: float) -> str:
    return f"{round(value) + 0:+d}"
