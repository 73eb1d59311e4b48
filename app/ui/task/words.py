"""What the task panel says that depends on values: plain functions, no Qt."""

from __future__ import annotations

import math
from collections.abc import Set as AbstractSet
from enum import StrEnum

from app.job.by_hand import Agreement, AxisEntry, PlaceEntry
from app.job.interfaces import CameraHealth, CameraState
from app.job.run import Run
from app.job.sheet import (
    PREPARATION,
    ConfirmMirror,
    Done,
    EnterOffsets,
    Export,
    HomeFirst,
    MendScale,
    Prepare,
    SightScale,
    SightTool,
    Step,
)
from app.ui.state import DeskState
from app.wiring.glance import BurstProgress
from vision.bore import BoreFit, BoreRefusal

SIGHTING_SAVED = "The last sighting is being saved."
STEP_SAVED = "The last step is being saved."
NO_PICTURE_YET = "No picture has been looked at yet."
NOT_TYPED = "Type X and Y first."
JOG_NOT_TYPED = "Type the jogs first."
KEPT = "The next press sights with what was typed."

CAUTIONS = (
    "Nozzles may be hot; axes move and pinch.",
    "Lift Z before anything travels.",
    "Never home or probe with the camera in the way.",
    "Keep a hand near the switch.",
    "The maker's manual and the rules of your workshop come first.",
)
"""What stays in view while one makes ready (cautions of the trade; common practice,
no source)."""

HOMING_CAUTION = "Homing runs into the switches by itself: camera and hands out of its way."

CAMERA_QUESTION = "What happened to the camera?"
CAMERA_CONSEQUENCE = (
    "Sightings from before no longer compare: the jogs for the pixel scale and all tools "
    "are done again. Nothing is deleted."
)
CAMERA_WHYS = ("moved", "refocused", "zoomed")
"""What can have happened to the camera, as `CameraWasMoved` takes it."""

MIRROR_YES = "The signs are right; the camera flips its picture. That is taken into account."
MIRROR_NO = "An axis was entered with the wrong sign: its jogs are retyped or made again."
EXPORT_WORDS = "Nothing is sent to the machine; you enter the new values yourself."
DONE_WORDS = (
    "The run is kept. Look again after a change of nozzle, after a crash, or when a print "
    "shows seams between colours."
)

_TICKED_BY_BUTTON = {
    "nozzles-cold": "Nozzles are cold",
    "filament-back": "Filament is back",
    "tips-brushed": "Tips are clean",
    "motors-on": "Motors are kept on",
    "camera-fixed": "Camera is fixed",
    "automatics-off": "Automatics are off",
}


class Mark(StrEnum):
    """What stands beside a field: drawn as a shape, said as a word."""

    NONE = "none"
    UNKNOWN = "unknown"
    AGREES = "agrees"
    DOUBTFUL = "doubtful"
    PROBLEM = "problem"


def button_words(
    step: Step,
    *,
    entry: PlaceEntry | None = None,
    keep_doubtful: bool = False,
    ticked: AbstractSet[str] = frozenset(),
    burst_running: bool = False,
) -> str:
    """Return what the big button says; empty when there is nothing to press.

    Parameters
    ----------
    step
        What comes next in the run.
    entry
        What the fields say, where a place is asked for.
    keep_doubtful
        Whether the next press takes what was typed although the picture disagrees.
    ticked
        What is ticked of the preparation before it is recorded.
    burst_running
        Whether a sighting is under way: then there is only Stop.
    """
    if burst_running:
        return ""
    match step:
        case Prepare():
            item = next_item(step, ticked)
            return "" if item is None else _TICKED_BY_BUTTON[item]
        case SightScale(tool=tool) | SightTool(tool=tool):
            doubtful = _doubtful(entry)
            if keep_doubtful and doubtful:
                return f"Keep {doubtful[0].text.strip() if len(doubtful) == 1 else 'both'}"
            return f"Sight tool {tool}"
        case HomeFirst():
            return "Homed"
        case Export():
            return "Take the offsets"
        case EnterOffsets(tools=tools):
            return f"Tool {tools[0]} is entered"
        case MendScale() | ConfirmMirror() | Done():
            return ""


def blocked_words(
    step: Step,
    *,
    entry: PlaceEntry | None,
    answer: BoreFit | BoreRefusal | None,
    camera: CameraHealth,
    hint: str,
    saving: bool,
) -> str:
    """Return why the big button cannot be pressed now; empty when it can.

    What is typed wrongly is named before what the picture lacks only when the
    picture lacks nothing: without a bore in view there is no sighting to type for.

    Parameters
    ----------
    step, entry
        What comes next, and what the fields say.
    answer
        The finder's newest answer; None before the first.
    camera
        How the camera is doing.
    hint
        Where to jog when the bore is not in view; empty for none.
    saving
        Whether a fact is on its way to the disk.
    """
    sights = isinstance(step, SightScale | SightTool)
    if saving:
        return SIGHTING_SAVED if sights else STEP_SAVED
    if not sights:
        return ""
    if camera.state is not CameraState.LIVE:
        return camera.sentence or f"The camera is {camera.state.value}."
    if answer is None:
        return NO_PICTURE_YET
    if isinstance(answer, BoreRefusal):
        return hint or f"{answer.message} {answer.remedy}"
    return _entry_blocks(entry)


def _entry_blocks(entry: PlaceEntry | None) -> str:
    if entry is None:
        return ""
    if entry.problem is not None:
        return entry.problem
    if entry.place is None:
        return JOG_NOT_TYPED if entry.as_jogs else NOT_TYPED
    return ""


def next_item(step: Prepare, ticked: AbstractSet[str]) -> str | None:
    """Return the first item of the preparation that is not ticked; None when all are."""
    return next((item for item in PREPARATION if not is_ticked(item, step, ticked)), None)


def is_ticked(item: str, step: Prepare, ticked: AbstractSet[str]) -> bool:
    """Return whether an item is ticked, be it recorded or not yet."""
    return item in ticked or item not in step.left


def panel_sentence(state: DeskState) -> str:
    """Return the one sentence of the panel.

    Where a list below says each item, and while another question is asked, the
    sentence does not say them again.
    """
    if isinstance(state.step, EnterOffsets):
        tools = tools_to_enter(state.snapshot.run)
        entered = len(tools) - len(state.step.tools)
        return f"Enter the new offsets in the machine ({entered} of {len(tools)})."
    if not isinstance(state.step, Prepare):
        return state.sentence
    left = sum(not is_ticked(item, state.step, state.ticked) for item in PREPARATION)
    if left == 0:
        return "Ready."
    return f"Make ready ({len(PREPARATION) - left} of {len(PREPARATION)})."


def mark_of(axis: AxisEntry) -> Mark:
    """Return what stands beside a field."""
    if axis.problem is not None and axis.text.strip():
        return Mark.PROBLEM
    if not axis.text.strip():
        return Mark.NONE
    return {
        Agreement.UNKNOWN: Mark.UNKNOWN,
        Agreement.AGREES: Mark.AGREES,
        Agreement.DOUBTFUL: Mark.DOUBTFUL,
    }[axis.agreement]


def mark_words(axis: AxisEntry, decimals: int) -> str:
    """Return the few words beside a field; the sentence to them is `mark_sentence`."""
    match mark_of(axis):
        case Mark.PROBLEM:
            return "not usable"
        case Mark.NONE:
            return "optional" if axis.axis == "Z" else ""
        case Mark.UNKNOWN:
            return "cannot tell"
        case Mark.AGREES:
            return "agrees"
        case Mark.DOUBTFUL:
            if axis.picture_says_mm is None:
                return "disagrees"
            return f"picture {axis.picture_says_mm:.{decimals}f}"


def mark_sentence(axis: AxisEntry, decimals: int) -> str:
    """Return what the mark beside a field means, in one sentence."""
    match mark_of(axis):
        case Mark.PROBLEM:
            return axis.problem or ""
        case Mark.NONE:
            return ""
        case Mark.UNKNOWN:
            return f"The picture cannot tell yet whether this {axis.axis} is right."
        case Mark.AGREES:
            return f"The picture agrees with this {axis.axis}."
        case Mark.DOUBTFUL:
            if axis.picture_says_mm is None:
                return f"The picture disagrees with this {axis.axis}."
            return f"The picture says {axis.axis} {axis.picture_says_mm:.{decimals}f}."


def take_words(entry: PlaceEntry, decimals: int) -> str:
    """Return what the button says that takes the picture's values; empty without a doubt."""
    said = [axis for axis in _doubtful(entry) if axis.picture_says_mm is not None]
    if not said:
        return ""
    if len(said) == 1:
        return f"Take {said[0].picture_says_mm:.{decimals}f}"
    return "Take both"


def axis_words(axis: str, *, as_jogs: bool) -> str:
    """Return what stands before a field."""
    return f"jog {axis}" if as_jogs else axis


def field_words(axis: str, *, as_jogs: bool) -> str:
    """Return what a field is for, for its tooltip and for screen readers."""
    if as_jogs:
        return f"The jogs of {axis} since the last sighting, added up, in mm"
    if axis == "Z":
        return "What the machine's display shows for Z, in mm; may stay empty"
    return f"What the machine's display shows for {axis}, in mm"


def strip_words(state: DeskState) -> tuple[str, ...]:
    """Return what stands right above the big button, each sentence once.

    Why the last try was no sighting, then why the button cannot be pressed, or where
    to jog.
    """
    said: list[str] = []
    if state.refused is not None:
        said.append(f"{state.refused.sentence} {state.refused.remedy}".strip())
    if state.blocked and state.blocked not in (SIGHTING_SAVED, STEP_SAVED):
        said.append(state.blocked)
    if state.keep_doubtful and not state.blocked:
        said.append(KEPT)
    if state.hint and not any(state.hint in words for words in said):
        said.append(state.hint)
    return tuple(said)


def progress_words(burst: BurstProgress) -> str:
    """Return how far a sighting is."""
    return f"Sighting: {burst.taken} of {burst.wanted}"


def tools_to_enter(run: Run) -> tuple[int, ...]:
    """Return all tools whose offset has to be entered, the entered ones too."""
    reference = run.profile.reference_tool
    return tuple(tool.number for tool in run.profile.tools if tool.number != reference)


def _doubtful(entry: PlaceEntry | None) -> tuple[AxisEntry, ...]:
    if entry is None:
        return ()
    return tuple(axis for axis in entry.axes if axis.agreement is Agreement.DOUBTFUL)


def number_of(text: str) -> float | None:
    """Return the number in a field, with a point or a comma; None when there is none."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None
