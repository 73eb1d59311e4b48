"""The words and numbers of the correction panel, on the screen and spoken: no Qt."""

from __future__ import annotations

import math
from dataclasses import dataclass

from app.job.interfaces import CameraState
from app.job.jogs import Jog, decimals_of
from app.job.live import Correction
from app.job.sheet import (
    ConfirmMirror,
    HomeFirst,
    MendScale,
    Prepare,
    SightScale,
    SightTool,
)
from app.ui.state import DeskState
from vision.bore import BoreFit
from vision.pixel_scale import PixelScale

NEAR_ENOUGH_MM = 0.1
"""A nozzle this near may be sighted where it stands: what is left is measured, and over so
short a way a pixel scale good to half a percent adds half a micrometre."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisLine:
    """What is to be jogged along one axis.

    Attributes
    ----------
    axis
        Its letter.
    first
        The first jog with its sign; empty when the axis is there.
    then
        The jog back after an overshoot; empty when there is none.
    """

    axis: str
    first: str
    then: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionWords:
    """What the panel says.

    Attributes
    ----------
    lines
        One for X and one for Y; empty when there is nothing to tell.
    certainty
        How sure the numbers are; empty when they are not measured.
    distance
        How far off the bore is, or where the jogs lead.
    quiet
        Why there is nothing to jog; empty when there are lines.
    """

    lines: tuple[AxisLine, ...]
    certainty: str
    distance: str
    quiet: str


def correction_words(state: DeskState) -> CorrectionWords:
    """Return what the panel says of a state."""
    if state.plan is None:
        return CorrectionWords(lines=(), certainty="", distance="", quiet=_why_none(state))
    decimals = decimals_of(state.snapshot.run.profile.display_step_mm)
    lines = tuple(_line(axis, state.plan.jogs, decimals) for axis in "XY")
    return CorrectionWords(
        lines=lines, certainty=_certainty(state), distance=_distance(state), quiet=""
    )


def is_rough(state: DeskState) -> bool:
    """Return whether the correction leans on a part of a rim only."""
    seen_whole = state.glance is not None and isinstance(state.glance.seen.fit, BoreFit)
    return state.fix is not None and not seen_whole


def off_words(distance_mm: float) -> str:
    """Return a distance for people: whole micrometres when small, else millimetres."""
    if distance_mm < NEAR_ENOUGH_MM:
        return f"{distance_mm * 1000.0:.0f} um off"
    return f"{distance_mm:.2f} mm off"


def read_aloud(words: CorrectionWords) -> str:
    """Return what a screen reader says of the panel."""
    lines = [f"jog {_line_text(line)}" for line in words.lines]
    return ". ".join(
        text for text in (*lines, words.certainty, words.distance, words.quiet) if text
    )


def spoken(state: DeskState) -> str:
    """Return the correction for a voice, digit by digit; empty when there is none.

    Short, so that it is true when it ends: "X plus 0 point 3 4. Y there."
    """
    if state.plan is None:
        return ""
    lines = correction_words(state).lines
    if not any(line.first for line in lines):
        return "There. Sight it."
    said = ". ".join(_said_line(line) for line in lines)
    return f"About {said}." if is_rough(state) else f"{said}."


def _line(axis: str, jogs: tuple[Jog, ...], decimals: int) -> AxisLine:
    steps = [f"{jog.step_mm:+.{decimals}f}" for jog in jogs if jog.axis == axis]
    return AxisLine(axis=axis, first=steps[0] if steps else "", then=", then ".join(steps[1:]))


def _line_text(line: AxisLine) -> str:
    if not line.first:
        return f"{line.axis} there"
    return f"{line.axis} {line.first}" + (f", then {line.then}" if line.then else "")


def _said_line(line: AxisLine) -> str:
    if not line.first:
        return f"{line.axis} there"
    then = f", then {_said_number(line.then)}" if line.then else ""
    return f"{line.axis} {_said_number(line.first)}{then}"


def _said_number(text: str) -> str:
    sign = "minus" if text.startswith("-") else "plus"
    whole, _, part = text.lstrip("+-").partition(".")
    digits = " ".join(part)
    return f"{sign} {whole} point {digits}" if digits else f"{sign} {whole}"


def _certainty(state: DeskState) -> str:
    if state.fix is None:
        return ""
    if is_rough(state):
        return "about: only a part of the rim is in view"
    return f"+-{_never_surer_mm(state.fix):.3f} mm (k = 2)"


def _never_surer_mm(fix: Correction) -> float:
    """Return the larger expanded uncertainty of both axes, rounded up to a micrometre."""
    return math.ceil(max(fix.expanded_mm) * 1000.0 - 1e-6) / 1000.0


def _distance(state: DeskState) -> str:
    if isinstance(state.step, SightScale):
        return f"to place {state.step.number} of {state.step.total} for the pixel scale"
    if state.fix is None:
        return ""
    off = off_words(state.fix.distance_mm)
    if is_rough(state):
        return f"about {off}"
    is_near = state.fix.distance_mm < NEAR_ENOUGH_MM
    return f"{off}: near enough to sight" if is_near else off


def _why_none(state: DeskState) -> str:
    match state.step:
        case Prepare():
            return "No correction yet: the preparation comes first."
        case SightScale():
            return "No correction yet: the pixel scale is not known."
        case MendScale():
            return "No correction: the pixel scale has to be mended first."
        case ConfirmMirror():
            return "No correction before it is known whether the picture is mirrored."
        case HomeFirst(tool=tool):
            return f"No correction yet: tool {tool} has to be homed first."
        case SightTool():
            return _why_not_seen(state)
        case _:
            return "Nothing to jog: all is sighted."


def _why_not_seen(state: DeskState) -> str:
    if not isinstance(state.snapshot.scale, PixelScale):
        return "No correction: the pixel scale is not known."
    if state.snapshot.target_px is None:
        return "Nothing to jog: this first sighting sets the target."
    if state.camera.state is not CameraState.LIVE:
        return "No correction: the camera gives no picture."
    if state.burst is not None:
        return "Sighting: keep the machine still."
    if state.glance is None:
        return "No correction yet: the first picture is being looked at."
    if isinstance(state.glance.seen.fit, BoreFit):
        return "No correction yet: the bore is being measured."
    return "No correction: no bore is in view."
