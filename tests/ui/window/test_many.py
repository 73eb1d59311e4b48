"""Two hundred sources opened and closed leave nothing behind."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from functools import partial
from pathlib import Path

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.records import Store
from app.ui.desk import Desk
from app.wiring.opening import RunChoice, open_run
from app.wiring.recording import Recorder
from tests.ui.window.conftest import deleted_later, our_threads

OPENINGS = 200


def test_two_hundred_sources_leave_no_thread_timer_or_widget(
    qtbot: QtBot, qapp: QApplication, tmp_path: Path, picture_choice: RunChoice
) -> None:
    parent = QObject()
    copied: list[str] = []
    # Held, so that widgets of earlier tests that are collected meanwhile do not count.
    before = set(qapp.allWidgets())
    with closing(Store(tmp_path / "data")) as store:
        choice = picture_choice
        for _ in range(OPENINGS):
            opened = open_run(choice, store)
            choice = replace(choice, resume=opened.run_id)
            desk = Desk(
                opened,
                make_recorder=partial(Recorder, store, opened.run_id),
                history={},
                copy=copied.append,
                parent=parent,
            )
            with qtbot.waitSignal(desk.changed, timeout=20_000):
                desk.start()
            desk.close()
            desk.deleteLater()
            deleted_later()
    assert our_threads() == []
    assert parent.children() == []
    assert parent.findChildren(QTimer) == []
    assert [w for w in qapp.allWidgets() if w not in before] == []
