"""Frame rate, frame age and load of the live picture with the finder on, over a real stream.

Serves MJPEG on 127.0.0.1 with the time of each frame, opens the real window on it, and
counts what is painted. Ratios are to reading the same stream without a window.

    QT_QPA_PLATFORM=xcb DISPLAY=:99 python -m tests.benchmarks.bench_live
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import numpy as np
from PySide6.QtWidgets import QApplication

from app.bench import bench_profile
from app.cameras import open_camera
from app.cameras.opencv import cv2
from app.job.facts import PositionMode
from app.records import Store
from app.ui.window import Window
from app.wiring.opening import RunChoice

SIZES = ((640, 480), (1280, 960), (1920, 1080))
FPS = 30.0
FRAME = Path(__file__).parents[2] / "sample_frames" / "frames" / "brass-040-large.jpg"


def frames_of(size: tuple[int, int]) -> list[bytes]:
    """Return a few JPEG frames of one tip in this size, with the noise of a sensor."""
    tip = cv2.imread(str(FRAME))
    assert tip is not None
    scale = min(size[0] / tip.shape[1], size[1] / tip.shape[0])
    small = cv2.resize(tip, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    canvas = np.full((size[1], size[0], 3), 40, dtype=np.uint8)
    top, left = (size[1] - small.shape[0]) // 2, (size[0] - small.shape[1]) // 2
    canvas[top : top + small.shape[0], left : left + small.shape[1]] = small
    rng = np.random.default_rng(1)
    made = []
    for _ in range(6):
        noisy = np.clip(canvas + rng.normal(0.0, 2.0, canvas.shape), 0, 255).astype(np.uint8)
        made.append(cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 85])[1].tobytes())
    return made


@contextmanager
def stream(size: tuple[int, int]) -> Iterator[str]:
    """Serve the frames at an even pace until the context ends."""
    frames, stop = frames_of(size), threading.Event()

    class Page(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "multipart/x-mixed-replace; boundary=f")
            self.end_headers()
            at, began_s = 0, time.perf_counter()
            while not stop.is_set():
                part = frames[at % len(frames)]
                head = f"--f\r\nContent-Type: image/jpeg\r\nContent-Length: {len(part)}\r\n\r\n"
                try:
                    self.wfile.write(head.encode() + part + b"\r\n")
                except OSError:
                    return
                at += 1
                stop.wait(max(0.0, began_s + at / FPS - time.perf_counter()))

        def log_message(self, *_: object) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Page)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}/"
    finally:
        stop.set()
        server.shutdown()
        server.server_close()


def bare(address: str, seconds: float) -> tuple[float, float]:
    """Return frames a second and CPU ms a frame of reading the stream and nothing else."""
    with closing(open_camera(address)) as camera:
        count, after_s = 0, 0.0
        cpu_s, end_s = time.process_time(), time.monotonic() + seconds
        while time.monotonic() < end_s:
            frame = camera.next_frame(after_s=after_s, timeout_s=0.5)
            if frame is not None:
                count, after_s = count + 1, frame.arrived_at_s
        return count / seconds, 1e3 * (time.process_time() - cpu_s) / max(count, 1)


def windowed(
    application: QApplication, address: str, seconds: float
) -> tuple[float, list[float], float, float]:
    """Return frames shown a second, their ages in ms, CPU ms a frame, answers a second."""
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder)
        window = Window(application, data, open_store=lambda: Store(data))
        window.resize(1280, 800)
        window.show_start()
        window.show()
        window.open(
            RunChoice(
                profile=bench_profile("plover"),
                simulated=True,
                camera=address,
                mode=PositionMode.SHOWN,
            )
        )
        while window.page is None or window.page.live.shown is None:
            application.processEvents()
        live, ages, last, answers, seen = window.page.live, [], None, 0, None
        cpu_s, end_s = time.process_time(), time.monotonic() + seconds
        while time.monotonic() < end_s:
            application.processEvents()
            shown = live.shown
            if shown is not None and shown.frame.frame_id != last:
                last = shown.frame.frame_id
                ages.append(1e3 * (time.perf_counter() - shown.frame.arrived_at_s))
            glance = None if window.state is None else window.state.glance
            if glance is not seen:
                answers, seen = answers + 1, glance
            time.sleep(0.001)
        cpu_ms = 1e3 * (time.process_time() - cpu_s) / max(len(ages), 1)
        window.close()
        application.processEvents()
    return len(ages) / seconds, ages, cpu_ms, answers / seconds


def main() -> None:
    """Print one line a size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=10.0)
    given = parser.parse_args()
    cv2.setNumThreads(1)
    application = QApplication(["live"])
    print(
        f"Python {platform.python_version()}, {os.cpu_count()} cores, platform "
        f"{application.platformName()}, stream {FPS:g} frames/s, finder on, {given.seconds:g} s"
    )
    print("size        shown/s  age ms: median  95 %   CPU ms/frame   of bare read   answers/s")
    for size in SIZES:
        with stream(size) as address:
            _, bare_ms = bare(address, given.seconds / 2.0)
            shown, ages, cpu_ms, answers = windowed(application, address, given.seconds)
        ages.sort()
        print(
            f"{size[0]}x{size[1]:<6} {shown:7.1f} {statistics.median(ages):14.1f} "
            f"{ages[int(0.95 * len(ages))]:6.1f} {cpu_ms:14.1f} {cpu_ms / bare_ms:14.1f} x "
            f"{answers:10.1f}"
        )


if __name__ == "__main__":
    main()
