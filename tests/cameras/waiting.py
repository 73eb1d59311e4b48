from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable

from app.cameras import CameraFeed, FeedTiming
from app.job.interfaces import CameraHealth, CameraState, Frame

QUICK = FeedTiming(stall_s=0.2, first_retry_s=0.01, longest_retry_s=0.05)
PATIENCE_S = 5.0


def until(holds: Callable[[], bool], what: str, limit_s: float = PATIENCE_S) -> None:
    """Look every few ms, since health is a question and not an event."""
    pause = threading.Event()
    end_s = time.perf_counter() + limit_s
    while not holds():
        assert time.perf_counter() < end_s, what
        pause.wait(0.005)


def until_state(feed: CameraFeed, state: CameraState, limit_s: float = PATIENCE_S) -> CameraHealth:
    until(lambda: feed.health().state is state, f"{state} expected, is {feed.health()}", limit_s)
    return feed.health()


def frame_of(feed: CameraFeed, after_s: float = -math.inf) -> Frame:
    frame = feed.next_frame(after_s=after_s, timeout_s=PATIENCE_S)
    assert frame is not None, feed.health()
    return frame
