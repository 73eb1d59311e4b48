"""Everything can be reached by keys and named by a screen reader, and nothing is cut off."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest
from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtGui import QShortcut
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QScrollArea,
    QSpinBox,
    QWidget,
)
from pytestqt.qtbot import QtBot

from app.ui import keys
from app.ui.look.colours import DARK, LIGHT, Colours
from app.ui.look.style import dress
from app.ui.run_keys import bind_keys
from app.ui.run_page import RunPage
from app.ui.state import DeskState
from tests.ui.states import STATES, shown

CONTROLS = (
    QAbstractButton,
    QLineEdit,
    QComboBox,
    QSpinBox,
    QPlainTextEdit,
    QAbstractItemView,
    QScrollArea,
)
SIZES = ((1024, 700), (1280, 800))


@cache
def state_named(name: str) -> DeskState:
    return STATES[name]()


def open_page(qtbot: QtBot, name: str, size: tuple[int, int], colours: Colours) -> RunPage:
    """Return the page of a run in a state, laid out as it is on the screen."""
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    dress(application, colours)
    page = RunPage(colours)
    qtbot.addWidget(page)
    page.resize(*size)
    page.show()
    page.show_picture(shown())
    for _ in range(4):  # the column's width, then the heights that follow from it
        page.show_state(state_named(name))
        QApplication.processEvents()
    return page


def on_screen(page: QWidget) -> Iterator[QWidget]:
    for part in page.findChildren(QWidget):
        if part.isVisible() and not part.objectName().startswith("qt_"):
            yield part


@pytest.mark.parametrize("name", STATES)
def test_every_control_has_a_name_and_says_what_it_does(qtbot: QtBot, name: str) -> None:
    page = open_page(qtbot, name, SIZES[1], DARK)
    nameless = [
        f"{type(part).__name__} {part.objectName()}"
        for part in on_screen(page)
        if isinstance(part, CONTROLS)
        and part.focusPolicy() is not Qt.FocusPolicy.NoFocus
        and not (part.accessibleName() and part.toolTip())
    ]
    assert nameless == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", STATES)
def test_no_words_are_cut_and_no_parts_overlap(
    qtbot: QtBot, name: str, size: tuple[int, int]
) -> None:
    page = open_page(qtbot, name, size, LIGHT)
    assert page.size().toTuple() == size
    cut = [
        f"{part.objectName()}: {part.text()!r} needs {part.sizeHint().width()} px, "
        f"has {part.width()}"
        for part in on_screen(page)
        if type(part) is QLabel
        and not part.wordWrap()
        and part.text()
        and part.sizeHint().width() > part.width() + 1
        and part.text() not in part.toolTip()
    ]
    assert cut == []
    parts = (page.header, page.columns, page.centre, page.task, page.cards)
    places = [(part.objectName() or type(part).__name__, place_of(part, page)) for part in parts]
    for at, (one, place) in enumerate(places):
        assert page.rect().contains(place), one
        for other, other_place in places[at + 1 :]:
            assert not place.intersects(other_place), (one, other)


def place_of(part: QWidget, page: QWidget) -> QRect:
    return QRect(part.mapTo(page, QPoint(0, 0)), part.size())


def test_a_small_screen_is_enough(qtbot: QtBot) -> None:
    page = open_page(qtbot, "sixteen tools", SIZES[0], DARK)
    least = page.minimumSizeHint()
    assert least.width() <= 1000
    assert least.height() <= 660


def test_every_key_of_the_table_is_bound_once_and_told(qtbot: QtBot) -> None:
    page = open_page(qtbot, "tool", SIZES[1], DARK)
    bind_keys(page, state=lambda: None, do=lambda _: None)
    bound = [cut.key().toString() for cut in page.findChildren(QShortcut)]
    assert len(bound) == len(set(bound))
    windows_own = {keys.LOOKS, keys.QUIT}
    missing = [
        key.words
        for key in keys.ALL
        if key not in windows_own and portable(key.sequence) not in bound
    ]
    assert missing == []
    page.toggle_keys()
    told = {label.text() for label in page.keys.findChildren(QLabel)}
    assert {key.shown for key in keys.ALL} <= told
    assert {key.words for key in keys.ALL} <= told
    assert len({key.sequence for key in keys.ALL}) == len(keys.ALL)


def portable(sequence: str) -> str:
    from PySide6.QtGui import QKeySequence

    return QKeySequence(sequence).toString()


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_a_change_of_look_reaches_every_part(qtbot: QtBot, colours: Colours) -> None:
    other = DARK if colours is LIGHT else LIGHT
    changed = open_page(qtbot, "card of a tool", SIZES[1], other)
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    dress(application, colours)
    changed.use_colours(colours)
    changed.show_state(state_named("card of a tool"))
    fresh = open_page(qtbot, "card of a tool", SIZES[1], colours)
    QApplication.processEvents()
    one, two = (page.grab().toImage() for page in (changed, fresh))
    size = one.size()
    assert size == two.size()
    off = sum(
        one.pixelColor(x, y) != two.pixelColor(x, y)
        for x in range(0, size.width(), 9)
        for y in range(0, size.height(), 9)
    )
    # A caret or a focus frame may differ; a part that kept its colours would be thousands.
    assert off < 60
