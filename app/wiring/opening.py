"""Opens a run, new or resumed, with its camera."""

from __future__ import annotations

import logging
import re
from dataclasses import dataclass, replace

from app import __version__
from app.bench import MACHINES, BenchCamera, RealClock, World
from app.cameras import CameraFeed, SourceOptions, open_camera
from app.errors import CameraError, InputError
from app.job.facts import PositionMode, RunStarted
from app.job.interfaces import Camera
from app.job.places import mode_problem
from app.job.profile import Profile
from app.records import Store
from app.wiring.workshop import bench_world

log = logging.getLogger(__name__)

BENCH = "bench"
"""The camera of the bench in this program."""

FIRST_PICTURE_S = 20.0
"""Some systems take many seconds to open a camera."""

_ONLY_LATE = ("camera-silent", "camera-stalled")
"""Codes of a camera that is there, and may give pictures yet."""

_BENCH_SEED = re.compile(r"bench(?: seed (?P<seed>\d+))?")


@dataclass(frozen=True, slots=True, kw_only=True)
class RunChoice:
    """What a person chose to do.

    Attributes
    ----------
    profile
        The machine.
    simulated
        Whether it is one of the bench; the run is marked so.
    camera
        A source as `open_camera` takes it, or "bench".
    mode
        How positions are told.
    seed
        Which hidden truth the bench has; of no use elsewhere.
    resume
        The id of a run to go on with, or None for a new one. Machine, mode and mark
        are then the run's own.
    """

    profile: Profile
    simulated: bool
    camera: str
    mode: PositionMode
    seed: int = 1
    resume: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenedRun:
    """A run with its camera, open; whoever gets it closes the camera and the world.

    Attributes
    ----------
    run_id, profile, mode, simulated
        As the run's first fact has them.
    camera, camera_name
        What is looked at, and its name for people.
    world
        The bench in this program, or None.
    """

    run_id: str
    profile: Profile
    mode: PositionMode
    simulated: bool
    camera: Camera
    camera_name: str
    world: World | None


def open_run(choice: RunChoice, store: Store) -> OpenedRun:
    """Open the camera, then the run; nothing is recorded when the camera cannot be had.

    The bench's seed is kept in the name of the camera that the first fact holds
    ("bench seed 7"), so that a run on the bench can be gone on with in the same world.
    A camera that can be opened but gives no picture yet is no failure: its health tells.

    Raises
    ------
    InputError
        The mode does not suit the machine, the source is none, the bench has no such
        machine, or a run would go on in another world than it began in.
    CameraError
        There is no such camera, or another program has it.
    RecordsError
        The records cannot be read or written.
    """
    started = _started_before(choice, store)
    if started is not None:
        choice = _as_it_began(choice, started)
    problem = mode_problem(choice.profile, choice.mode)
    if problem is not None:
        raise InputError(problem, code="mode-impossible", value=choice.mode.value)
    camera, world, name = _camera_of(choice)
    try:
        run_id = choice.resume or store.start_run(_first_fact(choice, name))
    except BaseException:
        camera.close()
        if world is not None:
            world.close()
        raise
    return OpenedRun(
        run_id=run_id,
        profile=choice.profile,
        mode=choice.mode,
        simulated=choice.simulated,
        camera=camera,
        camera_name=name,
        world=world,
    )


def started_of(store: Store, run_id: str) -> RunStarted:
    """Return the first fact of a run. Raises RecordsError when there is no such run."""
    first = store.entries(run_id)[0].fact
    if not isinstance(first, RunStarted):
        raise ValueError(f"run {run_id} does not begin with RunStarted")
    return first


def _started_before(choice: RunChoice, store: Store) -> RunStarted | None:
    return None if choice.resume is None else started_of(store, choice.resume)


def _as_it_began(choice: RunChoice, started: RunStarted) -> RunChoice:
    return replace(
        choice,
        profile=started.profile,
        simulated=started.simulated,
        mode=started.mode,
        seed=_seed_of(choice, started),
    )


def _seed_of(choice: RunChoice, started: RunStarted) -> int:
    """Return the seed to go on with; InputError where that would be another world."""
    found = _BENCH_SEED.fullmatch(started.camera)
    is_ours = found is not None and found["seed"] is not None
    if is_ours == (choice.camera == BENCH):
        return int(found["seed"]) if found is not None and is_ours else choice.seed
    if is_ours:
        why = "began on the bench in this program, and goes on only there: choose the bench"
    elif found is not None:
        why = (
            "was made on a bench whose seed was not noted, so no other bench has the same hidden "
            "offsets: start a new run"
        )
    else:
        why = f"began with another camera ({started.camera}) than the bench: choose that camera"
    raise InputError(f"Run {choice.resume} {why}.", code="another-world", value=choice.camera)


def _first_fact(choice: RunChoice, camera_name: str) -> RunStarted:
    return RunStarted(
        profile=choice.profile,
        camera=camera_name,
        mode=choice.mode,
        simulated=choice.simulated,
        program_version=__version__,
    )


def _camera_of(choice: RunChoice) -> tuple[Camera, World | None, str]:
    if choice.camera == BENCH:
        if not choice.simulated or choice.profile.name.lower() not in MACHINES:
            raise InputError(
                f"The bench has no machine {choice.profile.name}; choose a camera for it, or one "
                f"of the bench's own machines ({', '.join(name.title() for name in MACHINES)}).",
                code="unknown-machine",
                value=choice.profile.name,
            )
        world = bench_world(choice.profile.name, seed=choice.seed, clock=RealClock())
        return BenchCamera(world), world, f"bench seed {choice.seed}"
    camera = _opened(choice.camera)
    return camera, None, camera.name


def _opened(source: str) -> CameraFeed:
    """Return a camera that is open, though it may not give pictures yet."""
    # Recorded pictures begin again, so that there is always something to look at.
    camera = open_camera(source, SourceOptions(loop=True), wait_s=0.0)
    try:
        camera.wait_ready(FIRST_PICTURE_S)
    except CameraError as error:
        if error.code not in _ONLY_LATE:
            camera.close()
            raise
        log.warning("%s", error.message)
    except BaseException:
        camera.close()
        raise
    return camera
