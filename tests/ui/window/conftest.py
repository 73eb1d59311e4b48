"""A window on a folder of its own, with what it leaves behind looked at in the end."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QEvent
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.bench import bench_profile
from app.job.facts import PositionMode
from app.records import Store
from app.ui.window import Window
from app.wiring.opening import RunChoice

OURS = ("opening", "writing", "viewing", "measuring")

MakeWindow = Callable[[], Window]


def our_threads() -> list[str]:
    """Return the names of the threads that belong to a run."""
    return [t.name for t in threading.enumerate() if t.name.split()[0] in OURS]


def deleted_later() -> None:
    """Carry out the deletions that wait."""
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    QApplication.processEvents()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "data"


@pytest.fixture
def make_window(qtbot: QtBot, qapp: QApplication, folder: Path) -> Iterator[MakeWindow]:
    """Make windows on one folder; each is closed in the end."""
    made: list[Window] = []

    def make() -> Window:
        window = Window(qapp, folder, open_store=lambda: Store(folder))
        made.append(window)
        window.show_start()
        window.show()
        return window

    yield make
    for window in made:
        window.close()
        window.deleteLater()
    deleted_later()
    assert our_threads() == []


@pytest.fixture
def picture_choice(tmp_path: Path) -> RunChoice:
    """Return a real machine that is looked at through a folder with one small picture."""
    pictures = tmp_path / "pictures"
    pictures.mkdir()
    cv2.imwrite(str(pictures / "one.png"), np.full((48, 64), 90, np.uint8))
    return RunChoice(
        profile=bench_profile("plover"),
        simulated=False,
        camera=f"file:{pictures}",
        mode=PositionMode.SHOWN,
    )
