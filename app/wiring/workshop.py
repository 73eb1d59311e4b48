"""A camera and a machine, put together: the bench in this process, or one that is served."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass

from app.bench import BenchCamera, BenchMachine, Clock, World, bench_profile, make_world
from app.cameras import open_camera
from app.job.interfaces import Camera, Machine
from app.job.profile import Profile
from app.machines import open_line_link


@dataclass(frozen=True, slots=True, kw_only=True)
class Workshop:
    """What a run needs: the machine as it is known, a camera and a link."""

    profile: Profile
    camera: Camera
    machine: Machine


def bench_world(name: str, *, seed: int, clock: Clock | None = None) -> World:
    """Return the hidden world of one machine of the demonstration workshop."""
    return make_world(bench_profile(name), seed=seed, clock=clock)


@contextmanager
def bench_workshop(world: World) -> Iterator[Workshop]:
    """Give the two views of one world, in this process."""
    with closing(BenchCamera(world)) as camera, closing(BenchMachine(world)) as machine:
        yield Workshop(profile=world.profile, camera=camera, machine=machine)


@contextmanager
def served_workshop(profile: Profile, *, camera: str, link: str) -> Iterator[Workshop]:
    """Give a camera and a machine that are reached over the network of this computer."""
    with closing(open_camera(camera)) as stream, closing(open_line_link(link)) as machine:
        yield Workshop(profile=profile, camera=stream, machine=machine)
