"""Focus and light stand as high as they are, with a word, a shape and an advice."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor
from pytestqt.qtbot import QtBot

from app.job.quality import Grade, Level
from app.ui.look.colours import DARK, LIGHT
from app.ui.picture import Columns, LevelColumn
from app.ui.picture.shapes import grade_colour, grade_path
from tests.ui.states import DIM, STATES


def column(qtbot: QtBot, level: Level) -> LevelColumn:
    made = LevelColumn("Light", "How bright it is.", DARK)
    qtbot.addWidget(made)
    made.resize(28, 220)
    made.show_level(level)
    made.show()
    return made


def test_a_column_says_word_grade_and_advice(qtbot: QtBot) -> None:
    made = column(qtbot, DIM)
    assert made.accessibleName() == "Light: too dark (poor)"
    assert made.accessibleDescription() == DIM.advice
    assert DIM.advice in made.toolTip()


def test_a_good_column_explains_itself(qtbot: QtBot) -> None:
    made = column(qtbot, replace(DIM, grade=Grade.GOOD, word="even", advice=""))
    assert made.accessibleDescription() == "How bright it is."


@pytest.mark.parametrize("grade", [Grade.GOOD, Grade.FAIR, Grade.POOR])
def test_the_bar_is_filled_up_to_the_level_in_the_grades_colour(qtbot: QtBot, grade: Grade) -> None:
    made = column(qtbot, replace(DIM, fraction=0.5, grade=grade))
    image, top = made.grab().toImage(), round(made.bar_top())
    assert image.pixelColor(6, top + 4) == QColor(grade_colour(grade, DARK))
    assert image.pixelColor(6, top - 4) == QColor(DARK.line)


def test_a_level_out_of_range_stays_in_the_bar(qtbot: QtBot) -> None:
    made = column(qtbot, replace(DIM, fraction=1.7))
    full = made.bar_top()
    made.show_level(replace(DIM, fraction=-0.3))
    assert 0.0 < full < made.bar_top() <= made.height()


def test_each_grade_has_a_shape_of_its_own() -> None:
    box = QRectF(0.0, 0.0, 12.0, 12.0)
    paths = [grade_path(grade, box) for grade in Grade]
    assert all(a != b for i, a in enumerate(paths) for b in paths[:i])


def test_both_columns_follow_the_state(qtbot: QtBot) -> None:
    made = Columns(DARK)
    qtbot.addWidget(made)
    made.resize(28, 500)
    made.show()
    state = STATES["too dark"]()
    made.show_state(state)
    made.use_colours(LIGHT)
    assert made.focus_column.level == state.focus
    assert made.light_column.level == state.light
    assert made.light_column.accessibleName() == "Light: too dark (poor)"
    assert made.width() == 28
    assert not made.grab().isNull()
