"""The runner takes only frames that count, and a run goes on after what stopped it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from app.bench import BenchCamera, BenchMachine, bench_profile, make_world
from app.errors import CameraError
from app.job.facts import Entry, Fact, Position, PositionMode, RunStarted, Sighted
from app.job.interfaces import CameraHealth, CameraState, Frame, Picture, PictureKind
from app.job.procedures import Burst, Look, Looked, Move, Procedure, TakeBurst
from app.job.sheet import Export
from app.records import Store
from app.wiring.runner import Runner, RunnerSettings
from tests.vision.bore.pictures import Scene, take
from vision.bore import BurstFit

SETTINGS = RunnerSettings(frames=4, settle_s=0.5, patience_s=0.2)


class ScriptedCamera:
    """Gives frames by the tenth of a second of its own clock, some of them never."""

    name = "scripted"

    def __init__(self, image: np.ndarray[tuple[int, int], np.dtype[np.uint8]]) -> None:
        self.image = image
        self.clock_s = 100.0
        self.silent_asks = 0
        self.generation_of: dict[int, int] = {}
        self.given: list[Frame] = []

    def now_s(self) -> float:
        return self.clock_s

    def next_frame(self, *, after_s: float, timeout_s: float) -> Frame | None:
        if self.silent_asks:
            self.silent_asks -= 1
            return None
        self.clock_s = max(self.clock_s, after_s) + 0.1
        number = len(self.given)
        frame = Frame(
            image=self.image,
            frame_id=number,
            arrived_at_s=self.clock_s,
            camera_generation=self.generation_of.get(number, 1),
        )
        self.given.append(frame)
        return frame

    def health(self) -> CameraHealth:
        return CameraHealth(
            state=CameraState.STALLED,
            sentence="The stream stands still; opening it again.",
            frame_age_s=3.0,
            dropped=0,
        )

    def close(self) -> None:
        pass


class StandingMachine:
    """A machine that is wherever it was told to go."""

    name = "standing"

    def __init__(self, camera: ScriptedCamera) -> None:
        self.camera = camera
        self.moved_at_s: list[float] = []
        self.place = Position(1.0, 2.0, 3.0)

    def shown(self) -> Position:
        return self.place

    def move_to(self, *, x: float | None, y: float | None, z: float | None) -> None:
        self.camera.clock_s += 2.0
        self.moved_at_s.append(self.camera.clock_s)

    def select_tool(self, tool: int) -> None:
        raise AssertionError("nobody asked for a tool")

    def home(self) -> None:
        raise AssertionError("nobody asked for homing")

    def close(self) -> None:
        pass


class NoStore:
    """A store that nothing has to be written to."""

    def start_run(self, started: Fact) -> str:
        raise AssertionError("no run is started here")

    def append(self, run_id: str, fact: Fact, pictures: object = ()) -> Entry:
        raise AssertionError("nothing is recorded here")

    def entries(self, run_id: str) -> tuple[Entry, ...]:
        return ()


@pytest.fixture
def camera() -> ScriptedCamera:
    return ScriptedCamera(take(Scene()))


def runner_on(camera: ScriptedCamera) -> tuple[Runner, StandingMachine]:
    machine = StandingMachine(camera)
    runner = Runner(
        camera=camera,
        machine=machine,
        store=NoStore(),
        run_id="none",
        start=machine.place,
        settings=SETTINGS,
    )
    return runner, machine


def one_burst(seen: list[Burst]) -> Procedure:
    reply = yield TakeBurst()
    assert isinstance(reply, Burst)
    seen.append(reply)
    return None


def test_no_frame_from_before_a_move_has_settled_enters(camera: ScriptedCamera) -> None:
    runner, machine = runner_on(camera)
    bursts: list[Burst] = []

    def move_then_burst() -> Procedure:
        yield Move(x=1.0)
        return (yield from one_burst(bursts))

    assert runner.carry(move_then_burst()) is None
    assert all(
        frame.arrived_at_s > machine.moved_at_s[-1] + SETTINGS.settle_s for frame in camera.given
    )
    assert len(camera.given) == SETTINGS.frames


def test_a_burst_is_of_one_generation_of_the_camera(camera: ScriptedCamera) -> None:
    camera.generation_of = dict.fromkeys(range(2, 20), 2)
    runner, _ = runner_on(camera)
    bursts: list[Burst] = []
    runner.carry(one_burst(bursts))
    assert bursts[0].camera_generation == 2
    assert len(camera.given) == 2 + SETTINGS.frames


def test_a_camera_that_comes_back_in_time_is_waited_for(camera: ScriptedCamera) -> None:
    camera.silent_asks = 3
    runner, _ = runner_on(camera)
    bursts: list[Burst] = []
    assert runner.carry(one_burst(bursts)) is None
    assert isinstance(bursts[0].fit, BurstFit)


def test_a_camera_that_stays_away_is_an_error_with_its_own_words(camera: ScriptedCamera) -> None:
    camera.silent_asks = 10**9
    runner, _ = runner_on(camera)
    with pytest.raises(CameraError, match="stands still") as caught:
        runner.carry(one_burst([]))
    assert caught.value.exit_status == 3


def test_one_full_grey_frame_is_kept_and_crops_of_the_rest(camera: ScriptedCamera) -> None:
    runner, _ = runner_on(camera)
    bursts: list[Burst] = []
    runner.carry(one_burst(bursts))
    (burst,) = bursts
    assert isinstance(burst.fit, BurstFit)
    kinds = [picture.kind for picture in burst.pictures]
    assert kinds.count(PictureKind.FULL) == 1
    assert kinds.count(PictureKind.CROP) == SETTINGS.frames - 1
    for picture in burst.pictures:
        check_crop(picture, camera.image, burst.fit)


def check_crop(picture: Picture, image: object, fit: BurstFit) -> None:
    assert isinstance(image, np.ndarray)
    left, top = picture.origin_px
    height, width = picture.image.shape
    np.testing.assert_array_equal(picture.image, image[top : top + height, left : left + width])
    if picture.kind is PictureKind.CROP:
        assert left < fit.centre_px.u - fit.radius_px
        assert left + width > fit.centre_px.u + fit.radius_px


def test_looking_for_sharpness_alone_finds_nothing(camera: ScriptedCamera) -> None:
    runner, _ = runner_on(camera)
    seen: list[Looked] = []

    def look() -> Procedure:
        reply = yield Look(find=False)
        assert isinstance(reply, Looked)
        seen.append(reply)
        return None

    runner.carry(look())
    assert seen[0].seen is None
    assert seen[0].sharpness is not None
    assert seen[0].sharpness > 0.0


class PulledCable:
    """A bench camera whose cable is pulled after so many frames."""

    def __init__(self, camera: BenchCamera, frames: int) -> None:
        self._camera = camera
        self._left = frames
        self.name = camera.name

    def now_s(self) -> float:
        return self._camera.now_s()

    def next_frame(self, *, after_s: float, timeout_s: float) -> Frame | None:
        if self._left == 0:
            return None
        frame = self._camera.next_frame(after_s=after_s, timeout_s=timeout_s)
        self._left -= frame is not None
        return frame

    def health(self) -> CameraHealth:
        return self._camera.health()

    def close(self) -> None:
        self._camera.close()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with closing(Store(tmp_path)) as store:
        yield store


@pytest.mark.slow
def test_a_run_goes_on_where_a_pulled_cable_stopped_it(store: Store) -> None:
    world = make_world(bench_profile("avocet"), seed=1)
    machine = BenchMachine(world)
    start = machine.shown()
    run_id = store.start_run(
        RunStarted(
            profile=world.profile,
            camera="bench",
            mode=PositionMode.SHOWN,
            simulated=True,
            program_version="0",
        )
    )
    settings = RunnerSettings(frames=3, patience_s=0.05)
    # Two focus sweeps of the reference and three places of the scale take some 27 frames.
    pulled = PulledCable(BenchCamera(world), frames=27)
    first = Runner(
        camera=pulled, machine=machine, store=store, run_id=run_id, start=start, settings=settings
    )
    with pytest.raises(CameraError):
        first.run_until_export()
    before = [entry for entry in store.entries(run_id) if isinstance(entry.fact, Sighted)]
    assert before
    second = Runner(
        camera=BenchCamera(world),
        machine=machine,
        store=store,
        run_id=run_id,
        start=start,
        settings=settings,
    )
    assert isinstance(second.run_until_export(), Export)
    after = [entry for entry in store.entries(run_id) if isinstance(entry.fact, Sighted)]
    assert after[: len(before)] == before
    snapshot = second.snapshot()
    assert snapshot.solution is not None
    offset = snapshot.solution.tool(1)
    true = world.true_vectors_mm()[1]
    assert abs(offset.vector_mm.x - true[0]) <= offset.expanded_mm[0]
    assert abs(offset.vector_mm.y - true[1]) <= offset.expanded_mm[1]
    assert len(snapshot.run.tool_sightings()) == 3
