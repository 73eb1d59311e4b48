"""A minute of live picture on a real screen: nothing dies, nothing grows, frames stay young."""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.records import Store
from app.ui.program import bench_choice
from app.ui.window import Window

SECONDS = 60


@pytest.mark.slow
def test_a_minute_of_live_picture_keeps_the_count_of_none(
    qtbot: QtBot, qapp: QApplication, data: Path
) -> None:
    assert qapp.platformName() == "xcb"
    before = set(threading.enumerate())
    window = Window(qapp, data, open_store=lambda: Store(data))
    window.show_start()
    window.show()
    window.open(bench_choice("plover", 1))
    qtbot.waitUntil(lambda: window.page is not None, timeout=20_000)
    page = window.page
    assert page is not None
    qtbot.wait(2000)
    nones, first, widgets = sys.getrefcount(None), page.live.shown, len(qapp.allWidgets())
    qtbot.wait(SECONDS * 1000)
    # Each call of Qt that returns nothing took one reference with a broken PySide6: some
    # hundreds a second here. What Python itself holds of None comes and goes by thousands.
    assert sys.getrefcount(None) > nones - 2000
    last = page.live.shown
    assert first is not None
    assert last is not None
    assert last.frame.frame_id - first.frame.frame_id > 15 * SECONDS
    assert len(qapp.allWidgets()) == widgets
    window.close()
    qtbot.waitUntil(lambda: set(threading.enumerate()) <= before, timeout=10_000)
