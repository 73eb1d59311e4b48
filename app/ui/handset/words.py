"""What the bench's panel shows: steps, counts and numbers, without Qt."""

from __future__ import annotations

from dataclasses import dataclass

from app.job.jogs import decimals_of

FORGOTTEN_AFTER_S = 4.0
"""A pause this long ends a count: what is turned later is another jog."""

STEPS_MM = (10.0, 1.0, 0.1, 0.01)
"""What one detent can stand for, coarsest first."""

AXES = ("X", "Y", "Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Readout:
    """What the panel shows at one moment.

    Attributes
    ----------
    position_mm
        X, Y and Z as the display shows them; None before they were read.
    tool
        The active tool.
    homed
        Whether the active tool's axes are homed.
    doing
        What is under way, in words; empty when the machine stands.
    fault
        Why the last command was not done, in a sentence; empty when it was.
    """

    position_mm: tuple[float, float, float] | None = None
    tool: int = 0
    homed: bool = False
    doing: str = ""
    fault: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """How far the wheel was turned one way on one axis.

    Attributes
    ----------
    axis
        The axis that it drove.
    detents
        How many detents, with their sign.
    amount_um
        What they were worth, in whole um, so that tenths add up exactly.
    at_s
        When the last one fell.
    """

    axis: str
    detents: int
    amount_um: int
    at_s: float

    def words(self, decimals: int) -> str:
        """Return the jog so far, such as ``X +0.3``."""
        return f"{self.axis} {self.amount_um / 1000.0:+.{decimals}f}"

    @property
    def clicks(self) -> str:
        """The detents in words, such as ``3 clicks``."""
        count = abs(self.detents)
        return f"{count} click" if count == 1 else f"{count} clicks"


def turned_on(
    before: Turn | None, *, axis: str, detents: int, step_mm: float, now_s: float
) -> Turn:
    """Return the count after some more detents.

    It begins anew on another axis, after a reversal, and after a pause, so that an
    overshoot and its return are counted apart.
    """
    amount_um = detents * round(step_mm * 1000.0)
    goes_on = (
        before is not None
        and before.axis == axis
        and before.detents * detents > 0
        and now_s - before.at_s < FORGOTTEN_AFTER_S
    )
    if before is None or not goes_on:
        return Turn(axis=axis, detents=detents, amount_um=amount_um, at_s=now_s)
    return Turn(
        axis=axis,
        detents=before.detents + detents,
        amount_um=before.amount_um + amount_um,
        at_s=now_s,
    )


def steps_of(display_step_mm: float) -> tuple[float, ...]:
    """Return the steps that the step key goes through, coarsest first.

    None is finer than the display: what it cannot show would be lost at the next
    move, which starts from what is shown.
    """
    steps = {step for step in STEPS_MM if step >= display_step_mm - 1e-9}
    return tuple(sorted(steps | {display_step_mm}, reverse=True))


def first_step(steps: tuple[float, ...]) -> float:
    """Return the step to begin with: a tenth of a millimetre, or what is nearest to it."""
    return min(steps, key=lambda step: abs(step - 0.1))


def next_step_of(steps: tuple[float, ...], step_mm: float) -> float:
    """Return the step after this one; after the finest comes the coarsest again."""
    return steps[(steps.index(step_mm) + 1) % len(steps)]


def step_words(step_mm: float) -> str:
    """Return a step as it stands on its key, such as ``0.1 mm``."""
    return f"{step_mm:g} mm"


def figure(readout: Readout, axis: int, display_step_mm: float) -> str:
    """Return a coordinate with the display's decimals; dashes before it was read."""
    if readout.position_mm is None:
        return "---"
    value = readout.position_mm[axis]
    # Adding zero turns -0.0 into 0.0.
    return f"{value + 0.0:.{decimals_of(display_step_mm)}f}"


def state_words(readout: Readout) -> str:
    """Return the line under the figures: the tool, and whether the machine is homed."""
    return f"T{readout.tool}   {'homed' if readout.homed else 'not homed'}"


def home_question(lift_mm: float) -> str:
    """Return what homing will do, and what has to be seen to first."""
    return f"Lifts Z to {lift_mm:g}, homes X Y Z. Is the camera out of the way? Press again."
