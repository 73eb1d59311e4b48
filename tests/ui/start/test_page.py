from __future__ import annotations

import threading
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QFileDialog,
    QLabel,
    QLineEdit,
    QListWidget,
    QPushButton,
    QWidget,
)

from app.cameras import ListedCamera
from app.errors import CameraError, RecordsError
from app.job.facts import PositionMode
from app.records.profiles import write_profile
from app.ui.look.colours import DARK, LIGHT
from app.ui.look.style import dress
from app.ui.start.page import StartPage
from app.ui.start.pictures import Image
from app.ui.start.rows import Row
from app.wiring.opening import RunChoice
from tests.job.conftest import make_profile
from tests.ui.start.conftest import DEMO, MICROSCOPE, RUN, WEBCAM, Start

_W = TypeVar("_W", bound=QWidget)

DUNLIN = make_profile(name="Dunlin")
HERON, PLOVER, AVOCET = DEMO


def part(page: StartPage, kind: type[_W], name: str) -> _W:
    found = page.findChild(kind, name)
    assert found is not None, name
    return found


def press(page: StartPage, name: str) -> None:
    key = part(page, QAbstractButton, name)
    assert key.isVisible()
    QTest.mouseClick(key, Qt.MouseButton.LeftButton)


def write(page: StartPage, name: str, text: str) -> None:
    field = part(page, QLineEdit, name)
    assert field.isVisible()
    field.setFocus()
    field.selectAll()
    QTest.keyClick(field, Qt.Key.Key_Delete)
    QTest.keyClicks(field, text)


def click_row(page: StartPage, list_name: str, title: str) -> None:
    """Click the row of a list whose words begin like that."""
    rows = part(page, QListWidget, list_name)
    item = next(rows.item(at) for at in range(rows.count()) if rows.item(at).text() == title)
    rows.scrollToItem(item)
    middle = rows.visualItemRect(item).center()
    QTest.mouseClick(rows.viewport(), Qt.MouseButton.LeftButton, pos=middle)


def reason(page: StartPage) -> str:
    return part(page, QLabel, "start_reason").text()


def titles(page: StartPage, list_name: str) -> list[str]:
    rows = part(page, QListWidget, list_name)
    return [rows.item(at).text() for at in range(rows.count())]


def focused(page: StartPage) -> QWidget:
    widget = page.focusWidget()
    assert widget is not None
    return widget


# Beginning ----------------------------------------------------------------------------


@pytest.mark.parametrize("pressed", [Qt.Key.Key_Space, Qt.Key.Key_Return])
def test_for_a_newcomer_the_demo_is_one_press_away(start: Start, pressed: Qt.Key) -> None:
    page = start.page()
    QTest.keyClick(focused(page), pressed)
    assert start.choices == [
        RunChoice(profile=PLOVER, simulated=True, camera="bench", mode=PositionMode.SHOWN)
    ]


def test_by_mouse_another_machine_of_the_demo_is_two_presses(start: Start) -> None:
    page = start.page()
    click_row(page, "machines", "Avocet")
    press(page, "start")
    assert start.choices[0].profile == AVOCET
    assert start.choices[0].camera == "bench"


def test_by_keyboard_alone_a_real_machine_with_its_second_camera(start: Start) -> None:
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE, WEBCAM])
    machines, cameras = part(page, QListWidget, "machines"), part(page, QListWidget, "cameras")
    machines.setFocus()
    for _ in range(20):
        if focused(page) is cameras:
            break
        QTest.keyClick(focused(page), Qt.Key.Key_Tab)
    QTest.keyClick(cameras, Qt.Key.Key_Down)
    QTest.keyClick(cameras, Qt.Key.Key_Return)
    assert start.choices == [
        RunChoice(profile=DUNLIN, simulated=False, camera="usb:2", mode=PositionMode.SHOWN)
    ]


def test_the_last_choice_is_there_at_the_next_start(start: Start) -> None:
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE, WEBCAM])
    click_row(page, "cameras", "Webcam")
    press(page, "mode_jogs_only")
    press(page, "start")
    renumbered = ListedCamera(name="Webcam", source="usb:7")
    again = start.page(machines=[DUNLIN], cameras=[MICROSCOPE, renumbered])
    press(again, "start")
    assert start.choices[1] == RunChoice(
        profile=DUNLIN, simulated=False, camera="usb:7", mode=PositionMode.JOGS_ONLY
    )


def test_without_any_camera_the_reason_stands_beside_start_and_looking_again_helps(
    start: Start,
) -> None:
    page = start.page(machines=[DUNLIN])
    assert titles(page, "cameras") == ["Network camera", "Video or pictures"]
    assert "No USB camera" in part(page, QLabel, "camera_note").text()
    assert not part(page, QPushButton, "start").isEnabled()
    assert reason(page).startswith("Type the network camera's address")
    start.later = (MICROSCOPE,)
    press(page, "look_again")
    click_row(page, "cameras", "Microscope")
    press(page, "start")
    assert start.choices[0].camera == "usb:0"


def test_a_network_address_is_checked_while_it_is_typed(start: Start) -> None:
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE])
    click_row(page, "cameras", "Network camera")
    write(page, "camera_address", "cam.local")
    assert reason(page).startswith("The address has to begin with http://")
    write(page, "camera_address", "http://cam.local:8080/")
    assert reason(page) == ""
    QTest.keyClick(focused(page), Qt.Key.Key_Return)
    assert start.choices[0].camera == "http://cam.local:8080/"
    again = start.page(machines=[DUNLIN], cameras=[MICROSCOPE])
    assert part(again, QLineEdit, "camera_address").text() == "http://cam.local:8080/"


def test_a_space_in_a_field_is_a_space(start: Start) -> None:
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE])
    click_row(page, "cameras", "Video or pictures")
    write(page, "camera_path", "a b")
    assert part(page, QLineEdit, "camera_path").text() == "a b"
    assert start.choices == []


def test_a_folder_of_pictures_takes_the_cameras_place(start: Start, tmp_path: Path) -> None:
    page = start.page(machines=[DUNLIN])
    click_row(page, "cameras", "Video or pictures")
    write(page, "camera_path", str(tmp_path / "gone"))
    assert "is not there" in reason(page)
    write(page, "camera_path", str(tmp_path))
    press(page, "start")
    assert start.choices[0].camera == f"file:{tmp_path}"


def test_a_stream_may_look_at_a_machine_of_the_demo_which_stays_simulated(start: Start) -> None:
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE])
    click_row(page, "machines", "Heron")
    assert titles(page, "cameras") == ["The bench's camera", "Network camera"]
    click_row(page, "cameras", "Network camera")
    write(page, "camera_address", "http://127.0.0.1:8090/camera")
    press(page, "start")
    assert start.choices == [
        RunChoice(
            profile=HERON,
            simulated=True,
            camera="http://127.0.0.1:8090/camera",
            mode=PositionMode.SHOWN,
        )
    ]


def test_the_bench_chooses_itself_for_the_demo_whatever_was_used_last(start: Start) -> None:
    preferences = start.preferences()
    preferences.camera, preferences.machine = "http://cam.local/", "known/Dunlin"
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE])
    click_row(page, "machines", "Plover")
    press(page, "start")
    assert start.choices[0].camera == "bench"


def test_counting_jogs_says_why_it_cannot_be(start: Start) -> None:
    page = start.page()
    click_row(page, "machines", "Heron")
    assert not part(page, QAbstractButton, "mode_jogs_only").isEnabled()
    assert "homes between its tools" in part(page, QLabel, "mode_reason").text()
    assert not part(page, QAbstractButton, "mode_connected").isEnabled()
    click_row(page, "machines", "Plover")
    press(page, "mode_jogs_only")
    press(page, "start")
    assert start.choices[0].mode is PositionMode.JOGS_ONLY


def test_while_a_run_is_opened_there_is_nothing_to_press_and_a_refusal_is_shown(
    start: Start,
) -> None:
    page = start.page(unfinished=RUN)
    page.set_opening(True)
    QTest.keyClick(page, Qt.Key.Key_Return)
    assert start.choices == []
    assert not part(page, QPushButton, "leave_run").isEnabled()
    page.say("The disk is full: make room, and start again.")
    assert reason(page) == "The disk is full: make room, and start again."
    assert part(page, QPushButton, "start").isEnabled()


# Going on -----------------------------------------------------------------------------


@pytest.mark.parametrize("pressed", [Qt.Key.Key_Space, Qt.Key.Key_Return])
def test_an_unfinished_run_goes_on_with_one_press(start: Start, pressed: Qt.Key) -> None:
    page = start.page(unfinished=RUN)
    assert part(page, QLabel, "resume_words").text() == "Plover, today 14:03: 7 facts, simulated"
    QTest.keyClick(focused(page), pressed)
    assert start.choices == [
        RunChoice(
            profile=PLOVER,
            simulated=True,
            camera="bench",
            mode=PositionMode.SHOWN,
            resume=RUN.run_id,
        )
    ]


def test_enter_on_another_button_presses_that_one(start: Start) -> None:
    page = start.page(unfinished=RUN)
    part(page, QPushButton, "leave_run").setFocus()
    QTest.keyClick(focused(page), Qt.Key.Key_Return)
    assert not part(page, QWidget, "resume_card").isVisible()
    assert start.choices == []


def test_a_run_that_was_left_is_not_offered_again(start: Start) -> None:
    page = start.page(unfinished=RUN)
    press(page, "leave_run")
    assert not part(page, QWidget, "resume_card").isVisible()
    assert not part(start.page(unfinished=RUN), QWidget, "resume_card").isVisible()
    assert start.choices == []


def test_a_real_run_wants_a_camera_and_its_machine_before_it_goes_on(start: Start) -> None:
    real = RUN.__class__(
        run_id="r2",
        machine="Dunlin",
        started_at=RUN.started_at,
        last_at=RUN.last_at,
        n_facts=3,
        simulated=False,
        exported=False,
        finished=False,
    )
    page = start.page(machines=[DUNLIN], unfinished=real)
    assert not part(page, QPushButton, "go_on").isEnabled()
    assert "address" in part(page, QLabel, "resume_reason").text()
    start.later = (MICROSCOPE,)
    press(page, "look_again")
    click_row(page, "cameras", "Microscope")
    press(page, "go_on")
    assert (start.choices[0].camera, start.choices[0].resume) == ("usb:0", "r2")
    gone = start.page(unfinished=real, cameras=[MICROSCOPE])
    assert "not among the machines any more" in part(gone, QLabel, "resume_reason").text()


# Pictures of the cameras --------------------------------------------------------------


def test_pictures_are_taken_when_asked_for_and_trouble_stands_beside_the_name(
    start: Start,
) -> None:
    def look(source: str) -> Image:
        if source == "usb:2":
            raise CameraError("Camera 2 is used by another program.", code="camera-not-opened")
        return np.full((48, 64, 3), 99, dtype=np.uint8)

    start.looks = look
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE, WEBCAM])
    press(page, "show_pictures")
    start.qtbot.waitUntil(lambda: not page.camera_panel.taking)
    rows = part(page, QListWidget, "cameras")
    shown = [rows.item(at).data(Qt.ItemDataRole.UserRole + 1) for at in range(2)]
    assert all(isinstance(row, Row) for row in shown)
    assert shown[0].picture is not None
    assert (shown[1].picture, shown[1].words) == (None, "Camera 2 is used by another program.")
    press(page, "start")
    assert start.choices[0].camera == "usb:0"


def test_no_run_starts_while_a_camera_is_open_for_its_picture(start: Start) -> None:
    go = threading.Event()

    def look(_source: str) -> Image:
        assert go.wait(5.0)
        return np.zeros((4, 4), dtype=np.uint8)

    start.looks = look
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE])
    press(page, "show_pictures")
    assert not part(page, QPushButton, "start").isEnabled()
    assert reason(page) == "Pictures of the cameras are being taken; a moment."
    go.set()
    start.qtbot.waitUntil(lambda: part(page, QPushButton, "start").isEnabled())


# Machines -----------------------------------------------------------------------------


def test_a_new_machine_is_described_saved_and_chosen(start: Start) -> None:
    page = start.page(cameras=[MICROSCOPE])
    press(page, "new_machine")
    QTest.keyClicks(focused(page), "Dunlin")
    press(page, "layout_fixed_nozzles")
    write(page, "display_step_mm_field", "0,1")
    press(page, "save_machine")
    assert [profile.name for profile in start.saved] == ["Dunlin"]
    assert start.saved[0].layout == "fixed-nozzles"
    assert start.saved[0].display_step_mm == 0.1
    press(page, "start")
    assert start.choices[0].profile == start.saved[0]
    assert (start.choices[0].simulated, start.choices[0].camera) == (False, "usb:0")


def test_the_form_can_be_filled_and_saved_by_keys_alone(start: Start) -> None:
    page = start.page(cameras=[MICROSCOPE])
    part(page, QPushButton, "new_machine").setFocus()
    QTest.keyClick(focused(page), Qt.Key.Key_Space)
    seen: list[str] = []
    while focused(page).objectName() != "save_machine" and len(seen) < 60:
        if focused(page).objectName() == "name_field":
            QTest.keyClicks(focused(page), "Dunlin")
        seen.append(focused(page).objectName())
        QTest.keyClick(focused(page), Qt.Key.Key_Tab)
    order = ["name_field", "layout_tool_changer", "dialect_field", "tools", "reference_tool_field"]
    assert [name for name in seen if name in order] == order
    QTest.keyClick(focused(page), Qt.Key.Key_Space)
    assert start.saved[0].name == "Dunlin"


def test_a_wrong_field_is_named_and_nothing_is_saved(start: Start) -> None:
    page = start.page()
    press(page, "new_machine")
    press(page, "save_machine")
    assert "Name has to be a text" in part(page, QLabel, "name_complaint").text()
    write(page, "name_field", "Dunlin")
    write(page, "repeatability_um_field", "a hair")
    press(page, "save_machine")
    complaint = part(page, QLabel, "repeatability_um_complaint")
    assert complaint.text() == "! Repeatability has to be a number, not a text (it is a hair)."
    assert complaint.isVisible()
    assert not part(page, QLabel, "name_complaint").isVisible()
    assert focused(page).objectName() == "repeatability_um_field"
    assert start.saved == []


def test_tools_are_added_typed_and_removed(start: Start) -> None:
    page = start.page()
    press(page, "new_machine")
    write(page, "name_field", "Dunlin")
    press(page, "add_tool")
    table = page.form.tools
    table.go_to(2, 2)
    QTest.keyClicks(table.table, "0")
    editor = QApplication.focusWidget()
    assert isinstance(editor, QLineEdit)
    QTest.keyClicks(editor, ",18")
    QTest.keyClick(editor, Qt.Key.Key_Return)
    table.go_to(1, 0)
    press(page, "remove_tool")
    press(page, "save_machine")
    assert [tool.number for tool in start.saved[0].tools] == [0, 2]
    assert start.saved[0].tools[1].stored_raw.x == 0.18


def test_records_that_cannot_be_written_are_a_sentence_and_the_form_stays(start: Start) -> None:
    start.fault = RecordsError("The disk is full; make room.", code="disk-full")
    page = start.page()
    press(page, "new_machine")
    write(page, "name_field", "Dunlin")
    press(page, "save_machine")
    assert part(page, QLabel, "form_said").text() == "Not saved: The disk is full; make room."
    assert part(page, QLineEdit, "name_field").text() == "Dunlin"
    QTest.keyClick(focused(page), Qt.Key.Key_Escape)
    assert "Dunlin" not in titles(page, "machines")


def test_a_known_machine_can_be_edited_and_one_of_the_demo_cannot(start: Start) -> None:
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE])
    press(page, "edit_machine")
    assert part(page, QLineEdit, "name_field").text() == "Dunlin"
    write(page, "tolerance_mm_field", "0.05")
    press(page, "save_machine")
    assert start.saved[0].tolerance_mm == 0.05
    assert titles(page, "machines").count("Dunlin") == 1
    click_row(page, "machines", "Heron")
    assert not part(page, QPushButton, "edit_machine").isEnabled()
    press(page, "new_machine")
    write(page, "name_field", "Dunlin")
    press(page, "save_machine")
    assert "named Dunlin already" in part(page, QLabel, "name_complaint").text()


def test_a_machine_comes_from_its_file(start: Start, tmp_path: Path) -> None:
    file = tmp_path / "dunlin.toml"
    write_profile(DUNLIN, file)
    page = start.page(cameras=[MICROSCOPE])
    press(page, "machine_from_file")
    write(page, "machine_path", str(file))
    QTest.keyClick(focused(page), Qt.Key.Key_Return)
    assert start.saved == [DUNLIN]
    assert start.choices == []
    assert part(page, QLabel, "machine_said").text() == "Dunlin was read and is kept."
    press(page, "start")
    assert start.choices[0].profile == DUNLIN


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("schema = 2\n", "a profile of another version needs another program"),
        ("schema = 1\nname =", "ends too early"),
        ("schema = 1\nname 3\n", "line 2, column 6 cannot be read"),
        ("schema = 1\n", "layout is missing"),
    ],
)
def test_a_file_that_cannot_be_used_says_why(
    start: Start, tmp_path: Path, content: str, words: str
) -> None:
    file = tmp_path / "machine.toml"
    file.write_text(content, encoding="utf-8")
    page = start.page()
    press(page, "machine_from_file")
    write(page, "machine_path", str(file))
    press(page, "read_machine")
    assert words in part(page, QLabel, "machine_said").text()
    assert start.saved == []


def test_no_path_and_no_file_are_sentences_too(start: Start) -> None:
    page = start.page()
    press(page, "machine_from_file")
    press(page, "read_machine")
    assert part(page, QLabel, "machine_said").text().startswith("Type the path of a profile")
    write(page, "machine_path", "/nowhere/dunlin.toml")
    press(page, "read_machine")
    assert "is not there" in part(page, QLabel, "machine_said").text()


def test_looking_for_a_file_blocks_nothing(start: Start) -> None:
    page = start.page()
    press(page, "machine_from_file")
    press(page, "browse_machine")
    dialog = part(page, QFileDialog, "browse")
    assert not dialog.isModal()
    dialog.fileSelected.emit("/somewhere/dunlin.toml")
    assert part(page, QLineEdit, "machine_path").text() == "/somewhere/dunlin.toml"
    dialog.close()


# Looks --------------------------------------------------------------------------------


def controls(page: StartPage) -> list[QWidget]:
    kinds = (QAbstractButton, QLineEdit, QListWidget, QComboBox)
    return [
        widget
        for kind in kinds
        for widget in page.findChildren(kind)
        if not widget.objectName().startswith("qt_") and "QTableCorner" not in repr(widget)
    ]


def test_every_control_has_a_name_for_people_and_a_tooltip(start: Start) -> None:
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE], unfinished=RUN)
    found = [control for control in controls(page) if type(control).__module__ != "builtins"]
    assert len(found) > 40
    for control in found:
        if control.metaObject().className() == "QTableCornerButton":
            continue
        assert control.objectName(), control
        assert control.accessibleName(), control.objectName()
        assert control.toolTip(), control.objectName()


@pytest.mark.parametrize("which", ["choosing", "form"])
def test_nothing_is_cut_off_at_the_smallest_size(start: Start, which: str) -> None:
    long = [
        make_profile(name="A machine with a name of forty characters"),
        make_profile(name="Knob", shows_coordinates=False, homes_between_tools=True),
    ]
    cameras = [ListedCamera(name="A camera with a very long name " * 3, source="usb:0")]
    app = QApplication.instance()
    assert isinstance(app, QApplication)
    dress(app, LIGHT)
    try:
        page = start.page(machines=long, cameras=cameras, unfinished=RUN)
        press(page, "machine_from_file")
        page.machine_panel.say("A sentence that needs more than one line, as those do. " * 2)
        click_row(page, "machines", "Knob")
        click_row(page, "cameras", "Video or pictures")
        if which == "form":
            press(page, "new_machine")
        QApplication.processEvents()
        assert (page.width(), page.height()) == (1024, 700)
        assert page.minimumSizeHint().height() <= 700
        for key in page.findChildren(QPushButton):
            if key.isVisible() and key.text():
                assert key.width() >= key.minimumSizeHint().width(), key.objectName()
                assert key.fontMetrics().horizontalAdvance(key.text()) <= key.width()
        for label in page.findChildren(QLabel):
            if label.isVisible() and label.text() and label.wordWrap():
                need = label.heightForWidth(label.width())
                assert label.height() >= need, label.text()
    finally:
        app.setStyleSheet("")


def test_the_look_can_change_while_the_page_is_shown(start: Start) -> None:
    page = start.page(machines=[DUNLIN], cameras=[MICROSCOPE], unfinished=RUN)
    page.use_colours(DARK)
    assert not page.grab().isNull()
