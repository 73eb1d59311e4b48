"""The machines that every link is held to: the bench in process, and served."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from app.bench import BenchMachine, RealClock, World, bench_profile, make_world, serve
from app.job.interfaces import Machine
from app.machines import open_line_link


@pytest.fixture(params=["heron", "plover"])
def machine_name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def world(machine_name: str) -> Iterator[World]:
    made = make_world(bench_profile(machine_name), seed=7, clock=RealClock(speed=500.0))
    yield made
    made.close()


@pytest.fixture(params=["bench", "lines"])
def machine(request: pytest.FixtureRequest, world: World) -> Iterator[Machine]:
    """Yield the same world as a machine, once straight and once over a socket."""
    if request.param == "bench":
        yield BenchMachine(world)
        return
    with serve(world) as served:
        # Marlin is deaf when it was halted: how long to wait for nothing is up to the link.
        link = open_line_link(
            served.machine_url, name=world.profile.name, answer_s=2.0, motion_s=2.0, quiet_s=0.1
        )
        yield link
        link.close()


@pytest.fixture(autouse=True)
def _no_thread_is_left() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    left = [thread.name for thread in threading.enumerate() if thread not in before]
    assert not left, f"threads are left: {left}"
