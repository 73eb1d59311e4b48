from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from tests.cameras.mjpeg_server import MjpegServer


@pytest.fixture(autouse=True)
def no_thread_stays_behind() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    left = [thread.name for thread in threading.enumerate() if thread not in before]
    assert left == []


@pytest.fixture
def server() -> Iterator[MjpegServer]:
    with MjpegServer() as running:
        yield running
