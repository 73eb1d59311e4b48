"""The opened card: what it shows, what it emits, its plots and tables."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QGuiApplication, QKeySequence, QShortcut
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

from app.job.facts import Position, Purpose, Struck
from app.job.snapshot import snapshot_of
from app.ui.cards.details import CardDetails
from app.ui.cards.plot import Plot
from app.ui.cards.table_view import EntryTable
from app.ui.intentions import OpenCard, Restore, Retype, StrikeOut
from app.ui.look.colours import DARK, LIGHT
from app.ui.look.parts import KeyButton, WrapLabel
from app.ui.state import DeskState
from tests.job.conftest import run_of
from tests.ui.cards.shown import shown
from tests.ui.states import STATES, state_of

pytestmark = pytest.mark.usefixtures("dressed")

SIZES = ((420, 480), (560, 520))
WIDE = ("mend the scale", "warning", "card of a tool")


class Shown:
    """An opened card with what it asked for."""

    def __init__(self, qtbot: QtBot, size: tuple[int, int] = SIZES[1]) -> None:
        self.details = CardDetails(LIGHT)
        qtbot.addWidget(self.details)
        self.details.resize(*size)
        self.wanted: list[object] = []
        self.details.wanted.connect(self.wanted.append)
        self._qtbot = qtbot

    def show(self, state: DeskState, key: str) -> CardDetails:
        self.details.show_state(replace(state, open_card=key))
        with self._qtbot.waitExposed(self.details):
            self.details.show()
        self.details.activateWindow()
        QApplication.processEvents()
        return self.details

    @property
    def table(self) -> EntryTable:
        return self.details.table

    def button(self, name: str) -> KeyButton:
        found = self.details.findChild(KeyButton, name)
        assert isinstance(found, KeyButton)
        return found

    def press(self, name: str) -> None:
        found = self.details.findChild(QAbstractButton, name)
        assert isinstance(found, QAbstractButton)
        QTest.mouseClick(found, Qt.MouseButton.LeftButton)

    def field(self, name: str) -> QLineEdit:
        found = self.details.findChild(QLineEdit, name)
        assert isinstance(found, QLineEdit)
        return found

    def said(self, name: str) -> str:
        label = self.details.findChild(WrapLabel, name)
        assert isinstance(label, WrapLabel)
        return label.text()

    def choose(self, row: int) -> None:
        item = self.table.item(row, 0)
        assert item is not None
        area = self.details.findChild(QScrollArea)
        assert isinstance(area, QScrollArea)
        area.ensureWidgetVisible(self.table)
        spot = self.table.visualItemRect(item).center()
        QTest.mouseClick(self.table.viewport(), Qt.MouseButton.LeftButton, pos=spot)


@pytest.fixture
def there(qtbot: QtBot) -> Shown:
    return Shown(qtbot)


def number_of(state: DeskState, at: int) -> int:
    jogs = [s for s in state.snapshot.run.sightings if s.seen.purpose is Purpose.SCALE]
    return jogs[at].number


def with_struck_jog(at: int) -> DeskState:
    state = shown("card of the scale")
    facts = [entry.fact for entry in state.snapshot.run.entries]
    struck = Struck(number=number_of(state, at), why="a drop came off")
    return state_of(snapshot_of(run_of(*facts, struck)), open_card="scale")


@pytest.mark.parametrize(
    ("name", "size"),
    [*((name, SIZES[0]) for name in STATES), *((name, SIZES[1]) for name in WIDE)],
)
def test_every_state_fits_the_width_and_names_its_controls(
    qtbot: QtBot, name: str, size: tuple[int, int]
) -> None:
    there = Shown(qtbot, size)
    for key in ("scale", "0", "1"):
        details = there.show(shown(name), key)
        qtbot.waitUntil(lambda: _fits(details), timeout=1000)  # noqa: B023 - waits at once
        column = _column(details)
        assert column.width() >= column.minimumSizeHint().width()
        for button in details.findChildren(QAbstractButton):
            if button.isVisible() and button.objectName():
                assert button.accessibleName(), button.objectName()
                assert button.toolTip(), button.objectName()
                assert button.width() >= button.sizeHint().width(), button.objectName()
        assert not _overlapping(column)


def test_nothing_is_shown_while_no_card_is_open(there: Shown) -> None:
    there.details.show_state(shown("tool"))
    assert there.details.page is None


def test_the_title_and_the_state_are_those_of_the_card(there: Shown) -> None:
    details = there.show(shown("warning"), "0")
    assert details.page is not None
    assert details.page.title == "Tool 0, the reference"
    assert details.accessibleName() == "Tool 0, the reference, opened card"
    assert "something moved" in there.said("details_lines") or "came back" in there.said(
        "details_lines"
    )


def test_close_and_esc_close_it(there: Shown) -> None:
    details = there.show(shown("tool"), "scale")
    there.press("close_card")
    QTest.keyClick(details, Qt.Key.Key_Escape)
    assert there.wanted == [OpenCard(None), OpenCard(None)]


def test_the_chosen_jog_can_be_struck_out(there: Shown) -> None:
    state = shown("card of the scale")
    there.show(state, "scale")
    assert not there.button("strike_entry").isEnabled()
    there.choose(2)
    assert there.button("strike_entry").words == "Strike out"
    there.press("strike_entry")
    assert there.wanted == [StrikeOut(number_of(state, 2))]


def test_a_struck_jog_can_be_restored_but_not_retyped(there: Shown) -> None:
    state = with_struck_jog(4)
    there.show(state, "scale")
    there.choose(4)
    assert there.button("strike_entry").words == "Restore"
    assert not there.button("retype_entry").isEnabled()
    there.press("strike_entry")
    assert there.wanted == [Restore(number_of(state, 4))]


def test_the_chosen_entry_stays_chosen_when_the_table_changes(there: Shown) -> None:
    details = there.show(shown("card of the scale"), "scale")
    there.choose(4)
    details.show_state(with_struck_jog(4))
    row = there.table.chosen_row()
    assert row is not None
    assert row.struck
    assert there.button("strike_entry").words == "Restore"


def test_del_in_the_table_strikes_the_chosen_entry_and_not_the_last(qtbot: QtBot) -> None:
    window = QWidget()
    qtbot.addWidget(window)
    details = CardDetails(LIGHT, window)
    QVBoxLayout(window).addWidget(details)
    window.resize(560, 520)
    state = shown("card of the scale")
    details.show_state(state)
    with qtbot.waitExposed(window):
        window.show()
    window.activateWindow()
    taken: list[str] = []
    for sequence in ("Del", "Ctrl+C", "Space"):
        shortcut = QShortcut(QKeySequence(sequence), window)
        shortcut.activated.connect(lambda sequence=sequence: taken.append(sequence))
    wanted: list[object] = []
    details.wanted.connect(wanted.append)
    details.table.setFocus()
    qtbot.waitUntil(details.table.hasFocus)
    details.table.selectRow(1)
    QTest.keyClick(details.table, Qt.Key.Key_Delete)
    QTest.keyClick(details.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert wanted == [StrikeOut(number_of(state, 1))]
    assert taken == []
    QTest.keyClick(details.table, Qt.Key.Key_Space)
    assert taken == ["Space"]


def test_keys_stand_on_the_buttons_only_where_they_act(there: Shown) -> None:
    there.show(shown("card of the scale"), "scale")
    there.details.setFocus()
    assert "(Del)" not in there.button("strike_entry").toolTip()
    there.table.setFocus()
    assert there.table.chosen_row() is not None
    assert "(Del)" in there.button("strike_entry").toolTip()
    assert "(Enter)" in there.button("retype_entry").toolTip()


def test_a_position_is_retyped_in_its_place(there: Shown) -> None:
    state = shown("card of the scale")
    there.show(state, "scale")
    there.choose(3)
    place = next(
        s.seen.position for s in state.snapshot.run.sightings if s.number == number_of(state, 3)
    )
    QTest.keyClick(there.table, Qt.Key.Key_Return)
    assert there.field("retype_x").text() == f"{place.x:.2f}"
    assert there.field("retype_x").hasFocus()
    there.field("retype_x").setText("149,37")
    QTest.keyClick(there.field("retype_x"), Qt.Key.Key_Return)
    expected = Position(149.37, place.y, place.z)
    assert there.wanted == [Retype(number=number_of(state, 3), position=expected)]
    assert there.field("retype_x").isHidden() or not there.field("retype_x").isVisible()


def test_the_pictures_suggestion_is_filled_in_for_a_doubtful_jog(there: Shown) -> None:
    there.show(shown("mend the scale"), "scale")
    there.choose(3)
    there.press("retype_entry")
    row = there.table.chosen_row()
    assert row is not None
    assert row.suggested is not None
    assert there.field("retype_x").text() == f"{row.suggested.x:.2f}"
    assert "suggestion" in there.said("retype_problem")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "X is no number"),
        ("-", "X is no number"),
        ("450", "outside"),
        ("15034", "cannot be"),
    ],
)
def test_what_cannot_be_a_position_is_refused_in_a_sentence(
    there: Shown, text: str, said: str
) -> None:
    there.show(shown("card of the scale"), "scale")
    there.choose(0)
    there.press("retype_entry")
    there.field("retype_x").setText(text)
    there.press("retype_take")
    assert there.wanted == []
    assert said in there.said("retype_problem")
    assert there.field("retype_x").isVisible()


def test_esc_leaves_the_retyping_before_it_closes_the_card(there: Shown) -> None:
    details = there.show(shown("card of the scale"), "scale")
    there.choose(0)
    there.press("retype_entry")
    QTest.keyClick(there.field("retype_y"), Qt.Key.Key_Escape)
    assert there.wanted == []
    assert not there.field("retype_y").isVisible()
    QTest.keyClick(details, Qt.Key.Key_Escape)
    assert there.wanted == [OpenCard(None)]


def test_a_table_is_copied_by_key_and_all_of_them_by_the_button(there: Shown) -> None:
    details = there.show(shown("card of a tool"), "1")
    assert details.page is not None
    there.table.setFocus()
    QTest.keyClick(there.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert QGuiApplication.clipboard().text() == details.page.table.text()
    assert there.button("copy_tables").words == "Copied"
    there.press("copy_tables")
    assert QGuiApplication.clipboard().text() == details.page.text()


def test_the_table_shows_every_text_and_a_shape_for_each_state(there: Shown) -> None:
    there.show(with_struck_jog(4), "scale")
    table = there.table.table
    assert table is not None
    for at, row in enumerate(table.rows):
        cells = [there.table.item(at, column) for column in range(len(row.cells))]
        assert [cell.text() for cell in cells if cell is not None] == list(row.cells)
        last = cells[-1]
        assert last is not None
        assert not last.icon().isNull()
        assert row.tip in last.toolTip()


def test_marks_are_painted_where_the_numbers_are(there: Shown) -> None:
    details = there.show(shown("mend the scale"), "scale")
    plot = details.plot
    assert plot.chart is not None
    image = plot.grab().toImage()
    axes = plot.axes()
    colours = {"dot": LIGHT.accent, "diamond": LIGHT.warn}
    for mark in plot.chart.marks:
        u, v = axes.at(mark.x, mark.y)
        # An arrow may cover one side.
        sides = [image.pixelColor(round(u) + du, round(v)) for du in (-3, 3)]
        assert QColor(colours[mark.shape.value]) in sides


def test_bars_of_u_are_painted_over_time(there: Shown) -> None:
    plot = there.show(shown("card of a tool"), "1").past_plot
    assert plot.chart is not None
    image, axes = plot.grab().toImage(), plot.axes()
    mark = plot.chart.marks[0]
    u, v = axes.at(mark.x, mark.y + 0.7 * mark.half)
    near = [image.pixelColor(round(u) + du, round(v)) for du in (-1, 0)]
    assert any(_close(colour, LIGHT.accent) for colour in near)


def test_labels_in_a_plot_do_not_overlap(there: Shown) -> None:
    plot = there.show(shown("card of the scale"), "scale").plot
    boxes = [box for box in plot.label_boxes() if box is not None]
    assert len(boxes) == 6
    assert not any(a.meets(b) for a, b in itertools.combinations(boxes, 2))


def test_plots_say_what_they_show_and_what_comes_out(there: Shown) -> None:
    details = there.show(shown("card of a tool"), "1")
    for plot in details.findChildren(Plot):
        assert plot.chart is not None
        assert plot.accessibleName() == plot.chart.name
        assert plot.accessibleDescription() == plot.chart.sentence


def test_a_plot_without_a_chart_says_so_to_its_caller(qtbot: QtBot) -> None:
    plot = Plot(LIGHT)
    qtbot.addWidget(plot)
    with pytest.raises(ValueError, match="no chart"):
        plot.axes()


def test_bars_of_the_budget_are_as_long_as_their_numbers(there: Shown) -> None:
    bars = there.show(shown("card of a tool"), "1").bars
    assert bars.budget is not None
    image = bars.grab().toImage()
    first, second = bars.bar_boxes(0)[0], bars.bar_boxes(1)[0]
    ratio = bars.budget.bars[1].u_x_um / bars.budget.bars[0].u_x_um
    assert second.width() / first.width() == pytest.approx(ratio)
    middle = first.center()
    assert image.pixelColor(int(middle.x()), int(middle.y())) == QColor(LIGHT.accent)
    assert bars.budget.bars[0].name in bars.accessibleDescription()


def test_another_card_begins_at_its_top_and_leaves_the_retyping(there: Shown) -> None:
    details = there.show(shown("card of the scale"), "scale")
    there.choose(0)
    there.press("retype_entry")
    area = details.findChild(QScrollArea)
    assert isinstance(area, QScrollArea)
    area.verticalScrollBar().setValue(area.verticalScrollBar().maximum())
    details.show_state(replace(shown("card of the scale"), open_card="0"))
    assert area.verticalScrollBar().value() == 0
    assert not there.field("retype_x").isVisible()


def test_the_same_state_again_works_nothing_out(there: Shown) -> None:
    state = shown("card of a tool")
    details = there.show(state, "1")
    page = details.page
    details.show_state(replace(state, saving=True))
    assert details.page is page


def test_the_look_can_be_changed(there: Shown) -> None:
    details = there.show(shown("card of the scale"), "scale")
    details.use_colours(DARK)
    axes = details.plot.axes()
    image = details.plot.grab().toImage()
    spot = round(axes.left + axes.width - 8), round(axes.top + axes.height - 8)
    assert image.pixelColor(*spot) == QColor(DARK.raised)


def _area(details: CardDetails) -> QScrollArea:
    area = details.findChild(QScrollArea)
    assert isinstance(area, QScrollArea)
    return area


def _column(details: CardDetails) -> QWidget:
    column = _area(details).widget()
    assert column is not None
    return column


def _fits(details: CardDetails) -> bool:
    return _column(details).width() <= _area(details).viewport().width()


def _overlapping(column: QWidget) -> list[tuple[str, str]]:
    children = [
        c for c in column.children() if isinstance(c, QWidget) and c.isVisible() and c.height()
    ]
    return [
        (a.objectName(), b.objectName())
        for a, b in itertools.combinations(children, 2)
        if a.geometry().intersects(b.geometry())
    ]


def _close(one: QColor, other: str) -> bool:
    wanted = QColor(other)
    apart = (
        one.red() - wanted.red(),
        one.green() - wanted.green(),
        one.blue() - wanted.blue(),
    )
    return all(abs(channel) < 70 for channel in apart)
