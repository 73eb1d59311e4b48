"""The desk: carries out what a person wants, and makes the state that the window shows.

Everything here happens on the window's own thread and never waits: the camera is
looked at by `Watching`, facts are written by `Recorder`, and both report through the
relay.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import singledispatchmethod
from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal

from app.errors import RecordsError, TipwrightError
from app.job.by_hand import Typed, after_jogs_made, same_as_reference, taking_the_pictures
from app.job.facts import (
    Approach,
    CameraDisturbed,
    Entered,
    Fact,
    Homed,
    MirrorAccepted,
    Position,
    Prepared,
    Purpose,
    Restored,
    Retyped,
    Struck,
)
from app.job.interfaces import CameraHealth
from app.job.procedures import sighted_fact
from app.job.run import undo
from app.job.sheet import (
    PREPARATION,
    ConfirmMirror,
    Done,
    EnterOffsets,
    Export,
    HomeFirst,
    Prepare,
    SightScale,
    SightTool,
)
from app.job.snapshot import Snapshot
from app.job.steady import may_sight, restarted
from app.ui import intentions as want
from app.ui.moment import (
    Moment,
    first_moment,
    prior_of,
    state_of,
    told,
    with_glance,
    with_recorded,
)
from app.ui.relay import Relay
from app.ui.result.texts import result_texts, why_not
from app.ui.state import DeskState, Refused, Weight
from app.wiring.automatic import exported_fact
from app.wiring.glance import BurstEnd, BurstFailed, BurstProgress, BurstTaken, Shown
from app.wiring.history import PastOffset
from app.wiring.opening import OpenedRun
from app.wiring.recording import Recorded, Recorder
from app.wiring.saving import save_result
from app.wiring.watching import Watching
from vision.bore import BoreRefusal

_LOG = logging.getLogger(__name__)

HEALTH_MS = 250
"""How often the picture's age is looked at; a quality word needs no more."""

CLOSE_S = 10.0
"""How long closing waits for facts to be written."""

RECORDS, FILE, FAULT = "records", "file", "fault"
"""Keys of notices."""

_OVERTAKEN = Refused(
    sentence="The sighting was stopped, as something else was recorded meanwhile.",
    remedy="Sight again where it is asked for.",
)

MakeRecorder = Callable[[Relay], Recorder]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A sighting under way: for what, and where the machine stood when it was asked for."""

    ask: int
    purpose: Purpose
    tool: int
    place: Position
    approach: Approach


class Desk(QObject):
    """One run on the window; its threads run from `start` to `close`.

    Parameters
    ----------
    opened
        The run and its camera, which the desk closes in the end.
    make_recorder
        Makes the recorder that tells the relay.
    history
        Offsets of earlier runs by tool.
    copy
        Puts a text on the clipboard.
    """

    changed = Signal(object)
    """The state to show, a `DeskState`."""
    picture_came = Signal()
    """A picture waits in `picture()`."""
    left = Signal()
    """The person wants to go to the start page."""
    switched = Signal(object)
    """Speech or tone was switched: `SetSpeech` or `SetTone`."""
    unexpected = Signal(object)
    """An exception that nobody foresaw, from another thread."""

    def __init__(
        self,
        opened: OpenedRun,
        *,
        make_recorder: MakeRecorder,
        history: Mapping[int, tuple[PastOffset, ...]],
        copy: Callable[[str], None],
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._opened = opened
        self._history = history
        self._copy = copy
        self._moment: Moment | None = None
        self._sighting: _Asked | None = None
        self._pending = 0
        self._met_fault = False
        self._closed = False
        self._relay = Relay(self)
        self._recorder = make_recorder(self._relay)
        self._pulse = QTimer(self)
        self._pulse.setInterval(HEALTH_MS)
        self._connect()

    # -- from outside -------------------------------------------------------------------

    def start(self) -> None:
        """Start the threads; the first state comes when the records were read."""
        self._recorder.start()
        self._watching = Watching(self._opened.camera, self._relay)
        self._pulse.start()

    def state(self) -> DeskState | None:
        """Return the state as it is; None until the records were read."""
        return None if self._moment is None else state_of(self._moment)

    def picture(self) -> Shown | None:
        """Return the newest picture to paint, once."""
        return self._watching.picture()

    def retry(self, key: str) -> None:
        """Try again what a notice is about."""
        if key == RECORDS:
            self.notice(RECORDS, None)
            self._recorder.retry()

    def close(self) -> None:
        """Stop the threads and let go of the camera; a second call does nothing."""
        if self._closed:
            return
        self._closed = True
        self._pulse.stop()
        self._watching.close()
        self._recorder.close(CLOSE_S)
        world = self._opened.world
        if world is not None:
            world.close()

    def do(self, intention: want.Intention) -> None:
        """Carry out what a person wants; what cannot be done now is left undone."""
        if self._moment is not None and not self._closed:
            self._carry_out(intention, self._moment)

    # -- what a person wants ------------------------------------------------------------

    @singledispatchmethod
    def _carry_out(self, intention: object, moment: Moment) -> None:
        raise TypeError(f"nobody carries out {intention!r}")

    @_carry_out.register
    def _(self, _: want.Proceed, moment: Moment) -> None:
        if state_of(moment).blocked or moment.burst is not None:
            return
        match moment.step:
            case Prepare(left=left):
                left_now = [item for item in left if item not in moment.ticked]
                if left_now:
                    self._tick(moment, left_now[0], on=True)
            case SightScale() | SightTool():
                self._sight(moment)
            case HomeFirst(tool=tool):
                self._record(Homed(tool=tool))
            case Export():
                self._take_offsets(moment.snapshot)
            case EnterOffsets(tools=tools):
                self._record(Entered(tool=tools[0]))
            case Done():
                self.left.emit()
            case _:
                return

    @_carry_out.register
    def _(self, _: want.Stop, moment: Moment) -> None:
        if moment.burst is not None:
            self._watching.stop_sighting()
        elif moment.open_card is not None:
            self._become(replace(moment, open_card=None))
        elif moment.refused is not None or moment.keep_doubtful:
            self._become(replace(moment, refused=None, keep_doubtful=False))

    @_carry_out.register
    def _(self, _: want.Undo, moment: Moment) -> None:
        if isinstance(moment.step, Prepare) and moment.ticked:
            last = [item for item in PREPARATION if item in moment.ticked][-1]
            self._tick(moment, last, on=False)
            return
        fact = undo(moment.snapshot.run)
        if fact is not None:
            self._record(fact)

    @_carry_out.register
    def _(self, _: want.StrikeLast, moment: Moment) -> None:
        last = moment.snapshot.run.last_counting()
        if last is not None:
            self._record(Struck(number=last.number, why="by hand"))

    @_carry_out.register
    def _(self, wanted: want.StrikeOut, _: Moment) -> None:
        self._record(Struck(number=wanted.number, why="by hand"))

    @_carry_out.register
    def _(self, wanted: want.Restore, _: Moment) -> None:
        self._record(Restored(number=wanted.number))

    @_carry_out.register
    def _(self, wanted: want.Retype, _: Moment) -> None:
        self._record(Retyped(number=wanted.number, position=wanted.position))

    @_carry_out.register
    def _(self, wanted: want.Tick, moment: Moment) -> None:
        self._tick(moment, wanted.item, on=wanted.on)

    @_carry_out.register
    def _(self, wanted: want.TypedPlace, moment: Moment) -> None:
        self._type(moment, wanted.typed)

    @_carry_out.register
    def _(self, _: want.SameAsReference, moment: Moment) -> None:
        typed = same_as_reference(moment.step, moment.snapshot)
        if typed is not None:
            self._type(moment, typed)

    @_carry_out.register
    def _(self, _: want.JogsMade, moment: Moment) -> None:
        step = moment.step
        # At a tool the jogs that are shown follow the picture: once they are made, hardly
        # any are left to add.
        if isinstance(step, SightScale) and step.plan is not None:
            self._type(moment, after_jogs_made(moment.typed, step.plan, moment.snapshot))

    @_carry_out.register
    def _(self, _: want.TakePictures, moment: Moment) -> None:
        entry = moment.entry
        if entry is not None:
            self._type(moment, taking_the_pictures(moment.typed, entry, moment.snapshot))

    @_carry_out.register
    def _(self, wanted: want.AnswerMirror, moment: Moment) -> None:
        if not isinstance(moment.step, ConfirmMirror):
            return
        if wanted.mirrored:
            self._record(MirrorAccepted(mirrored=True))
        else:
            # An axis was entered with the wrong sign, so none of the jogs can stand.
            self._record(CameraDisturbed(why="an axis was entered with the wrong sign"))

    @_carry_out.register
    def _(self, wanted: want.CameraWasMoved, _: Moment) -> None:
        self._record(CameraDisturbed(why=wanted.why))

    @_carry_out.register
    def _(self, wanted: want.SetAutomatic, moment: Moment) -> None:
        self._become(replace(moment, switches=replace(moment.switches, automatic=wanted.on)))

    @_carry_out.register
    def _(self, wanted: want.SetSpeech, moment: Moment) -> None:
        self._become(replace(moment, switches=replace(moment.switches, speech=wanted.on)))
        self.switched.emit(wanted)

    @_carry_out.register
    def _(self, wanted: want.SetTone, moment: Moment) -> None:
        self._become(replace(moment, switches=replace(moment.switches, tone=wanted.on)))
        self.switched.emit(wanted)

    @_carry_out.register
    def _(self, wanted: want.OpenCard, moment: Moment) -> None:
        key = None if wanted.key == moment.open_card else wanted.key
        self._become(replace(moment, open_card=key))

    @_carry_out.register
    def _(self, _: want.Acknowledge, moment: Moment) -> None:
        self._become(replace(moment, acknowledged=True))

    @_carry_out.register
    def _(self, wanted: want.CopyText, moment: Moment) -> None:
        texts = result_texts(state_of(moment))
        if texts is not None:
            self._copy(getattr(texts, wanted.part))

    @_carry_out.register
    def _(self, wanted: want.SaveAs, moment: Moment) -> None:
        state = state_of(moment)
        snapshot, stored = moment.snapshot, state.stored
        if snapshot.solution is None or stored is None or why_not(state):
            return
        try:
            file = save_result(
                Path(wanted.path),
                wanted.kind,
                run=snapshot.run,
                solution=snapshot.solution,
                findings=snapshot.findings,
                stored=stored,
                simulated=moment.simulated,
            )
        except TipwrightError as error:
            self.notice(FILE, error.message)
        else:
            self.notice(FILE, f"Saved as {file}.", weight=Weight.NOTE)

    @_carry_out.register
    def _(self, wanted: want.SayEntered, _: Moment) -> None:
        self._record(Entered(tool=wanted.tool))

    @_carry_out.register
    def _(self, _: want.ToStart, __: Moment) -> None:
        self.left.emit()

    # -- steps that take more than a line -----------------------------------------------

    def _tick(self, moment: Moment, item: str, *, on: bool) -> None:
        ticked = moment.ticked | {item} if on else moment.ticked - {item}
        moment = replace(moment, ticked=ticked)
        self._become(moment)
        if isinstance(moment.step, Prepare) and set(moment.step.left) <= ticked:
            self._record(Prepared(ticked=tuple(item for item in PREPARATION if item in ticked)))

    def _type(self, moment: Moment, typed: Typed) -> None:
        self._become(
            replace(
                moment,
                typed=typed,
                keep_doubtful=False,
                refused=None,
                # Nothing is sighted by itself while somebody is still typing.
                steadiness=None if moment.steadiness is None else restarted(moment.steadiness),
            )
        )

    def _sight(self, moment: Moment) -> None:
        step, entry = moment.step, moment.entry
        assert isinstance(step, SightScale | SightTool)
        if entry is None or entry.place is None:
            return
        if entry.doubt is not None and not moment.keep_doubtful:
            # Said already beside the field; the button now says what pressing it keeps.
            self._become(replace(moment, keep_doubtful=True))
            return
        purpose = Purpose.SCALE if isinstance(step, SightScale) else Purpose.TOOL
        ask = self._watching.sight()
        self._sighting = _Asked(
            ask=ask, purpose=purpose, tool=step.tool, place=entry.place, approach=entry.approach
        )
        progress = BurstProgress(ask=ask, taken=0, wanted=0)
        self._become(replace(moment, burst=progress, refused=None))

    def _take_offsets(self, snapshot: Snapshot) -> None:
        stored = state_of(self._now()).stored
        if snapshot.solution is not None and stored is not None:
            self._record(exported_fact(snapshot.solution, snapshot.findings, stored))

    def _record(self, fact: Fact, burst: BurstTaken | None = None) -> None:
        if burst is None and self._sighting is not None:
            # Its pictures belong to the run as it was: before the camera was moved, or
            # before what it rests on was struck out.
            self._sighting = None
            self._watching.stop_sighting()
            self._become(replace(self._now(), burst=None, refused=_OVERTAKEN))
        self._pending += 1
        self._become(replace(self._now(), saving=True))
        self._recorder.add(fact, () if burst is None else burst.burst.pictures)

    # -- what the threads tell ----------------------------------------------------------

    def _connect(self) -> None:
        self._relay.picture.connect(self.picture_came)
        self._relay.glance.connect(self._on_glance)
        self._relay.progress.connect(self._on_progress)
        self._relay.burst.connect(self._on_burst)
        self._relay.health.connect(self._on_health)
        self._relay.fault.connect(self._on_fault)
        self._relay.written.connect(self._on_written)
        self._relay.unwritten.connect(self._on_unwritten)
        self._pulse.timeout.connect(self._on_pulse)

    def _on_glance(self) -> None:
        glance = self._watching.glance()
        if glance is None or self._moment is None or self._closed:
            return
        moment = with_glance(self._moment, glance)
        self._become(moment)
        entry, steadiness = moment.entry, moment.steadiness
        is_free = moment.switches.automatic and moment.burst is None and not moment.saving
        if not is_free or entry is None or steadiness is None:
            return
        if may_sight(moment.step, moment.snapshot, steadiness, entry):
            self.do(want.Proceed())

    def _on_progress(self, progress: BurstProgress) -> None:
        if self._sighting is not None and progress.ask == self._sighting.ask:
            self._become(replace(self._now(), burst=progress))

    def _on_burst(self, end: BurstEnd) -> None:
        asked, self._sighting = self._sighting, None
        if asked is None or end.ask != asked.ask or self._closed:
            self._sighting = asked
            return
        moment = replace(self._now(), burst=None)
        match end:
            case BurstFailed(sentence=sentence):
                self._become(replace(moment, refused=Refused(sentence=sentence, remedy="")))
            case BurstTaken(moved=moved) if moved:
                again = "Wait until the machine stands still, then sight it again."
                self._become(replace(moment, refused=Refused(sentence=moved, remedy=again)))
            case BurstTaken():
                self._take_burst(moment, asked, end)

    def _take_burst(self, moment: Moment, asked: _Asked, taken: BurstTaken) -> None:
        burst = taken.burst
        if isinstance(burst.fit, BoreRefusal):
            refused = Refused(sentence=burst.fit.message, remedy=burst.fit.remedy)
            self._become(replace(moment, refused=refused))
            return
        self._become(moment)
        fact = sighted_fact(
            asked.purpose,
            asked.tool,
            moment.snapshot.run,
            asked.place,
            asked.approach,
            burst,
            burst.fit,
        )
        self._record(fact, taken)

    def _on_health(self, health: CameraHealth) -> None:
        if self._moment is not None and not self._closed:
            self._become(replace(self._moment, camera=health))

    def _on_pulse(self) -> None:
        self._on_health(self._watching.health())
        self._wait_for_nothing_lost()

    def _wait_for_nothing_lost(self) -> None:
        """Wait no longer for a fact whose report a fault has swallowed."""
        if not self._met_fault or self._moment is None or self._closed:
            return
        # What the disk does not take is not lost: to ask for it again would write it twice.
        if self._recorder.is_idle():
            self._met_fault = False
            self._pending = 0
            self._become(replace(self._moment, saving=False))

    def _on_fault(self, error: Exception) -> None:
        self._met_fault = True
        self.unexpected.emit(error)

    def _on_written(self, recorded: Recorded) -> None:
        if self._moment is None:
            self._begin(recorded)
            return
        self._pending = max(0, self._pending - 1)
        moment = with_recorded(self._moment, recorded.snapshot, recorded.thumbnails)
        self._watching.look_for(prior_of(recorded.snapshot))
        self._become(replace(moment, saving=self._pending > 0))

    def _on_unwritten(self, error: RecordsError) -> None:
        sentence = f"{error.message} What was to be written is kept until then."
        if self._moment is None:
            self.unexpected.emit(error)
            return
        self.notice(RECORDS, sentence, weight=Weight.FAULT, retry="Try again")

    # -- the state ----------------------------------------------------------------------

    def _begin(self, recorded: Recorded) -> None:
        snapshot = recorded.snapshot
        self._watching.look_for(prior_of(snapshot))
        first = first_moment(
            run_id=self._opened.run_id,
            camera_name=self._opened.camera_name,
            history=self._history,
            snapshot=snapshot,
            thumbnails=recorded.thumbnails,
        )
        # What was told of the camera before there was a run to show is told now.
        self._become(replace(first, camera=self._watching.health()))

    def _now(self) -> Moment:
        assert self._moment is not None
        return self._moment

    def notice(
        self, key: str, sentence: str | None, *, weight: Weight = Weight.WARNING, retry: str = ""
    ) -> None:
        """Tell a matter of its own, or tell it no longer (None)."""
        moment = self._now()
        notices = told(moment.notices, key, sentence, weight=weight, retry=retry)
        self._become(replace(moment, notices=notices))

    def _become(self, moment: Moment) -> None:
        self._moment = moment
        self.changed.emit(state_of(moment))
