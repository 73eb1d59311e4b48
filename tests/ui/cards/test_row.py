"""The row of cards: what it shows, what a click and a key emit, and that it fits."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFontMetricsF, QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QScrollArea
from pytestqt.qtbot import QtBot

from app.job.sheet import SightTool
from app.job.snapshot import snapshot_of
from app.ui.cards.card import NARROWEST_PX, WIDEST_PX, CardButton
from app.ui.cards.row import ROW_PX, CardRow
from app.ui.intentions import OpenCard
from app.ui.look.colours import DARK, LIGHT
from app.ui.look.style import SMALL_PX, figure_font, text_font
from app.ui.state import DeskState
from tests.job.conftest import run_of
from tests.ui.cards.shown import shown
from tests.ui.states import SIXTEEN, STATES, facts_until, state_of

pytestmark = pytest.mark.usefixtures("dressed")

WIDTHS = (1024, 1280, 3840)


class Shown:
    """A row with what it asked for."""

    def __init__(self, qtbot: QtBot, width: int = 1024) -> None:
        self.row = CardRow(LIGHT)
        qtbot.addWidget(self.row)
        self.row.resize(width, ROW_PX)
        self.wanted: list[object] = []
        self.row.wanted.connect(self.wanted.append)
        self._qtbot = qtbot

    def show(self, state: DeskState) -> CardRow:
        self.row.show_state(state)
        with self._qtbot.waitExposed(self.row):
            self.row.show()
        QApplication.processEvents()
        return self.row

    def buttons(self) -> list[CardButton]:
        return [self.row.button(key) for key in tuple(self.row.keys())]


@pytest.fixture
def there(qtbot: QtBot) -> Shown:
    return Shown(qtbot)


@cache
def sixteen_at(tool: int) -> DeskState:
    facts = facts_until(lambda s: isinstance(s, SightTool) and s.tool == tool, SIXTEEN)
    return state_of(snapshot_of(run_of(*facts)))


@pytest.mark.parametrize("name", STATES)
def test_every_state_is_shown_with_a_name_a_tooltip_and_a_key(there: Shown, name: str) -> None:
    there.show(shown(name))
    assert there.row.keys()[0] == "scale"
    for at, button in enumerate(there.buttons(), start=1):
        assert button.card is not None
        assert button.accessibleName().startswith(button.card.name)
        assert button.objectName() == f"card_{button.card.key}"
        assert (f"(Alt+{at})" in button.toolTip()) == (at <= 9)
        assert button.focusPolicy() & Qt.FocusPolicy.TabFocus


def test_a_click_asks_for_what_the_card_holds(there: Shown) -> None:
    row = there.show(shown("tool"))
    QTest.mouseClick(row.button("scale"), Qt.MouseButton.LeftButton)
    QTest.mouseClick(row.button("3"), Qt.MouseButton.LeftButton)
    assert there.wanted == [OpenCard("scale"), OpenCard("3")]
    assert not row.button("3").isChecked()


@pytest.mark.parametrize("key", [Qt.Key.Key_Return, Qt.Key.Key_Enter])
def test_enter_asks_too_and_space_is_left_to_the_window(there: Shown, key: Qt.Key) -> None:
    row = there.show(shown("tool"))
    row.button("2").setFocus()
    QTest.keyClick(row.button("2"), Qt.Key.Key_Space)
    assert there.wanted == []
    QTest.keyClick(row.button("2"), key)
    assert there.wanted == [OpenCard("2")]


def test_the_arrows_go_along_the_row(there: Shown) -> None:
    row = there.show(shown("tool"))
    row.activateWindow()
    row.button("0").setFocus()
    QTest.keyClick(row.button("0"), Qt.Key.Key_Right)
    assert row.focusWidget() is row.button("1")
    QTest.keyClick(row.button("1"), Qt.Key.Key_Left)
    assert row.focusWidget() is row.button("0")


def test_the_open_card_is_marked_by_more_than_colour(there: Shown) -> None:
    row = there.show(shown("card of a tool"))
    assert [b.isChecked() for b in there.buttons()] == [False, False, True, False, False, False]
    assert row.button("1").accessibleName().endswith(", open")
    image = row.button("1").grab().toImage()
    assert image.pixelColor(image.width() // 2, 2) == QColor(LIGHT.text)


def test_cards_are_made_once_and_keep_the_keyboard(there: Shown) -> None:
    row = there.show(shown("tool"))
    before = there.buttons()
    row.button("2").setFocus()
    row.show_state(replace(shown("struck out"), open_card="1"))
    assert there.buttons() == before
    assert row.focusWidget() is row.button("2")
    row.show_state(shown("two carriages"))
    assert row.keys() == ("scale", "0", "1")


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", ["result", "two carriages", "sixteen tools", "warning"])
def test_cards_share_the_width_within_their_limits(qtbot: QtBot, name: str, width: int) -> None:
    there = Shown(qtbot, width)
    there.show(shown(name))
    widths = {button.width() for button in there.buttons()}
    assert len(widths) == 1
    assert NARROWEST_PX <= widths.pop() <= WIDEST_PX
    bottom = max(b.mapTo(there.row, b.rect().bottomLeft()).y() for b in there.buttons())
    assert bottom < ROW_PX


def test_five_tools_need_no_scrolling_at_the_least_window(there: Shown) -> None:
    row = there.show(shown("result"))
    area = row.findChild(QScrollArea)
    assert isinstance(area, QScrollArea)
    assert area.horizontalScrollBar().maximum() == 0


@pytest.mark.parametrize("tool", [1, 9, 15])
def test_the_next_of_sixteen_tools_is_in_view(there: Shown, tool: int) -> None:
    row = there.show(sixteen_at(tool))
    area = row.findChild(QScrollArea)
    assert isinstance(area, QScrollArea)
    assert area.horizontalScrollBar().maximum() > 0
    button = row.button(str(tool))
    left = button.mapTo(area.viewport(), button.rect().topLeft()).x()
    assert left >= 0
    assert left + button.width() <= area.viewport().width()


def test_a_card_that_is_opened_by_its_key_comes_into_view(there: Shown) -> None:
    row = there.show(sixteen_at(15))
    button = row.button("1")
    assert button.visibleRegion().boundingRect() != button.rect()
    row.show_state(replace(sixteen_at(15), open_card="1"))
    assert button.visibleRegion().boundingRect() == button.rect()


def test_numbers_are_whole_in_the_narrowest_card(there: Shown) -> None:
    there.show(sixteen_at(9))
    inner = NARROWEST_PX - 16
    for button in there.buttons():
        assert button.card is not None
        for figure in button.card.figures:
            font = figure_font(13) if figure[0] in "XY" else text_font(SMALL_PX)
            assert QFontMetricsF(font).horizontalAdvance(figure) <= inner


def test_the_thumbnail_is_painted_in_its_frame(qtbot: QtBot) -> None:
    there = Shown(qtbot, 1024)
    state = shown("two carriages")
    white = {n: np.full((96, 96), 255, dtype=np.uint8) for n in state.thumbnails}
    there.show(replace(state, thumbnails=white))
    button = there.row.button("1")
    assert button.width() == WIDEST_PX
    middle = (8 + 36, button.height() // 2)
    assert button.grab().toImage().pixelColor(*middle) == QColor("white")
    there.row.show_state(replace(state, thumbnails={}))
    assert button.grab().toImage().pixelColor(*middle) == QColor(LIGHT.surface)
    grey = {n: np.full((96, 96), 90, dtype=np.uint8) for n in state.thumbnails}
    there.row.show_state(replace(state, thumbnails=grey))
    assert button.grab().toImage().pixelColor(*middle) == QColor(90, 90, 90)


def test_the_state_has_a_shape_beside_its_word(there: Shown) -> None:
    row = there.show(shown("tool"))
    next_card = row.button("2").grab().toImage()
    todo = row.button("3").grab().toImage()
    assert _count(next_card, LIGHT.accent, rows=26) > _count(todo, LIGHT.accent, rows=26) + 20


def test_the_look_can_be_changed(there: Shown) -> None:
    row = there.show(shown("result"))
    row.use_colours(DARK)
    image = row.button("3").grab().toImage()
    assert image.pixelColor(image.width() - 12, image.height() - 5) == QColor(DARK.surface)


def _count(image: QImage, colour: str, *, rows: int) -> int:
    wanted = QColor(colour).rgb()
    # The edge of the next card is in the accent too, hence the margin.
    return sum(
        image.pixel(u, v) == wanted for u in range(6, image.width() - 6) for v in range(6, rows)
    )
