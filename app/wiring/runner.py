"""Carries out what procedures ask for: on a camera, a machine and a store."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import assert_never

from app.errors import CameraError
from app.job.facts import Position
from app.job.interfaces import Camera, FactStore, Frame, Machine
from app.job.live import Seen
from app.job.procedures import (
    Arrived,
    Burst,
    GaveUp,
    HomeAll,
    Look,
    Looked,
    Move,
    Procedure,
    Record,
    Recorded,
    Reply,
    Request,
    TakeBurst,
    TakeTool,
    carry_out,
)
from app.job.run import Run, fold
from app.job.sheet import Done, Export, MendScale, Step, next_step
from app.job.snapshot import Snapshot, snapshot_of
from app.wiring.bursts import burst_of
from vision.bore import RadiusPrior, find_bore, fit_burst
from vision.focus import sharpness
from vision.pixel_scale import PixelScale


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerSettings:
    """How the runner takes its frames.

    Attributes
    ----------
    frames
        Frames a burst.
    settle_s
        After motion has ended, on the camera's clock: vibration dies away and
        frames that were under way when the motion ended have arrived.
    patience_s
        How long to wait for a frame, in real time; a lost camera may come back.
    crop_radii
        Half side of a kept crop, in rim radii.
    """

    frames: int = 12
    settle_s: float = 0.4
    patience_s: float = 20.0
    crop_radii: float = 2.2


DEFAULT_RUNNER = RunnerSettings()


class Runner:
    """Does a run's steps by itself, one after the other, until a person is needed.

    Parameters
    ----------
    camera, machine
        As the job's protocols say.
    store
        Where facts go; each is on disk before the next step is chosen.
    run_id
        The run to go on with.
    start
        Where the reference nozzle is over the camera, as the display shows it.
    say
        Called with each step before it is done.
    """

    def __init__(
        self,
        *,
        camera: Camera,
        machine: Machine,
        store: FactStore,
        run_id: str,
        start: Position,
        settings: RunnerSettings = DEFAULT_RUNNER,
        say: Callable[[Step, Run], None] | None = None,
    ) -> None:
        self._camera = camera
        self._machine = machine
        self._store = store
        self._run_id = run_id
        self._start = start
        self._settings = settings
        self._say = say
        self._tool: int | None = None
        self._moved_at_s = camera.now_s()

    def snapshot(self) -> Snapshot:
        """Return the run as it stands on disk, and what follows from it."""
        return snapshot_of(fold(self._store.entries(self._run_id)))

    def run_until_export(self, *, tries: int = 3) -> Step | GaveUp:
        """Do steps until the offsets can be taken; return that step, or why it gave up.

        A step that gives up is tried again from its beginning: the run knows
        nothing of the failed try.
        """
        failed = 0
        while True:
            snapshot = self.snapshot()
            step = next_step(snapshot)
            if isinstance(step, Export | MendScale | Done):
                return step
            if self._say is not None:
                self._say(step, snapshot.run)
            self._tool = getattr(step, "tool", self._tool)
            ended = self.carry(carry_out(step, snapshot, start=self._start), self._prior(snapshot))
            failed = failed + 1 if ended is not None else 0
            if ended is not None and failed >= tries:
                return ended

    def carry(self, procedure: Procedure, prior: RadiusPrior | None = None) -> GaveUp | None:
        """Carry one procedure to its end."""
        reply: Reply | None = None
        while True:
            try:
                request = next(procedure) if reply is None else procedure.send(reply)
            except StopIteration as stop:
                ended: GaveUp | None = stop.value
                return ended
            reply = self._answer(request, prior)

    def _answer(self, request: Request, prior: RadiusPrior | None) -> Reply:
        match request:
            case Move(x=x, y=y, z=z):
                if (x, y, z) != (None, None, None):
                    self._machine.move_to(x=x, y=y, z=z)
                    self._moved_at_s = self._camera.now_s()
                return Arrived(shown=self._machine.shown())
            case TakeTool(tool=tool):
                self._machine.select_tool(tool)
                self._moved_at_s = self._camera.now_s()
                return Arrived(shown=self._machine.shown())
            case HomeAll():
                self._machine.home()
                self._moved_at_s = self._camera.now_s()
                return Arrived(shown=self._machine.shown())
            case Look(find=find):
                return self._look(prior, find=find)
            case TakeBurst():
                return self._burst(prior)
            case Record(fact=fact, pictures=pictures):
                self._store.append(self._run_id, fact, pictures)
                return Recorded()
            case _:
                assert_never(request)

    def _prior(self, snapshot: Snapshot) -> RadiusPrior | None:
        """Return the bore's radius as far as the scale and the tool's nominal bore tell it."""
        if not isinstance(snapshot.scale, PixelScale) or self._tool is None:
            return None
        bore_mm = snapshot.run.profile.tool(self._tool).bore_mm
        # A nozzle it is: one of another bore is sighted too, with a finding that says so.
        return RadiusPrior(radius_px=bore_mm * 500.0 / snapshot.scale.um_per_px, strict=False)

    def _settled(self, after_s: float) -> Frame:
        """Return a frame that was taken after the last motion, and after `after_s`."""
        since = max(after_s, self._moved_at_s + self._settings.settle_s)
        deadline = time.monotonic() + self._settings.patience_s
        while (left := deadline - time.monotonic()) > 0.0:
            frame = self._camera.next_frame(after_s=since, timeout_s=min(left, 2.0))
            if frame is not None:
                return frame
        health = self._camera.health()
        raise CameraError(
            f"No picture from the camera: {health.sentence or 'it gives no new frames.'} "
            "Check its cable and plug it in again.",
            code="no-frames",
        )

    def _look(self, prior: RadiusPrior | None, *, find: bool) -> Looked:
        frame = self._settled(self._camera.now_s())
        if not find:
            return Looked(seen=None, sharpness=sharpness(frame.image))
        seen = Seen(
            frame_id=frame.frame_id,
            arrived_at_s=frame.arrived_at_s,
            camera_generation=frame.camera_generation,
            fit=find_bore(frame.image, radius_prior=prior),
        )
        return Looked(seen=seen, sharpness=None)

    def _burst(self, prior: RadiusPrior | None) -> Burst:
        """Take frames of one generation, all from after the request and after the motion."""
        frames = [self._settled(self._camera.now_s())]
        while len(frames) < self._settings.frames:
            frame = self._settled(frames[-1].arrived_at_s)
            if frame.camera_generation != frames[-1].camera_generation:
                frames.clear()
            frames.append(frame)
        fit = fit_burst([frame.image for frame in frames], radius_prior=prior)
        return burst_of(frames, fit, self._settings.crop_radii)
