from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from app.ui import keys
from app.ui.look.colours import DARK, LIGHT, Colours
from app.ui.look.notices import NoticeStrip
from app.ui.look.parts import (
    ElidedLabel,
    KeyButton,
    Rule,
    StateBadge,
    WrapLabel,
)
from app.ui.look.shapes import paint_state
from app.ui.look.states import State
from app.ui.state import Notice, Weight

LOOKS = pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
FULL = Notice(key="disk", weight=Weight.FAULT, sentence="The disk is full.", retry="Try again")
LIGHT_FELL = Notice(key="light", weight=Weight.WARNING, sentence="The light has fallen.")
NOTE = Notice(key="note", weight=Weight.NOTE, sentence="A newer program is there.")
LONG = "Jog tool 2 until the arrow is short, or sight it where it stands; then go on."


def pixels(image: QImage) -> NDArray[np.uint8]:
    grey = image.convertToFormat(QImage.Format.Format_Grayscale8)
    rows = np.frombuffer(grey.constBits(), np.uint8).reshape(grey.height(), grey.bytesPerLine())
    return rows[:, : grey.width()].copy()


def in_grey(state: State, colours: Colours, side: int = 16) -> NDArray[np.bool_]:
    """Return where a shape has ink, whatever its colour."""
    image = QImage(side, side, QImage.Format.Format_ARGB32_Premultiplied)
    image.fill(QColor(colours.surface))
    ground = int(pixels(image)[0, 0])
    painter = QPainter(image)
    paint_state(painter, QRectF(0, 0, side, side), state, colours)
    painter.end()
    inked: NDArray[np.bool_] = np.abs(pixels(image).astype(np.int64) - ground) > 24
    return inked


@LOOKS
@pytest.mark.parametrize(("one", "other"), list(combinations(State, 2)))
def test_states_differ_in_shape_not_in_colour_alone(
    qtbot: QtBot, colours: Colours, one: State, other: State
) -> None:
    differ = in_grey(one, colours) ^ in_grey(other, colours)

    assert np.count_nonzero(differ) >= 12


def test_a_badge_says_its_state_or_a_word_of_its_own(qtbot: QtBot) -> None:
    badge = StateBadge(State.WAITING, LIGHT)
    qtbot.addWidget(badge)
    assert (badge.word, badge.accessibleName()) == ("to do", "to do")

    badge.set_state(State.GOOD, "stands")

    assert (badge.state, badge.word, badge.accessibleName()) == (State.GOOD, "stands", "stands")


@pytest.mark.parametrize("look", ["", "primary", "quiet"])
def test_a_narrow_button_cuts_its_words_and_keeps_its_key(qtbot: QtBot, look: str) -> None:
    button = KeyButton("Sight tool 12 where it stands", keys.PROCEED, LIGHT, look=look)
    qtbot.addWidget(button)
    button.resize(button.sizeHint())
    assert button.shown_words() == "Sight tool 12 where it stands"

    button.resize(button.minimumSizeHint().width() + 30, button.height())

    assert button.shown_words().endswith("…")
    assert button.rect().contains(button._cap_rect())
    assert button._words_rect().right() < button._cap_rect().left()
    assert button.toolTip() == "Sight tool 12 where it stands  (Space)"


def test_new_words_leave_the_key_and_are_the_accessible_name(qtbot: QtBot) -> None:
    button = KeyButton("Sight tool 1", keys.PROCEED, LIGHT)
    qtbot.addWidget(button)

    button.set_words("Sight A & B")

    assert button.words == button.accessibleName() == "Sight A & B"
    assert "Space" in button.toolTip()
    assert button.shortcut().isEmpty()


@LOOKS
@pytest.mark.parametrize("look", ["", "primary", "quiet"])
def test_the_cap_of_the_key_is_painted(qtbot: QtBot, colours: Colours, look: str) -> None:
    button = KeyButton("Go", keys.PROCEED, colours, look=look)
    qtbot.addWidget(button)
    button.resize(button.sizeHint())
    cap = button._cap_rect()

    seen = pixels(button.grab().toImage())[cap.top() : cap.bottom(), cap.left() : cap.right()]

    assert int(seen.max()) - int(seen.min()) > 60


def test_a_button_emits_a_click(qtbot: QtBot) -> None:
    button = KeyButton("Go", keys.PROCEED, LIGHT)
    qtbot.addWidget(button)

    with qtbot.waitSignal(button.clicked, timeout=1000):
        QTest.mouseClick(button, Qt.MouseButton.LeftButton)


def test_a_cut_label_has_its_whole_text_as_tooltip(qtbot: QtBot) -> None:
    label = ElidedLabel("A machine with a name of forty letters..")
    qtbot.addWidget(label)
    label.resize(80, 20)
    label.show()
    assert label.shown_text().endswith("…")
    assert label.toolTip() == label.text()

    label.resize(600, 20)

    assert label.shown_text() == label.text()
    assert label.toolTip() == ""


@pytest.mark.parametrize("text", [LONG, "Averylongnamewithoutanyspacesinitatall" * 2])
def test_a_wrapping_label_gets_the_height_that_it_needs_in_a_layout(
    qtbot: QtBot, text: str
) -> None:
    window = QWidget()
    qtbot.addWidget(window)
    column = QWidget()
    across = QHBoxLayout(window)
    across.addWidget(column)
    across.addWidget(QLabel("beside"), 1)
    column.setFixedWidth(140)
    layout = QVBoxLayout(column)
    label, below = WrapLabel(text), QLabel("below")
    layout.addWidget(label)
    layout.addWidget(below)
    layout.addWidget(QWidget(), 1)
    window.resize(500, 400)
    window.show()
    qtbot.waitUntil(lambda: label.height() >= label.heightForWidth(label.width()))

    assert label.width() <= 140
    assert label.heightForWidth(140) > label.heightForWidth(600)
    assert below.y() >= label.y() + label.height()


def test_a_strip_without_notices_is_hidden(qtbot: QtBot) -> None:
    strip = NoticeStrip(LIGHT)
    qtbot.addWidget(strip)
    strip.show_state((FULL,))
    assert strip.isVisible()

    strip.show_state(())

    assert not strip.isVisible()


def sentence_of(strip: NoticeStrip) -> str:
    label = strip.findChild(WrapLabel, "notice_sentence")
    assert isinstance(label, WrapLabel)
    return label.text()


def button_of(strip: NoticeStrip, name: str) -> QPushButton:
    button = strip.findChild(QPushButton, name)
    assert isinstance(button, QPushButton)
    return button


def test_a_strip_shows_the_first_notice_and_steps_through_the_others(qtbot: QtBot) -> None:
    strip = NoticeStrip(LIGHT)
    qtbot.addWidget(strip)
    strip.show_state((FULL, LIGHT_FELL, NOTE))
    seen = []
    for _ in range(4):
        seen.append((sentence_of(strip), button_of(strip, "notice_step").text()))
        QTest.mouseClick(button_of(strip, "notice_step"), Qt.MouseButton.LeftButton)

    assert seen == [
        (FULL.sentence, "1 of 3"),
        (LIGHT_FELL.sentence, "2 of 3"),
        (NOTE.sentence, "3 of 3"),
        (FULL.sentence, "1 of 3"),
    ]


def test_the_button_of_a_notice_gives_its_key(qtbot: QtBot) -> None:
    strip = NoticeStrip(LIGHT)
    qtbot.addWidget(strip)
    strip.show_state((FULL,))

    with qtbot.waitSignal(strip.retry, timeout=1000) as told:
        QTest.mouseClick(button_of(strip, "notice_retry"), Qt.MouseButton.LeftButton)

    assert told.args == ["disk"]


def test_a_notice_that_is_being_read_stays_until_a_new_one_comes_first(qtbot: QtBot) -> None:
    strip = NoticeStrip(LIGHT)
    qtbot.addWidget(strip)
    strip.show_state((LIGHT_FELL, NOTE))
    QTest.mouseClick(button_of(strip, "notice_step"), Qt.MouseButton.LeftButton)

    strip.show_state((NOTE,))
    assert sentence_of(strip) == NOTE.sentence
    strip.show_state((FULL, NOTE))

    assert sentence_of(strip) == FULL.sentence


def test_a_narrow_strip_wraps(qtbot: QtBot) -> None:
    strip = NoticeStrip(LIGHT)
    qtbot.addWidget(strip)
    strip.show_state((Notice(key="a", weight=Weight.WARNING, sentence=LONG * 2),))

    assert strip.heightForWidth(320) > strip.heightForWidth(1200)


def test_a_rule_is_a_line_of_one_pixel(qtbot: QtBot) -> None:
    rule = Rule(DARK)
    qtbot.addWidget(rule)
    rule.resize(40, 1)

    assert rule.grab().toImage().pixelColor(20, 0) == QColor(DARK.line)
