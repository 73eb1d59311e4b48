"""The offsets of a job as text: a table for people, and what to paste."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from app.dialects.values import PasteText
from app.job.checks import Finding
from app.job.offsets import Solution, ToolOffset
from app.job.stored import StoredOffsets

CAUTION = "Lift Z and take the camera away first: these lines move the machine."
SIMULATED = "From the bench: a simulated machine. Do not enter these numbers anywhere."


def paste_text(text: PasteText, findings: Sequence[Finding], *, simulated: bool = False) -> str:
    """Return what to paste, with its cautions; warnings travel with it as comments.

    Comments are of the kind that the place takes where the settings go; the moves are
    G-code, and so is the caution above them.
    """
    said = [SIMULATED] if simulated else []
    said += [f"CHECK FAILED: {f.message}" if f.fails else f.message for f in findings]
    # A line break in a message would let its rest out of the comment.
    parts = [f"{text.comment} {' '.join(line.split())}" for line in (*said, *text.notes)]
    if text.settings:
        parts.append(text.settings.rstrip("\n"))
    if text.moves:
        parts += ["", f"; {CAUTION}", text.moves.rstrip("\n")]
    return "\n".join(parts) + "\n"


def settings_text(text: PasteText, findings: Sequence[Finding], *, simulated: bool = False) -> str:
    """Return the part of the paste text that moves nothing, its cautions with it."""
    return paste_text(replace(text, moves=""), findings, simulated=simulated)


def moves_text(text: PasteText, findings: Sequence[Finding], *, simulated: bool = False) -> str:
    """Return the part of the paste text that moves the machine, under its caution.

    Empty where nothing has to move. Failed checks stand here too: the moves may be
    pasted by themselves.
    """
    if not text.moves:
        return ""
    said = [SIMULATED] if simulated else []
    said += [f"CHECK FAILED: {' '.join(f.message.split())}" for f in findings if f.fails]
    lines = [f"; {line}" for line in (*said, CAUTION)]
    return "\n".join([*lines, text.moves.rstrip("\n")]) + "\n"


def offsets_table(solution: Solution, stored: StoredOffsets | None) -> str:
    """Return the offsets as lines of a table, for a terminal of 80 columns or more."""
    lines = ["tool    X (mm)    Y (mm)    U(X)   U(Y)  most of it"]
    lines += [_line(offset) for offset in solution.tools]
    if solution.closure_um is not None:
        x, y = solution.closure_um
        lines.append(f"closure: X {x:+.1f} um, Y {y:+.1f} um")
    if stored is not None:
        lines += ["", "tool  old stored value            new stored value"]
        lines += [
            f"{tool:>4}  {_triple(stored.old[tool]):<26}  {_triple(stored.new[tool])}"
            for tool in sorted(stored.new)
        ]
    return "\n".join(lines)


def budget_table(solution: Solution) -> str:
    """Return every tool's budget as lines: what contributes how much, and what reduces it."""
    lines: list[str] = []
    for offset in solution.tools[1:]:
        k_x, k_y = offset.coverage
        lines += [
            f"tool {offset.tool}   u(X) um   u(Y) um   reduced by",
            *(
                f"  {c.name:<14}{c.u_x_um:6.2f}    {c.u_y_um:6.2f}   {c.remedy}"
                for c in offset.contributors
            ),
            f"  U              {1e3 * offset.expanded_mm[0]:5.1f}     "
            f"{1e3 * offset.expanded_mm[1]:5.1f}   (k = {k_x:.2f}, {k_y:.2f})",
            "",
        ]
    return "\n".join(lines).rstrip("\n")


def _line(offset: ToolOffset) -> str:
    x, y, _ = offset.vector_mm
    ux, uy, _ = offset.expanded_mm
    if offset.largest_contributor is None:
        return f"{offset.tool:>4}  {'reference':>8}"
    return (
        f"{offset.tool:>4}  {x:+8.4f}  {y:+8.4f}  {ux:6.4f} {uy:6.4f}  {offset.largest_contributor}"
    )


def _triple(values: Sequence[float]) -> str:
    return " ".join(f"{value + 0.0:+8.3f}" for value in values)
