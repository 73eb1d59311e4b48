"""Starts the window and stays until it is closed."""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtWidgets import QApplication

from app import __version__
from app.bench import bench_profile
from app.cameras.opencv import cv2
from app.crash import catch_hard_crashes, release_hard_crashes
from app.job.facts import PositionMode
from app.records import Store
from app.settings import data_folder
from app.ui.screen import check_screen
from app.ui.window import Window
from app.wiring.opening import BENCH, RunChoice

_LOG = logging.getLogger(__name__)

SIGNALS_MS = 200
"""How often Python gets a turn to hear Ctrl+C while Qt waits."""


def open_window(*, machine: str | None, seed: int) -> int:
    """Open the window and return when it was closed.

    Parameters
    ----------
    machine
        One of the bench, to begin with it at once; None for the start page.
    seed
        Which hidden truth the bench has.

    Raises
    ------
    DeviceError
        When there is no screen to open it on.
    """
    check_screen(os.environ)
    # One thread paints, one measures: OpenCV's own threads would only wait for each other.
    cv2.setNumThreads(1)
    folder = data_folder()
    application = QApplication.instance() or QApplication(["tipwright"])
    assert isinstance(application, QApplication)
    application.setApplicationName("Tipwright")
    application.setApplicationVersion(__version__)
    application.setDesktopFileName("tipwright")
    window = Window(application, folder, open_store=lambda: Store(folder))
    hard = catch_hard_crashes(folder)
    try:
        with _unforeseen_told_by(window), _stopped_by_signals(application):
            window.show_start()
            if machine is not None:
                window.open(bench_choice(machine, seed))
            window.show()
            return int(application.exec())
    finally:
        window.close()
        release_hard_crashes(hard)


def bench_choice(machine: str, seed: int) -> RunChoice:
    """Return the choice of one machine of the bench with everything else as it comes."""
    return RunChoice(
        profile=bench_profile(machine),
        simulated=True,
        camera=BENCH,
        mode=PositionMode.SHOWN,
        seed=seed,
    )


class _Unforeseen(QObject):
    """Carries exceptions from any thread to the window's own."""

    met = Signal(object)


@contextmanager
def _unforeseen_told_by(window: Window) -> Iterator[None]:
    """Have exceptions that nobody caught told by the window, until the context ends."""
    carrier = _Unforeseen(window)
    carrier.met.connect(window.tell_unexpected)
    before = sys.excepthook, threading.excepthook

    def main(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        if isinstance(error, Exception):
            carrier.met.emit(error)
        else:
            before[0](kind, error, trace)

    def thread(met: threading.ExceptHookArgs) -> None:
        if isinstance(met.exc_value, Exception):
            carrier.met.emit(met.exc_value)

    sys.excepthook = main
    threading.excepthook = thread
    try:
        yield
    finally:
        sys.excepthook, threading.excepthook = before


@contextmanager
def _stopped_by_signals(application: QApplication) -> Iterator[None]:
    """Let Ctrl+C and a plain kill close the window in order."""
    before = {which: signal.getsignal(which) for which in (signal.SIGINT, signal.SIGTERM)}
    for which in before:
        signal.signal(which, lambda *_: application.closeAllWindows())
    # Qt does not let Python look at its signals while it waits for events.
    turns = QTimer()
    turns.timeout.connect(lambda: None)
    turns.start(SIGNALS_MS)
    try:
        yield
    finally:
        turns.stop()
        for which, handler in before.items():
            signal.signal(which, handler)
