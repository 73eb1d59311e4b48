"""A seat at a desk: real records in a folder, and a camera whose frames come on command."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from pytestqt.qtbot import QtBot

from app.errors import RecordsError
from app.job.by_hand import Typed
from app.job.facts import (
    Entry,
    Fact,
    RunStarted,
    Sighted,
)
from app.job.interfaces import CameraState, Picture
from app.job.sheet import (
    SightScale,
    SightTool,
)
from app.records import Store
from app.ui import intentions as want
from app.ui.desk import Desk
from app.ui.relay import Relay
from app.ui.state import DeskState
from app.wiring.opening import OpenedRun
from app.wiring.recording import Recorder, RecordListener
from app.wiring.watching import DEFAULT_WATCH
from tests.ui.states import facts_until, machine
from tests.ui.window.conftest import our_threads
from tests.vision.bore.pictures import Scene, take
from tests.wiring.watch_fakes import CommandedCamera, Image, tip

WAIT_MS = 8_000
"""A test that waits so long has failed."""

BURST = DEFAULT_WATCH.frames + 1
"""Frames for a sighting: one more may be looked at before the sighting is heard of."""

HERE = Typed(x="150.00", y="100.00", z="5.00")


class FullStore(Store):
    """Records on a disk that is full until somebody makes room."""

    is_full = False

    def append(self, run_id: str, fact: Fact, pictures: object = ()) -> Entry:
        if self.is_full:
            raise RecordsError("The disk is full: make room.", code="records-disk")
        assert isinstance(pictures, tuple)
        kept: tuple[Picture, ...] = pictures
        return super().append(run_id, fact, kept)


@dataclass(kw_only=True)
class Seat:
    """A person at a desk: wants things, shows frames, and looks at what was recorded."""

    qtbot: QtBot
    desk: Desk
    store: FullStore
    run_id: str
    camera: CommandedCamera
    copied: list[str]
    left: list[None] = field(default_factory=list)
    faults: list[Exception] = field(default_factory=list)

    def state(self) -> DeskState:
        state = self.desk.state()
        assert state is not None
        return state

    def do(self, *wanted: want.Intention) -> None:
        for one in wanted:
            self.desk.do(one)

    def until(self, holds: Callable[[], bool]) -> None:
        self.qtbot.waitUntil(holds, timeout=WAIT_MS)

    def settled(self) -> None:
        """Wait until all is on disk."""
        self.until(lambda: not self.state().saving)

    def done(self, *wanted: want.Intention) -> Fact:
        """Want things, and return the one fact that they come to."""
        before = len(self.entries())
        self.do(*wanted)
        self.settled()
        (entry,) = self.entries()[before:]
        return entry.fact

    def entries(self) -> tuple[Entry, ...]:
        return self.store.entries(self.run_id)

    def sightings(self) -> list[Entry]:
        return [entry for entry in self.entries() if isinstance(entry.fact, Sighted)]

    def show(self, image: Image) -> None:
        self.camera.image_of = lambda _: image

    def look(self) -> None:
        """Have one more frame looked at."""
        frame = self.camera.give()

        def is_seen() -> bool:
            glance = self.state().glance
            is_live = self.state().camera.state is CameraState.LIVE
            return is_live and glance is not None and glance.seen.frame_id >= frame.frame_id

        self.until(is_seen)

    def burst(self) -> None:
        """Let the frames of a sighting come, and wait for its end."""
        assert self.state().burst is not None
        self.camera.allow(BURST)
        self.until(lambda: self.state().burst is None)
        self.settled()


Sit = Callable[..., Seat]

HeardBy = Callable[[Relay], RecordListener]
"""Who hears the recorder in the relay's place, and passes it on."""


def as_it_is(relay: Relay) -> RecordListener:
    return relay


def seats(qtbot: QtBot, folder: Path) -> Iterator[Sit]:
    """Give what sits down at a run with these facts, before a camera with this picture.

    All who sat down get up in the end, and leave no thread.
    """
    taken: list[Seat] = []

    def begin(facts: list[Fact], image: Image | None = None, heard_by: HeardBy = as_it_is) -> Seat:
        store = FullStore(folder)
        started = facts[0]
        assert isinstance(started, RunStarted)
        run_id = store.start_run(started)
        for fact in facts[1:]:
            store.append(run_id, fact, ())
        camera = CommandedCamera(image)
        opened = OpenedRun(
            run_id=run_id,
            profile=started.profile,
            mode=started.mode,
            simulated=started.simulated,
            camera=camera,
            camera_name=camera.name,
            world=None,
        )
        seat = seated(qtbot, opened, store, camera, heard_by)
        taken.append(seat)
        with qtbot.waitSignal(seat.desk.changed, timeout=WAIT_MS):
            seat.desk.start()
        return seat

    yield begin
    for seat in taken:
        seat.desk.close()
        seat.store.close()
    assert our_threads() == []


def seated(
    qtbot: QtBot,
    opened: OpenedRun,
    store: FullStore,
    camera: CommandedCamera,
    heard_by: HeardBy = as_it_is,
) -> Seat:
    copied: list[str] = []
    desk = Desk(
        opened,
        make_recorder=lambda relay: Recorder(store, opened.run_id, heard_by(relay)),
        history={},
        copy=copied.append,
    )
    seat = Seat(
        qtbot=qtbot,
        desk=desk,
        store=store,
        run_id=opened.run_id,
        camera=camera,
        copied=copied,
    )
    desk.left.connect(lambda: seat.left.append(None))
    desk.unexpected.connect(seat.faults.append)
    return seat


def until(kind: type, **changes: object) -> list[Fact]:
    """Return the facts of a run that has come to a step."""
    return facts_until(lambda step: isinstance(step, kind), **changes)  # type: ignore[arg-type]


def half_scale() -> list[Fact]:
    return facts_until(lambda step: isinstance(step, SightScale) and step.number == 4)


def bore_at(shift_mm: tuple[float, float]) -> Image:
    """Return what the machine on paper shows, so far from X150 Y100."""
    u, v = machine().centre(0, (150.0 + shift_mm[0], 100.0 + shift_mm[1]))
    return take(Scene(centre=(float(u), float(v)), radius=36.0, land_radius=90.0))


def at_first_place(sit: Sit) -> Seat:
    """Sit at the first place of the scale, with its position typed and a bore in view."""
    seat = sit(until(SightScale), tip())
    seat.look()
    seat.do(want.TypedPlace(HERE))
    assert seat.state().blocked == ""
    return seat


def at_reference(sit: Sit) -> Seat:
    """Sit at the reference after the scale, the bore where the machine says it is."""
    seat = sit(until(SightTool), bore_at((0.0, 0.0)))
    seat.look()
    assert seat.state().blocked == ""
    return seat
