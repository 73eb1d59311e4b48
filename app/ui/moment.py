"""What the desk remembers between two events, and the state that follows from it.

Pure: no Qt, no threads. Each event makes a new `Moment`; `state_of` works everything
out that the window shows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from app.job.bores import unexpected_words
from app.job.by_hand import PlaceEntry, Typed, prefilled, read_place
from app.job.facts import UNKNOWN, Approach
from app.job.hints import where_to_jog
from app.job.interfaces import CameraHealth, CameraState
from app.job.jogs import WANTED, JogPlan
from app.job.live import Correction, correction, correction_towards
from app.job.quality import Grade, Level, exposure_drift, focus_level, light_level
from app.job.sheet import (
    Done,
    EnterOffsets,
    Export,
    HomeFirst,
    SightScale,
    SightTool,
    Step,
    next_step,
    sentence,
)
from app.job.snapshot import Snapshot
from app.job.steady import Steadiness, watch
from app.job.stored import StoredOffsets, stored_of
from app.ui.state import DeskState, Notice, Refused, Weight
from app.ui.task.words import blocked_words, button_words
from app.wiring.glance import BurstProgress, Glance
from app.wiring.history import PastOffset
from vision.bore import BoreFit, BoreRefusal, RadiusPrior
from vision.exposure import Exposure
from vision.pixel_scale import PixelScale

LIGHT_KEY, BORE_KEY = "light", "bore"
"""The notices about light that drifts, and about a bore that is not of the expected size."""

_WEIGHTS = {Weight.FAULT: 0, Weight.WARNING: 1, Weight.NOTE: 2}
_NOTHING_YET = CameraHealth(
    state=CameraState.OPENING,
    sentence="The camera is being opened.",
    frame_age_s=float("inf"),
    dropped=0,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Switches:
    """What is switched on, apart from the run."""

    automatic: bool = False
    speech: bool = False
    tone: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moment:
    """What the desk knows right now.

    Attributes
    ----------
    run_id, camera_name, simulated, history
        Of the run; they do not change.
    snapshot, thumbnails
        As the recorder gave them last.
    typed
        The fields as they stand.
    ticked
        What is ticked of the preparation, before it is recorded.
    glance, camera
        The newest answer of the finder, and how the camera is doing.
    steadiness
        For how long the bore has stood still.
    sharpest
        The largest sharpness seen in this run so far.
    first_light
        The light at the first sharp bore; None before it.
    burst, refused, keep_doubtful, saving
        As in `DeskState`.
    switches, open_card, acknowledged, notices
        As in `DeskState`.
    """

    run_id: str
    camera_name: str
    simulated: bool
    history: Mapping[int, tuple[PastOffset, ...]]
    snapshot: Snapshot
    thumbnails: Mapping[int, NDArray[np.uint8]]
    typed: Typed
    ticked: frozenset[str] = frozenset()
    glance: Glance | None = None
    camera: CameraHealth = _NOTHING_YET
    steadiness: Steadiness | None = None
    sharpest: float = 0.0
    first_light: Exposure | None = None
    burst: BurstProgress | None = None
    refused: Refused | None = None
    keep_doubtful: bool = False
    saving: bool = False
    switches: Switches = field(default_factory=Switches)
    open_card: str | None = None
    acknowledged: bool = False
    notices: tuple[Notice, ...] = ()

    @property
    def step(self) -> Step:
        """What comes next in the run."""
        return next_step(self.snapshot)

    @property
    def entry(self) -> PlaceEntry | None:
        """What the fields say; None where no position is asked for."""
        step = self.step
        if not isinstance(step, SightScale | SightTool):
            return None
        seen = None if self.glance is None else self.glance.seen
        return read_place(step, self.snapshot, self.typed, seen)

    @property
    def arrived(self) -> Approach:
        """From which side the present place was reached, as far as the person says."""
        return WANTED if self.typed.last_jogs_plus else UNKNOWN


def first_moment(
    *,
    run_id: str,
    camera_name: str,
    history: Mapping[int, tuple[PastOffset, ...]],
    snapshot: Snapshot,
    thumbnails: Mapping[int, NDArray[np.uint8]],
) -> Moment:
    """Return the moment at which a run, new or resumed, comes onto the window."""
    return Moment(
        run_id=run_id,
        camera_name=camera_name,
        simulated=snapshot.run.started.simulated,
        history=history,
        snapshot=snapshot,
        thumbnails=thumbnails,
        typed=prefilled(next_step(snapshot), snapshot),
        ticked=snapshot.run.prepared,
    )


def with_recorded(
    moment: Moment, snapshot: Snapshot, thumbnails: Mapping[int, NDArray[np.uint8]]
) -> Moment:
    """Return the moment after a fact: fields are filled in anew where the step is another."""
    step = next_step(snapshot)
    changed = step != moment.step
    return replace(
        moment,
        snapshot=snapshot,
        thumbnails=thumbnails,
        typed=prefilled(step, snapshot) if changed else moment.typed,
        refused=None,
        keep_doubtful=False,
        steadiness=None if changed else moment.steadiness,
        # Another tool may have another land, brass or steel: its light is judged anew.
        first_light=moment.first_light if tool_of(step) == tool_of(moment.step) else None,
        acknowledged=moment.acknowledged and isinstance(step, Export | EnterOffsets | Done),
    )


def with_glance(moment: Moment, glance: Glance) -> Moment:
    """Return the moment after the finder's answer to one more frame."""
    fit = glance.seen.fit
    is_found = isinstance(fit, BoreFit)
    first = moment.first_light
    if first is None and is_found and moment.snapshot.run.sightings:
        first = glance.exposure
    drift = exposure_drift(first, glance.exposure) if first is not None and is_found else None
    seen = moment.notices
    if isinstance(fit, BoreFit):
        other = _other_bore(moment.snapshot, fit)
        seen = told(told(seen, LIGHT_KEY, drift), BORE_KEY, other)
    after = replace(
        moment,
        glance=glance,
        sharpest=max(moment.sharpest, glance.sharpness),
        first_light=first,
        steadiness=watch(moment.steadiness, glance.seen),
        notices=seen,
    )
    entry = after.entry
    # A doubt that went away with the motion is not one that the person wants to keep.
    still_doubtful = entry is not None and entry.doubt is not None
    return replace(after, keep_doubtful=moment.keep_doubtful and still_doubtful)


def told(
    notices: tuple[Notice, ...],
    key: str,
    sentence: str | None,
    *,
    weight: Weight = Weight.WARNING,
    retry: str = "",
) -> tuple[Notice, ...]:
    """Return the notices with this matter told once, or no longer, the weightiest first."""
    others = [notice for notice in notices if notice.key != key]
    if sentence is not None:
        others.append(Notice(key=key, weight=weight, sentence=sentence, retry=retry))
    return tuple(sorted(others, key=lambda notice: _WEIGHTS[notice.weight]))


def tool_of(step: Step) -> int | None:
    """Return the tool that a step has in view, or None where it is about none."""
    match step:
        case SightScale(tool=tool) | SightTool(tool=tool) | HomeFirst(tool=tool):
            return tool
        case _:
            return None


def prior_of(snapshot: Snapshot) -> RadiusPrior | None:
    """Return the bore's radius, as far as the scale and the tool's nominal bore tell it."""
    tool = tool_of(next_step(snapshot))
    if not isinstance(snapshot.scale, PixelScale) or tool is None:
        return None
    bore_mm = snapshot.run.profile.tool(tool).bore_mm
    # A nozzle it is: one of another bore is found too, and a notice says so.
    return RadiusPrior(radius_px=bore_mm * 500.0 / snapshot.scale.um_per_px, strict=False)


def _other_bore(snapshot: Snapshot, fit: BoreFit) -> str | None:
    """Return what is said of a bore that is not the asked tool's; None where it is."""
    tool = tool_of(next_step(snapshot)) if fit.size_note else None
    if not isinstance(snapshot.scale, PixelScale) or tool is None:
        return None
    return unexpected_words(snapshot.scale, snapshot.run.profile.tool(tool).bore_mm, fit)


def state_of(moment: Moment) -> DeskState:
    """Return everything that the window shows."""
    step, entry = moment.step, moment.entry
    run = moment.snapshot.run
    fix = _fix(moment, step)
    glance = moment.glance
    answer = None if glance is None else glance.seen.fit
    focus = focus_level(answer, _sharpness(glance), moment.sharpest)
    hint = _hint(moment, step, focus)
    return DeskState(
        run_id=moment.run_id,
        camera_name=moment.camera_name,
        simulated=moment.simulated,
        snapshot=moment.snapshot,
        step=step,
        sentence=sentence(step, run),
        button=button_words(
            step,
            entry=entry,
            keep_doubtful=moment.keep_doubtful,
            ticked=moment.ticked,
            burst_running=moment.burst is not None,
        ),
        blocked=blocked_words(
            step,
            entry=entry,
            answer=answer,
            camera=moment.camera,
            hint=hint,
            saving=moment.saving,
        ),
        ticked=moment.ticked,
        glance=glance,
        fix=fix,
        plan=_plan(step, fix),
        hint=hint,
        focus=focus,
        light=light_level(None if glance is None else glance.exposure, answer),
        typed=moment.typed,
        entry=entry,
        burst=moment.burst,
        refused=moment.refused,
        keep_doubtful=moment.keep_doubtful,
        saving=moment.saving,
        camera=moment.camera,
        notices=moment.notices,
        automatic=moment.switches.automatic,
        speech=moment.switches.speech,
        tone=moment.switches.tone,
        open_card=moment.open_card,
        thumbnails=moment.thumbnails,
        stored=_stored(moment.snapshot, step),
        acknowledged=moment.acknowledged,
        history=moment.history,
    )


def _sharpness(glance: Glance | None) -> float:
    return 0.0 if glance is None else glance.sharpness


def _fix(moment: Moment, step: Step) -> Correction | None:
    if moment.glance is None or not isinstance(step, SightTool):
        return None
    seen = moment.glance.seen
    if isinstance(seen.fit, BoreRefusal):
        return correction_towards(moment.snapshot, seen.fit, arrived=moment.arrived)
    return correction(moment.snapshot, seen, arrived=moment.arrived)


def _plan(step: Step, fix: Correction | None) -> JogPlan | None:
    if isinstance(step, SightScale):
        return step.plan
    return None if fix is None else fix.plan


def _hint(moment: Moment, step: Step, focus: Level) -> str:
    asks = isinstance(step, SightScale | SightTool)
    if moment.glance is None or not asks:
        return ""
    where = where_to_jog(moment.snapshot, moment.glance.seen.fit, moment.arrived)
    if where or focus.grade not in (Grade.FAIR, Grade.POOR):
        return where
    # A tip that is sighted out of focus stands at another height, and a camera that
    # leans shows it elsewhere.
    return f"Focus first. {focus.advice}"


def _stored(snapshot: Snapshot, step: Step) -> StoredOffsets | None:
    if snapshot.solution is None or isinstance(step, SightScale | SightTool | HomeFirst):
        return None
    return stored_of(snapshot.run.profile, snapshot.solution)
