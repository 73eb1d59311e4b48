"""What the tests of the bench share."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from app.bench import RealClock, World, bench_profile, make_world


@pytest.fixture
def fast_world() -> Iterator[World]:
    """Avocet on a clock that runs 50 times as fast as the computer's."""
    world = make_world(bench_profile("avocet"), seed=4, clock=RealClock(speed=50.0))
    yield world
    world.close()


@pytest.fixture(autouse=True)
def _no_thread_is_left() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    left = [thread.name for thread in threading.enumerate() if thread not in before]
    assert not left, f"threads are left: {left}"
