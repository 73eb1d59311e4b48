"""The task panel: what it shows, what it emits, and that nothing on it is cut off."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)
from pytestqt.qtbot import QtBot

from app.job.by_hand import Typed
from app.job.sheet import EnterOffsets, MendScale
from app.ui import keys
from app.ui.intentions import (
    AnswerMirror,
    CameraWasMoved,
    JogsMade,
    Proceed,
    Retype,
    SameAsReference,
    SayEntered,
    SetAutomatic,
    SetSpeech,
    SetTone,
    Stop,
    StrikeLast,
    StrikeOut,
    TakePictures,
    Tick,
    ToStart,
    TypedPlace,
    Undo,
)
from app.ui.look.colours import DARK, LIGHT
from app.ui.look.parts import KeyButton, WrapLabel
from app.ui.look.style import dress
from app.ui.state import DeskState
from app.ui.task.fields import AxisField, CoordinateField
from app.ui.task.mending import mends
from app.ui.task.panel import TaskPanel
from app.ui.task.rows import SmallKey, ThinBar, TickRow, WordStrip
from tests.ui.task.more_states import ALL_STATES

SIZES = ((300, 330), (330, 430))
MAY_SCROLL = {"preparation", "two carriages to prepare"}
"""The list of what to make ready is longer than the smallest panel; the cautions stay."""


@pytest.fixture(autouse=True, scope="module")
def _dressed(qapp: QApplication) -> Iterator[None]:
    before = qapp.styleSheet(), qapp.font(), qapp.palette(), qapp.style().objectName()
    dress(qapp, LIGHT)
    yield
    qapp.setStyleSheet(before[0])
    qapp.setFont(before[1])
    qapp.setPalette(before[2])
    qapp.setStyle(before[3])


class Held:
    """A panel in a window of a size, with what it emitted."""

    def __init__(self, qtbot: QtBot, size: tuple[int, int] = SIZES[0]) -> None:
        self.window = QWidget()
        qtbot.addWidget(self.window)
        self.window.resize(*size)
        column = QVBoxLayout(self.window)
        column.setContentsMargins(0, 0, 0, 0)
        self.panel = TaskPanel(LIGHT, self.window)
        column.addWidget(self.panel)
        self.emitted: list[object] = []
        self.panel.wanted.connect(self.emitted.append)
        self.qtbot = qtbot

    def show(self, state: DeskState | str) -> None:
        self.panel.show_state(ALL_STATES[state]() if isinstance(state, str) else state)
        with self.qtbot.waitActive(self.window):
            self.window.show()
            self.window.activateWindow()
        for _ in range(4):
            QApplication.processEvents()

    def find(self, name: str) -> QWidget:
        found = self.panel.findChild(QWidget, name)
        assert isinstance(found, QWidget), name
        return found

    def button(self, name: str) -> QAbstractButton:
        found = self.find(name)
        assert isinstance(found, QAbstractButton)
        return found

    def field(self, axis: str) -> CoordinateField:
        found = self.find(f"{axis}_field")
        assert isinstance(found, CoordinateField)
        return found

    def click(self, name: str) -> None:
        part = self.button(name)
        assert part.isVisible(), name
        assert part.isEnabled(), name
        QTest.mouseClick(part, Qt.MouseButton.LeftButton)


@pytest.fixture
def held(qtbot: QtBot) -> Held:
    return Held(qtbot)


def shown_parts(panel: QWidget) -> list[QWidget]:
    return [part for part in panel.findChildren(QWidget) if part.isVisible()]


# what is shown


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", ALL_STATES)
def test_nothing_is_cut_off(qtbot: QtBot, name: str, size: tuple[int, int]) -> None:
    held = Held(qtbot, size)
    held.show(name)
    assert held.window.size().toTuple() == size
    for part in shown_parts(held.panel):
        said = f"{part.objectName()} {part.accessibleName()}"
        match part:
            case WrapLabel() | TickRow():
                assert part.height() >= part.heightForWidth(part.width()), said
            case KeyButton():
                assert part.shown_words() == part.words, said
            case SmallKey():
                assert part.width() >= part.sizeHint().width(), said
            case AxisField():
                room = part.field.contentsRect().width() - 18
                assert part.field.fontMetrics().horizontalAdvance("-150.34") <= room + 16, said
            case QScrollArea() if name not in MAY_SCROLL:
                assert part.verticalScrollBar().maximum() == 0, said
        in_window = part.mapTo(held.window, QPoint(0, 0)).x() + part.width()
        assert in_window <= size[0], said
    assert_nothing_overlaps(held)


def assert_nothing_overlaps(held: Held) -> None:
    direct = [
        part
        for part in held.panel.findChildren(
            QWidget, options=Qt.FindChildOption.FindDirectChildrenOnly
        )
        if part.isVisible() and part.objectName() != "saving"
    ]
    for one in direct:
        for other in direct:
            assert one is other or not one.geometry().intersects(other.geometry()), (
                one.objectName(),
                other.objectName(),
            )


def test_every_control_says_what_it_is(held: Held) -> None:
    for name in ALL_STATES:
        held.show(name)
        shown = shown_parts(held.panel)
        controls = [part for part in shown if isinstance(part, QAbstractButton | QLineEdit)]
        assert controls, name
        for part in controls:
            assert part.objectName(), name
            assert part.accessibleName(), (name, part.objectName())
            assert part.toolTip(), (name, part.objectName())
        names = [part.objectName() for part in controls]
        assert len(names) == len(set(names)), name


def test_showing_a_state_again_changes_nothing(held: Held) -> None:
    for name in ALL_STATES:
        state = ALL_STATES[name]()
        held.show(state)
        focused = held.panel.focusWidget()
        before = {id(part): part.geometry() for part in shown_parts(held.panel)}
        held.panel.show_state(state)
        QApplication.processEvents()
        after = {id(part): part.geometry() for part in shown_parts(held.panel)}
        assert after == before, name
        assert held.panel.focusWidget() is focused, name
    assert held.emitted == []


def test_one_panel_goes_through_all_states_and_both_looks(held: Held) -> None:
    for name in ALL_STATES:
        held.show(name)
        held.panel.use_colours(DARK)
        shown = held.panel.grab().toImage()
        held.panel.use_colours(LIGHT)
        assert held.panel.grab().toImage() != shown, name


def test_the_cautions_stay_in_view_while_one_makes_ready(held: Held) -> None:
    held.show("two carriages to prepare")
    cautions = held.find("cautions")
    assert isinstance(cautions, WordStrip)
    assert cautions.isVisible()
    for words in ("hot", "pinch", "Lift Z", "camera in the way", "switch", "manual", "workshop"):
        assert words in cautions.words
    assert not any(area.isAncestorOf(cautions) for area in held.panel.findChildren(QScrollArea))


def test_the_next_item_is_brought_into_view(held: Held) -> None:
    state = ALL_STATES["two carriages to prepare"]()
    most = frozenset({"nozzles-cold", "filament-back", "tips-brushed", "motors-on", "camera-fixed"})
    held.show(state)
    held.panel.show_state(replace(state, ticked=most))
    area = held.find("preparation")
    assert isinstance(area, QScrollArea)
    row = held.button("tick_automatics_off")
    top = row.mapTo(area.viewport(), QPoint(0, 0)).y()
    assert top >= 0
    assert top + row.height() <= area.viewport().height()


def test_what_the_firmware_wants_first_is_said(held: Held) -> None:
    held.show("two carriages to prepare")
    before = held.find("before_measuring")
    assert isinstance(before, WrapLabel)
    assert "M218" in before.text()


def test_why_the_button_is_blocked_stands_in_words_above_it(held: Held) -> None:
    held.show("disk full")
    strip = held.find("strip")
    assert isinstance(strip, WordStrip)
    assert strip.words == "The last sighting is not on disk yet."
    assert not held.button("proceed").isEnabled()
    assert strip.geometry().bottom() < held.button("proceed").mapTo(held.panel, QPoint(0, 0)).y()


def test_a_refusal_is_said_with_its_remedy(held: Held) -> None:
    held.show("refused")
    strip = held.find("strip")
    assert isinstance(strip, WordStrip)
    assert strip.words.startswith("The bore moved")
    assert "press Space again" in strip.words


def test_saving_is_a_tiny_word(held: Held) -> None:
    held.show("tool")
    assert not held.find("saving").isVisible()
    held.show("saving")
    assert held.find("saving").isVisible()
    assert not held.find("strip").isVisible()


# what is emitted


def test_the_big_button_goes_on(held: Held) -> None:
    held.show("tool")
    assert held.button("proceed").text() == "Sight tool 2"
    held.click("proceed")
    assert held.emitted == [Proceed()]


@pytest.mark.parametrize(
    ("state", "name", "wanted"),
    [
        ("tool", "undo", Undo()),
        ("tool", "strike_last", StrikeLast()),
        ("tool", "automatic", SetAutomatic(True)),
        ("tool", "speech", SetSpeech(True)),
        ("tool", "tone", SetTone(True)),
        ("tool", "same_as_reference", SameAsReference()),
        ("scale half done", "jogs_made", JogsMade()),
        ("typed wrong", "take_pictures", TakePictures()),
        ("sighting", "stop", Stop()),
        ("mirrored", "mirror_yes", AnswerMirror(True)),
        ("mirrored", "mirror_no", AnswerMirror(False)),
        ("entering", "entered_2", SayEntered(2)),
        ("done", "to_start", ToStart()),
        ("home first", "proceed", Proceed()),
        ("result", "proceed", Proceed()),
        ("preparation", "tick_motors_on", Tick("motors-on", True)),
        ("two carriages to prepare", "tick_nozzles_cold", Tick("nozzles-cold", False)),
        ("no entry to blame", "all_anew", CameraWasMoved("moved")),
    ],
)
def test_a_click_says_what_is_wanted(held: Held, state: str, name: str, wanted: object) -> None:
    held.show(state)
    held.click(name)
    assert held.emitted == [wanted]


def test_switches_follow_the_state_and_switch_back(held: Held) -> None:
    state = replace(ALL_STATES["tool"](), automatic=True, speech=True, tone=True)
    held.show(state)
    for name in ("automatic", "speech", "tone"):
        assert held.button(name).isChecked()
        held.click(name)
    assert held.emitted == [SetAutomatic(False), SetSpeech(False), SetTone(False)]


def test_the_last_jogs_can_be_said_to_be_no_plus(held: Held) -> None:
    state = ALL_STATES["tool"]()
    held.show(state)
    held.click("last_jogs_plus")
    assert held.emitted == [TypedPlace(replace(state.typed, last_jogs_plus=False))]


def test_a_sighting_under_way_shows_how_far_it_is(held: Held) -> None:
    held.show("sighting")
    bar = held.find("progress_bar")
    assert isinstance(bar, ThinBar)
    assert bar.share == pytest.approx(5 / 12)
    assert bar.accessibleName() == "Sighting: 5 of 12"
    assert not held.button("proceed").isVisible()


def test_a_tool_that_was_entered_cannot_be_clicked_again(held: Held) -> None:
    state = ALL_STATES["entering"]()
    held.show(replace(state, step=EnterOffsets(tools=(2, 3, 4))))
    assert held.button("entered_1").isChecked()
    assert not held.button("entered_1").isEnabled()


# the camera question


def test_the_camera_question_is_asked_in_the_step_s_place(held: Held) -> None:
    held.show("tool")
    held.click("camera_question")
    assert held.emitted == []
    assert not held.find("x_field").isVisible()
    assert not held.button("proceed").isVisible()
    held.click("camera_refocused")
    assert held.emitted == [CameraWasMoved("refocused")]
    assert held.find("x_field").isVisible()


def test_the_camera_question_can_be_left(held: Held) -> None:
    held.show("tool")
    assert not held.panel.close_question()
    held.panel.ask_camera_moved()
    assert held.button("camera_zoomed").isVisible()
    held.click("camera_nothing")
    assert held.emitted == []
    held.panel.ask_camera_moved()
    assert held.panel.close_question()
    assert held.button("proceed").isVisible()


def test_another_step_closes_the_camera_question(held: Held) -> None:
    held.show("tool")
    held.panel.ask_camera_moved()
    held.show("home first")
    assert held.button("proceed").isVisible()


# the fields


def test_typing_with_a_comma_is_passed_on_as_typed(held: Held) -> None:
    held.show("first place with z")
    held.field("x").setFocus()
    QTest.keyClicks(held.field("x"), "150,34")
    assert held.emitted[-1] == TypedPlace(Typed(x="150,34"))
    QTest.keyClicks(held.field("z"), "5")
    assert held.emitted[-1] == TypedPlace(Typed(x="150,34", z="5"))


def test_letters_do_not_arrive_as_text_and_reach_the_window(held: Held) -> None:
    pressed: list[str] = []
    for key in (keys.PROCEED, keys.SAME, keys.TAKE, keys.JOGGED, keys.PLUS):
        shortcut = QShortcut(QKeySequence(key.sequence), held.window)
        shortcut.activated.connect(lambda k=key: pressed.append(k.sequence))
    held.show("tool")
    field = held.field("x")
    field.setFocus()
    before = field.text()
    for pressed_key in (
        Qt.Key.Key_Space,
        Qt.Key.Key_Equal,
        Qt.Key.Key_P,
        Qt.Key.Key_J,
        Qt.Key.Key_L,
        Qt.Key.Key_E,
    ):
        QTest.keyClick(field, pressed_key)
    assert pressed == ["Space", "=", "P", "J", "L"]
    assert field.text() == before
    assert held.emitted == []


def test_what_is_pasted_loses_all_but_its_number(held: Held) -> None:
    held.show("tool")
    field = held.field("x")
    QApplication.clipboard().setText("X: −150.34 mm")
    field.selectAll()
    field.paste()
    assert field.text() == "-150.34"


def test_the_run_s_undo_is_not_taken_by_a_field_that_was_not_edited(held: Held) -> None:
    undone: list[str] = []
    shortcut = QShortcut(QKeySequence(keys.UNDO.sequence), held.window)
    shortcut.activated.connect(lambda: undone.append("run"))
    held.show("tool")
    field = held.field("x")
    field.setFocus()
    QTest.keyClick(field, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert undone == ["run"]
    before = field.text()
    QTest.keyClicks(field, "1")
    QTest.keyClick(field, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert undone == ["run"]
    assert field.text() == before


def test_a_field_that_gets_the_keyboard_is_replaced_by_typing(held: Held) -> None:
    held.show("tool")
    held.field("y").setFocus(Qt.FocusReason.TabFocusReason)
    held.field("x").setFocus(Qt.FocusReason.TabFocusReason)
    QTest.keyClicks(held.field("x"), "7")
    assert held.field("x").text() == "7"


def test_fields_follow_the_state_and_leave_the_cursor_alone(held: Held) -> None:
    state = ALL_STATES["tool"]()
    held.show(state)
    field = held.field("x")
    field.setFocus()
    field.setCursorPosition(2)
    held.panel.show_state(state)
    assert field.cursorPosition() == 2
    held.panel.show_state(replace(state, typed=Typed(x="149.99", y="100.00")))
    assert field.text() == "149.99"
    assert held.emitted == []


def test_enter_goes_on_to_the_next_field_and_then_sights(held: Held) -> None:
    held.show("tool")
    held.field("x").setFocus()
    QTest.keyClick(held.field("x"), Qt.Key.Key_Return)
    assert held.panel.focusWidget() is held.field("y")
    assert held.emitted == []
    QTest.keyClick(held.field("y"), Qt.Key.Key_Return)
    assert held.emitted == [Proceed()]


def test_enter_does_not_sight_what_is_blocked(held: Held) -> None:
    held.show("not a number")
    QTest.keyClick(held.field("y"), Qt.Key.Key_Return)
    assert held.emitted == []


def test_tab_goes_from_field_to_field_to_the_button(held: Held) -> None:
    held.show("first place with z")
    held.panel.show_state(replace(ALL_STATES["first place with z"](), blocked=""))
    held.field("x").setFocus()
    names = []
    for _ in range(3):
        focused = held.panel.focusWidget()
        assert focused is not None
        QTest.keyClick(focused, Qt.Key.Key_Tab)
        after = held.panel.focusWidget()
        assert after is not None
        names.append(after.objectName())
    assert names == ["y_field", "z_field", "proceed"]


def test_an_empty_first_place_has_the_keyboard(held: Held) -> None:
    held.show("first place with z")
    assert held.panel.focusWidget() is held.field("x")


def test_a_click_on_a_button_leaves_the_keyboard_in_the_field(held: Held) -> None:
    held.show("tool")
    held.field("y").setFocus()
    held.click("same_as_reference")
    assert held.panel.focusWidget() is held.field("y")


def test_a_doubtful_field_is_outlined_and_says_the_picture_s_value(held: Held) -> None:
    held.show("typed wrong")
    assert held.field("x").property("look") == "doubtful"
    assert held.field("y").property("look") == "field"
    mark = held.find("x_mark")
    assert getattr(mark, "text", str)() == "picture 150.34"
    doubt = held.find("doubt")
    assert isinstance(doubt, WrapLabel)
    assert doubt.text() == "X reads 150.43; the picture says 150.34."
    assert held.button("take_pictures").text() == "Take 150.34"


def test_jogs_are_asked_for_as_jogs(held: Held) -> None:
    held.show("jogs only")
    assert held.field("x").accessibleName() == "jog X"


def test_the_reference_s_place_is_offered_only_where_it_helps(held: Held) -> None:
    held.show("scale half done")
    assert not held.button("same_as_reference").isVisible()
    held.show("tool")
    assert held.button("same_as_reference").isVisible()


# mending


def test_the_picture_s_value_mends_an_entry(held: Held) -> None:
    state = ALL_STATES["mend the scale"]()
    assert isinstance(state.step, MendScale)
    (mend,) = mends(state.step, state.snapshot.run)
    held.show(state)
    held.click("mend_take")
    held.click("mend_strike")
    assert held.emitted == [mend.retype, StrikeOut(mend.number)]


def test_another_value_can_be_typed_in_place(held: Held) -> None:
    state = ALL_STATES["mend the scale"]()
    assert isinstance(state.step, MendScale)
    (mend,) = mends(state.step, state.snapshot.run)
    held.show(state)
    held.click("mend_type")
    field = held.field("mend_x")
    assert held.panel.focusWidget() is field
    QTest.keyClicks(field, "149,41")
    QTest.keyClick(field, Qt.Key.Key_Return)
    QTest.keyClick(held.field("mend_y"), Qt.Key.Key_Return)
    assert held.emitted == [
        Retype(number=mend.number, position=mend.reads._replace(x=149.41)),
    ]
    field.clear()
    QTest.keyClicks(field, "1.2.3")
    assert not held.button("mend_use").isEnabled()


def test_each_entry_that_could_be_wrong_can_be_chosen(held: Held) -> None:
    state = ALL_STATES["several to blame"]()
    assert isinstance(state.step, MendScale)
    held.show(state)
    held.click("mend_next")
    held.click("mend_strike")
    assert held.emitted == [StrikeOut(state.step.numbers[1])]


def test_the_last_jog_can_be_struck_out_where_none_is_to_blame(held: Held) -> None:
    state = ALL_STATES["no entry to blame"]()
    held.show(state)
    held.click("strike_last_jog")
    assert held.emitted == [StrikeOut(state.snapshot.run.scale_sightings()[-1].number)]
