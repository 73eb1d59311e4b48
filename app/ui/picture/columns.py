"""Focus and light as two thin columns at the picture's left edge."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPainterPath, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget

from app.job.quality import Grade, Level
from app.ui.look.colours import Colours
from app.ui.look.style import GAP, SMALL_PX, text_font
from app.ui.picture.shapes import grade_colour, paint_grade
from app.ui.picture.words import level_name
from app.ui.state import DeskState

COLUMN_PX = 28
"""Width of a column."""

_BAR_PX = 8.0
_SHAPE_PX = 14.0
UNKNOWN_LEVEL = Level(fraction=0.0, grade=Grade.UNKNOWN, word="unknown", advice="")


class LevelColumn(QWidget):
    """A thin bar that stands as high as a level, with its grade as a shape and its word.

    Parameters
    ----------
    title
        What it shows: "Focus".
    explained
        What the column is for, in a sentence; the advice follows it in the tooltip.
    """

    def __init__(
        self, title: str, explained: str, colours: Colours, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._title, self._explained, self._colours = title, explained, colours
        self._level = UNKNOWN_LEVEL
        self.setObjectName(f"{title.lower()}_column")
        self.setFixedWidth(COLUMN_PX)
        self.setMinimumHeight(90)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding)
        self._tell()

    @property
    def level(self) -> Level:
        """What is shown."""
        return self._level

    def show_level(self, level: Level) -> None:
        """Show a level."""
        if level == self._level:
            return
        told = (level.grade, level.word, level.advice)
        before = (self._level.grade, self._level.word, self._level.advice)
        self._level = level
        if told != before:
            self._tell()
        self.update()

    def use_colours(self, colours: Colours) -> None:
        """Take other colours."""
        self._colours = colours
        self.update()

    def sizeHint(self) -> QSize:
        """Return a size at which all words fit."""
        return QSize(COLUMN_PX, 200)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the shape on top, the bar under it, the words beside the bar."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        shape = QRectF((self.width() - _SHAPE_PX) / 2.0, 2.0, _SHAPE_PX, _SHAPE_PX)
        paint_grade(painter, self._level.grade, shape, self._colours)
        top = shape.bottom() + 8.0
        bar = QRectF(2.0, top, _BAR_PX, self.height() - top - 2.0)
        self._paint_bar(painter, bar)
        self._paint_words(painter, QRectF(12.0, top, COLUMN_PX - 12.0, bar.height()))
        painter.end()

    def bar_top(self) -> float:
        """Return where the filled part of the bar begins, from the widget's top."""
        top = 2.0 + _SHAPE_PX + 8.0
        height = self.height() - top - 2.0
        return top + height * (1.0 - min(max(self._level.fraction, 0.0), 1.0))

    def _paint_bar(self, painter: QPainter, bar: QRectF) -> None:
        whole = QPainterPath()
        whole.addRoundedRect(bar, _BAR_PX / 2.0, _BAR_PX / 2.0)
        painter.fillPath(whole, QColor(self._colours.line))
        filled = QRectF(bar)
        filled.setTop(self.bar_top())
        painter.save()
        painter.setClipPath(whole)
        painter.fillRect(filled, QColor(grade_colour(self._level.grade, self._colours)))
        painter.restore()

    def _paint_words(self, painter: QPainter, room: QRectF) -> None:
        """Write title and word upwards, from the column's foot."""
        title_font, word_font = text_font(SMALL_PX), text_font(SMALL_PX, bold=True)
        title = f"{self._title}  "
        title_width = QFontMetricsF(title_font).horizontalAdvance(title)
        word = QFontMetricsF(word_font).elidedText(
            self._level.word, Qt.TextElideMode.ElideRight, max(room.height() - title_width, 0.0)
        )
        painter.save()
        painter.translate(room.left(), room.bottom())
        painter.rotate(-90.0)
        flags = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
        painter.setFont(title_font)
        painter.setPen(QColor(self._colours.muted))
        painter.drawText(QRectF(0.0, 0.0, title_width, room.width()), flags, title)
        painter.setFont(word_font)
        painter.setPen(QColor(self._colours.text))
        rest = QRectF(title_width, 0.0, max(room.height() - title_width, 0.0) + 4.0, room.width())
        painter.drawText(rest, flags, word)
        painter.restore()

    def _tell(self) -> None:
        name = level_name(self._title, self._level)
        self.setAccessibleName(name)
        self.setAccessibleDescription(self._level.advice or self._explained)
        lines = (name, self._level.advice, self._explained)
        self.setToolTip("\n".join(line for line in lines if line))


class Columns(QWidget):
    """Focus and light, one above the other."""

    wanted = Signal(object)
    """As every part of the window has it; a column wants nothing."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("columns")
        self.setAccessibleName("Focus and light")
        self.focus_column = LevelColumn(
            "Focus", "How sharp the picture is, beside the sharpest seen.", colours, self
        )
        self.light_column = LevelColumn(
            "Light", "How bright the land round the bore is.", colours, self
        )
        self.setFixedWidth(COLUMN_PX)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2 * GAP)
        layout.addWidget(self.focus_column, 1)
        layout.addWidget(self.light_column, 1)

    def show_state(self, state: DeskState) -> None:
        """Show a state."""
        self.focus_column.show_level(state.focus)
        self.light_column.show_level(state.light)

    def use_colours(self, colours: Colours) -> None:
        """Take other colours."""
        self.focus_column.use_colours(colours)
        self.light_column.use_colours(colours)
