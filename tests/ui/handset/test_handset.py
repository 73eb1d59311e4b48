from __future__ import annotations

import math
import threading
from collections.abc import Iterator

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from app.job.profile import Profile, Tool
from app.ui.handset import Handset
from app.ui.handset.shell import shell_of
from app.ui.handset.wheel import DETENTS_A_TURN, Handwheel
from app.ui.look.colours import DARK, LIGHT, contrast
from app.ui.look.style import dress
from tests.job.conftest import make_profile
from tests.ui.handset.machines import GatedMachine, bench

TENTHS = make_profile(display_step_mm=0.1)


@pytest.fixture
def made(qtbot: QtBot) -> Iterator[tuple[Handset, GatedMachine]]:
    machine = GatedMachine()
    machine.go.set()
    handset = Handset(machine, make_profile(display_step_mm=0.01), LIGHT)
    qtbot.addWidget(handset)
    handset.resize(176, 556)
    handset.show()
    qtbot.waitUntil(lambda: words(handset, "handset_x") == "100.00")
    yield handset, machine
    handset.close()


def words(handset: QWidget, name: str) -> str:
    label = handset.findChild(QLabel, name)
    assert label is not None
    return label.text()


def key(handset: QWidget, name: str) -> QPushButton:
    found = handset.findChild(QPushButton, name)
    assert found is not None
    return found


def wheel_of(handset: QWidget) -> Handwheel:
    found = handset.findChild(Handwheel, "handwheel")
    assert found is not None
    return found


def press(handset: QWidget, name: str) -> None:
    QTest.mouseClick(key(handset, name), Qt.MouseButton.LeftButton)


def drag(wheel: Handwheel, degrees: float) -> None:
    """Drag round the wheel from its top, clockwise for plus, in small moves."""

    def place(at_deg: float) -> QPoint:
        angle = math.radians(at_deg - 90.0)
        reach = 0.4 * min(wheel.width(), wheel.height())
        from_hub = QPointF(reach * math.cos(angle), reach * math.sin(angle))
        return (QPointF(wheel.rect().center()) + from_hub).toPoint()

    QTest.mousePress(wheel, Qt.MouseButton.LeftButton, pos=place(0.0))
    steps = max(int(abs(degrees) / 4.0), 1)
    for number in range(1, steps + 1):
        QTest.mouseMove(wheel, place(degrees * number / steps))
    QTest.mouseRelease(wheel, Qt.MouseButton.LeftButton, pos=place(degrees))


def notch(wheel: Handwheel, eighths: int) -> None:
    middle = QPointF(wheel.rect().center())
    QApplication.sendEvent(
        wheel,
        QWheelEvent(
            middle,
            wheel.mapToGlobal(middle),
            QPoint(),
            QPoint(0, eighths),
            Qt.MouseButton.NoButton,
            Qt.KeyboardModifier.NoModifier,
            Qt.ScrollPhase.NoScrollPhase,
            False,
        ),
    )


def test_nine_tenths_back_and_three_on_are_two_drags(
    qtbot: QtBot, made: tuple[Handset, GatedMachine]
) -> None:
    handset, machine = made
    detent_deg = 360.0 / DETENTS_A_TURN
    drag(wheel_of(handset), -9.4 * detent_deg)
    assert wheel_of(handset).accessibleDescription() == "X -0.90 9 clicks"
    drag(wheel_of(handset), 3.4 * detent_deg)
    assert wheel_of(handset).accessibleDescription() == "X +0.30 3 clicks"
    qtbot.waitUntil(lambda: words(handset, "handset_x") == "99.40")
    assert min(move["x"] for move in machine.moves) == 99.1
    assert machine.moves[-1] == {"x": 99.4}


def test_a_notch_of_the_mouse_wheel_is_one_click_however_finely_it_comes(
    qtbot: QtBot, made: tuple[Handset, GatedMachine]
) -> None:
    handset, _machine = made
    press(handset, "handset_axis_y")
    for _ in range(8):
        notch(wheel_of(handset), 30)
    qtbot.waitUntil(lambda: words(handset, "handset_y") == "50.20")
    notch(wheel_of(handset), -120)
    qtbot.waitUntil(lambda: words(handset, "handset_y") == "50.10")


def test_arrow_keys_turn_the_wheel_by_one_and_by_ten(
    qtbot: QtBot, made: tuple[Handset, GatedMachine]
) -> None:
    handset, _machine = made
    wheel = wheel_of(handset)
    for pressed in (Qt.Key.Key_Up, Qt.Key.Key_Right, Qt.Key.Key_PageUp, Qt.Key.Key_Down):
        QTest.keyClick(wheel, pressed)
    qtbot.waitUntil(lambda: words(handset, "handset_x") == "101.10")


def test_the_step_key_changes_what_a_click_is_worth(
    qtbot: QtBot, made: tuple[Handset, GatedMachine]
) -> None:
    handset, _machine = made
    assert key(handset, "handset_step").text() == "Step 0.1 mm"
    press(handset, "handset_step")
    assert key(handset, "handset_step").text() == "Step 0.01 mm"
    QTest.keyClick(wheel_of(handset), Qt.Key.Key_Left)
    qtbot.waitUntil(lambda: words(handset, "handset_x") == "99.99")


def test_a_tool_key_takes_the_tool_and_the_display_tells_which(
    qtbot: QtBot, made: tuple[Handset, GatedMachine]
) -> None:
    handset, _machine = made
    press(handset, "handset_tool_1")
    qtbot.waitUntil(lambda: words(handset, "handset_state") == "T1   homed")
    assert key(handset, "handset_tool_1").isChecked()
    assert not key(handset, "handset_tool_0").isChecked()


def test_home_asks_once_more_and_says_what_it_will_do(
    qtbot: QtBot, made: tuple[Handset, GatedMachine]
) -> None:
    handset, machine = made
    press(handset, "handset_home")
    assert words(handset, "handset_message").startswith("Lifts Z to 50, homes X Y Z.")
    assert machine.others == []
    press(handset, "handset_home")
    qtbot.waitUntil(lambda: machine.others == ["home"])
    assert key(handset, "handset_home").text() == "Home"


def test_the_question_before_homing_goes_away_by_itself_and_by_turning_the_wheel(
    qtbot: QtBot, made: tuple[Handset, GatedMachine]
) -> None:
    handset, machine = made
    press(handset, "handset_home")
    QTest.keyClick(wheel_of(handset), Qt.Key.Key_Up)
    assert key(handset, "handset_home").text() == "Home"
    handset._asked.setInterval(1)
    press(handset, "handset_home")
    qtbot.waitUntil(lambda: key(handset, "handset_home").text() == "Home")
    assert machine.others == []


def test_what_the_machine_refuses_stands_in_its_display(qtbot: QtBot) -> None:
    world, machine, profile = bench("plover")
    handset = Handset(machine, profile, DARK)
    qtbot.addWidget(handset)
    while handset.step_mm != 10.0:
        press(handset, "handset_step")
    for _ in range(4):
        QTest.keyClick(wheel_of(handset), Qt.Key.Key_PageDown)
    qtbot.waitUntil(lambda: "leave the machine's travel" in words(handset, "handset_message"))
    assert world.knocks == 0
    handset.close()


def test_a_click_on_its_keys_leaves_the_focus_where_the_job_has_it(
    made: tuple[Handset, GatedMachine],
) -> None:
    handset, _machine = made
    for button in handset.findChildren(QPushButton):
        assert not button.focusPolicy().value & Qt.FocusPolicy.ClickFocus.value


def test_the_axis_is_chosen_by_arrow_keys_too(
    qtbot: QtBot, made: tuple[Handset, GatedMachine]
) -> None:
    handset, _machine = made
    handset.activateWindow()
    qtbot.waitUntil(handset.isActiveWindow)
    key(handset, "handset_axis_x").setFocus()
    QTest.keyClick(key(handset, "handset_axis_x"), Qt.Key.Key_Right)
    assert handset.axis == "Y"


def test_every_control_has_a_name_for_people_and_a_tooltip(
    made: tuple[Handset, GatedMachine],
) -> None:
    handset, _machine = made
    for control in [*handset.findChildren(QPushButton), wheel_of(handset)]:
        assert control.objectName()
        assert control.accessibleName()
        assert control.toolTip()


@pytest.mark.parametrize("tools", [2, 5, 16])
def test_nothing_is_cut_off_at_the_smallest_height(qtbot: QtBot, tools: int) -> None:
    app = QApplication.instance()
    assert isinstance(app, QApplication)
    font = app.font()
    dress(app, LIGHT)
    try:
        check_nothing_is_cut_off(qtbot, tools)
    finally:
        app.setStyleSheet("")
        app.setFont(font)


def check_nothing_is_cut_off(qtbot: QtBot, tools: int) -> None:
    profile: Profile = make_profile(
        name="A machine with a name of forty characters",
        tools=tuple(Tool(number=n) for n in range(tools)),
        display_step_mm=0.001,
    )
    machine = GatedMachine()
    machine.at = {"x": -1150.123, "y": 50.0, "z": 20.0}
    handset = Handset(machine, profile, LIGHT)
    qtbot.addWidget(handset)
    handset.resize(176, 556)
    handset.show()
    qtbot.waitUntil(lambda: words(handset, "handset_x") == "-1150.123")
    assert handset.minimumSizeHint().height() <= 556
    assert handset.minimumSizeHint().width() <= 176
    for button in handset.findChildren(QPushButton):
        assert button.fontMetrics().horizontalAdvance(button.text()) <= button.width() - 4
        assert handset.rect().contains(button.geometry())
    for figure in ("handset_x", "handset_y", "handset_z"):
        label = handset.findChild(QLabel, figure)
        assert label is not None
        assert label.fontMetrics().horizontalAdvance(label.text()) <= label.width()
    handset.close()


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_its_words_can_be_read_on_its_body(colours: object) -> None:
    shell = shell_of(DARK if colours is DARK else LIGHT)
    for ground in (shell.display, shell.body, shell.key, shell.knob):
        assert contrast(shell.ink, ground) >= 4.5
    assert contrast(shell.muted, shell.body) >= 4.5
    assert contrast(shell.on_accent, shell.accent) >= 4.5


def test_two_hundred_panels_leave_no_thread(qtbot: QtBot) -> None:
    before = threading.active_count()
    for _ in range(200):
        handset = Handset(GatedMachine(), TENTHS, LIGHT)
        handset.close()
        handset.deleteLater()
    QApplication.processEvents()
    assert threading.active_count() == before
    assert all(thread.name != "handset" for thread in threading.enumerate())
