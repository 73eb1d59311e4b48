"""A run outlives its window, and what the window opens it closes."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication, QLabel, QWidget
from pytestqt.qtbot import QtBot

from app.errors import RecordsError
from app.job.by_hand import Typed
from app.job.sheet import PREPARATION, Prepare
from app.records import Store
from app.ui import intentions as want
from app.ui.program import bench_choice
from app.ui.start import StartPage
from app.ui.state import DeskState
from app.ui.window import Window
from app.wiring.opening import RunChoice
from tests.ui.window.conftest import MakeWindow, deleted_later, our_threads

WAIT_MS = 8_000


def open_run(qtbot: QtBot, window: Window, choice: RunChoice) -> DeskState:
    """Open a run and wait for its first state."""
    window.open(choice)
    qtbot.waitUntil(lambda: window.state is not None, timeout=WAIT_MS)
    return state_of(window)


def state_of(window: Window) -> DeskState:
    assert window.state is not None
    return window.state


def wants(window: Window, *wanted: want.Intention) -> None:
    """Want things as the parts of the page do."""
    assert window.page is not None
    for one in wanted:
        window.page.wanted.emit(one)


def prepare(qtbot: QtBot, window: Window) -> None:
    wants(window, *(want.Proceed() for _ in PREPARATION))
    qtbot.waitUntil(lambda: not isinstance(state_of(window).step, Prepare), timeout=WAIT_MS)


def said(window: Window) -> str:
    """Return all words on the window."""
    return "\n".join(label.text() for label in window.findChildren(QLabel) if label.isVisible())


def test_a_run_left_in_the_middle_is_offered_and_goes_on_in_the_same_world(
    qtbot: QtBot, make_window: MakeWindow, folder: Path
) -> None:
    first = make_window()
    began = open_run(qtbot, first, bench_choice("avocet", 7))
    prepare(qtbot, first)
    first.close()
    second = make_window()
    with Store(folder) as store:
        offered = store.last_unfinished()
    assert offered is not None
    assert offered.run_id == began.run_id
    choice = bench_choice("avocet", 1)
    resumed = RunChoice(
        profile=choice.profile,
        simulated=True,
        camera=choice.camera,
        mode=choice.mode,
        seed=1,
        resume=offered.run_id,
    )
    gone_on = open_run(qtbot, second, resumed)
    assert gone_on.run_id == began.run_id
    assert gone_on.camera_name == "bench seed 7"
    assert not isinstance(gone_on.step, Prepare)


def test_a_run_cannot_be_open_in_two_windows(
    qtbot: QtBot, make_window: MakeWindow, picture_choice: RunChoice
) -> None:
    first, second = make_window(), make_window()
    run = open_run(qtbot, first, picture_choice)
    second.open(
        RunChoice(
            profile=picture_choice.profile,
            simulated=False,
            camera=picture_choice.camera,
            mode=picture_choice.mode,
            resume=run.run_id,
        )
    )
    qtbot.waitUntil(lambda: "open in another window" in said(second), timeout=WAIT_MS)
    assert second.state is None
    other = open_run(qtbot, second, picture_choice)
    assert other.run_id != run.run_id


def test_a_window_closed_while_a_camera_is_opened_lets_go_of_it(
    make_window: MakeWindow, picture_choice: RunChoice
) -> None:
    window = make_window()
    window.open(picture_choice)
    window.close()
    QApplication.processEvents()
    assert window.state is None
    assert our_threads() == []
    deleted_later()
    # Nor does it come back with a start page, which would open the records again.
    assert window.findChildren(StartPage) == []


def test_records_that_cannot_be_written_are_told_and_tried_again(
    qtbot: QtBot, qapp: QApplication, folder: Path, picture_choice: RunChoice
) -> None:
    is_full = [True]

    def open_store() -> Store:
        if is_full[0]:
            raise RecordsError("The disk is full: make room.", code="records-disk")
        return Store(folder)

    window = Window(qapp, folder, open_store=open_store)
    qtbot.addWidget(window)
    window.show_start()
    window.show()
    assert "The disk is full" in said(window)
    window.open(picture_choice)
    assert window.state is None
    is_full[0] = False
    open_run(qtbot, window, picture_choice)
    window.close()


def test_a_run_whose_lock_cannot_be_written_is_refused_with_a_sentence(
    qtbot: QtBot, make_window: MakeWindow, folder: Path, picture_choice: RunChoice
) -> None:
    window = make_window()
    (folder / "open").write_text("a file where the folder should be")
    window.open(picture_choice)
    qtbot.waitUntil(lambda: "cannot be written to" in said(window), timeout=WAIT_MS)
    assert window.state is None


def test_what_nobody_foresaw_leaves_a_file_and_the_window_goes_on(
    qtbot: QtBot, make_window: MakeWindow, folder: Path, picture_choice: RunChoice
) -> None:
    window = make_window()
    open_run(qtbot, window, picture_choice)
    window.tell_unexpected(ArithmeticError("no such number"))
    assert [notice.key for notice in state_of(window).notices] == ["fault"]
    reports = [file.read_text() for file in (folder / "crashes").iterdir()]
    assert any("no such number" in report for report in reports)
    prepare(qtbot, window)


def test_a_sighting_does_not_outlive_the_camera_that_was_moved(
    qtbot: QtBot, make_window: MakeWindow
) -> None:
    window = make_window()
    open_run(qtbot, window, bench_choice("avocet", 7))
    prepare(qtbot, window)
    wants(window, want.TypedPlace(Typed(x="0.0", y="0.0", z="0.0")))
    qtbot.waitUntil(lambda: not state_of(window).blocked, timeout=WAIT_MS)
    wants(window, want.Proceed())
    assert state_of(window).burst is not None
    wants(window, want.CameraWasMoved(why="somebody knocked at it"))
    refused = state_of(window).refused
    assert state_of(window).burst is None
    assert refused is not None
    assert "something else was recorded" in refused.sentence
    qtbot.waitUntil(lambda: not state_of(window).saving, timeout=WAIT_MS)
    assert state_of(window).snapshot.run.sightings == ()


def test_an_unknown_wish_is_a_mistake_of_the_program(
    qtbot: QtBot, make_window: MakeWindow, picture_choice: RunChoice
) -> None:
    window = make_window()
    open_run(qtbot, window, picture_choice)
    run = window._run
    assert run is not None
    with pytest.raises(TypeError, match="nobody carries out"):
        run.desk.do("dance")  # type: ignore[arg-type]  # what is tested


def test_many_opens_and_closes_leave_nothing_behind(
    qtbot: QtBot, qapp: QApplication, make_window: MakeWindow, picture_choice: RunChoice
) -> None:
    window = make_window()

    def once() -> tuple[int, int, int]:
        open_run(qtbot, window, picture_choice)
        window.show_start()
        deleted_later()
        active = [timer for timer in window.findChildren(QTimer) if timer.isActive()]
        return len(window.findChildren(QWidget)), len(qapp.topLevelWidgets()), len(active)

    for _ in range(2):
        usual = once()
    for _ in range(20):
        now = once()
    assert now == usual
    assert our_threads() == []
