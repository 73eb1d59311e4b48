"""Everything that the window shows of a run at one moment: one frozen value.

The desk makes it anew when a fact, a picture's answer or a typed text arrives, and
hands it to every part's ``show_state``. A part keeps nothing that is not in here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from app.job.by_hand import PlaceEntry, Typed
from app.job.interfaces import CameraHealth
from app.job.jogs import JogPlan
from app.job.live import Correction
from app.job.quality import Level
from app.job.sheet import Step
from app.job.snapshot import Snapshot
from app.job.stored import StoredOffsets
from app.wiring.glance import BurstProgress, Glance
from app.wiring.history import PastOffset


class Weight(StrEnum):
    """How much a notice matters."""

    NOTE = "note"
    WARNING = "warning"
    FAULT = "fault"


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """A sentence that is not about the step at hand: a full disk, light that drifts.

    Attributes
    ----------
    key
        The same for the same matter, so that it is told once.
    retry
        What a button beside it says, such as "Try again"; empty for none. Pressing it
        calls the desk's `retry(key)`.
    """

    key: str
    weight: Weight
    sentence: str
    retry: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """Why the last sighting was not taken, and what to do about it."""

    sentence: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeskState:
    """What the window shows.

    Attributes
    ----------
    run_id, camera_name, simulated
        Which run, on which camera, and whether it is on the bench.
    snapshot, step
        The run with what follows from it, and what comes next.
    sentence, button
        What is wanted, in one sentence, and what the big button says; an empty button
        means that there is nothing to press now.
    blocked
        Why the big button cannot be pressed now; empty when it can.
    ticked
        What is ticked of the preparation, before it is recorded.
    glance
        The finder's newest answer; None before the first.
    fix
        How to bring the bore to the target; None when that cannot be told. Rough
        when only a part of a rim is in view.
    plan
        The jogs that are asked for now; None when there is nothing to jog.
    hint
        Where to jog when the bore is not in view, or what the finder wants; empty
        when it is in view.
    focus, light
        The two columns.
    typed, entry
        The fields of the position, and what they say; None when no position is asked.
    burst
        How far a sighting under way is; None when there is none.
    refused
        Why the last try was no sighting; None once there is another.
    keep_doubtful
        Whether the next press of the button takes the sighting although the picture
        disagrees with what was typed.
    saving
        Whether a fact is on its way to the disk.
    camera
        How the camera is doing.
    notices
        What else is to be said, the weightiest first.
    automatic, speech, tone
        What is switched on.
    open_card
        Which card is open: "scale", a tool's number as text, or None.
    thumbnails
        Small grey pictures, shape (S, S), uint8, by the entry number of their sighting.
    stored
        Old and new stored values with the text, once all is sighted; else None.
    acknowledged
        Whether the warnings of the result were read.
    history
        Offsets of earlier runs on this machine by tool, oldest first.
    """

    run_id: str
    camera_name: str
    simulated: bool
    snapshot: Snapshot
    step: Step
    sentence: str
    button: str
    blocked: str
    ticked: frozenset[str]
    glance: Glance | None
    fix: Correction | None
    plan: JogPlan | None
    hint: str
    focus: Level
    light: Level
    typed: Typed
    entry: PlaceEntry | None
    burst: BurstProgress | None
    refused: Refused | None
    keep_doubtful: bool
    saving: bool
    camera: CameraHealth
    notices: tuple[Notice, ...]
    automatic: bool
    speech: bool
    tone: bool
    open_card: str | None
    thumbnails: Mapping[int, NDArray[np.uint8]]
    stored: StoredOffsets | None
    acknowledged: bool
    history: Mapping[int, tuple[PastOffset, ...]]
