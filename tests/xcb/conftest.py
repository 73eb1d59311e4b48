"""Tests of the real window on a real X server, with real mouse and key events.

They run only where the platform is xcb: tests/e2e/test_real_window.py starts a screen
in memory and runs each of these files in a process of its own, since one process has
one platform.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from app.records import Store
from tests.xcb.hands import Hands

if os.environ.get("QT_QPA_PLATFORM") != "xcb":
    collect_ignore_glob = ["test_*.py"]


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's data folder, not there yet."""
    folder = tmp_path / "data"
    monkeypatch.setenv("TIPWRIGHT_DATA", str(folder))
    return folder


@pytest.fixture
def hands(qtbot: QtBot, qapp: object, data: Path) -> Iterator[Hands]:
    """Open the window on its start page, and give the hands that use it."""
    from PySide6.QtWidgets import QApplication

    from app.ui.window import Window

    assert isinstance(qapp, QApplication)
    assert qapp.platformName() == "xcb"
    window = Window(qapp, data, open_store=lambda: Store(data))
    window.resize(1280, 800)
    window.move(0, 0)
    window.show_start()
    window.show()
    qtbot.waitExposed(window)
    made = Hands(qtbot, window)
    made.take_focus()
    yield made
    window.close()
