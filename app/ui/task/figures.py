"""The jogs in figures that are read from two metres: painted, fitted to the width, never cut."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QPainter,
    QPaintEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.ui.look.colours import Colours
from app.ui.look.shapes import paint_state
from app.ui.look.states import State
from app.ui.look.style import FIGURE_HEIGHT_PX, figure_font, text_font
from app.ui.task.correction_words import AxisLine

_NARROW_PX = 330
"""Up to this width of the column figures have their least height; beyond it they grow."""

_LEAST_WIDE_PX = 260
_LARGEST = 2.0
_SQUEEZE = 0.7
"""Digits may be made this narrow before the second jog goes to a line of its own: narrower
ones run together from afar."""

_ROW_GAP, _THEN_GAP, _THERE = 14.0, 10.0, "there"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How the lines are laid out in a width.

    Attributes
    ----------
    digit_px
        Height of a digit's ink.
    squeeze
        Factor on the width of the figures, 1 or less, one for both lines.
    letter_px
        Width of the column of axis letters.
    then_below
        For each line, whether its second jog stands below the first.
    """

    digit_px: float
    squeeze: float
    letter_px: float
    then_below: tuple[bool, ...]

    def height_px(self) -> float:
        """Return the height of all lines."""
        below = sum(self.then_below) * self.digit_px * 0.72
        count = len(self.then_below)
        return count * self.digit_px + max(0, count - 1) * _ROW_GAP + below + 4.0


def font_for_digits(digit_px: float) -> QFont:
    """Return a figure font whose digits are at least so high, from foot to head."""
    probe = QFontMetricsF(figure_font(100)).tightBoundingRect("0").height()
    return figure_font(math.ceil(100.0 * digit_px / probe))


def fit_lines(lines: tuple[AxisLine, ...], width_px: float) -> Fit:
    """Return how lines fit into a width without being cut.

    Digits keep their height; they are made narrower, all alike, and where that is not
    enough the second jog takes a line of its own.
    """
    grown = min(max(width_px / _NARROW_PX, 1.0), _LARGEST)
    digit_px = FIGURE_HEIGHT_PX * grown
    large = QFontMetricsF(font_for_digits(digit_px))
    letter_px = QFontMetricsF(_letter_font(digit_px)).horizontalAdvance("X") + 10.0
    room = width_px - letter_px
    squeezes, below = [1.0], []
    for line in lines:
        wide = large.horizontalAdvance(line.first)
        gap = _THEN_GAP if line.then else 0.0
        both = wide + _then_px(line, digit_px)
        beside = (room - gap) / both if wide else 1.0
        below.append(bool(line.then) and beside < _SQUEEZE)
        squeezes.append((room / wide if wide else 1.0) if below[-1] else beside)
    return Fit(
        digit_px=digit_px, squeeze=min(squeezes), letter_px=letter_px, then_below=tuple(below)
    )


def _letter_font(digit_px: float) -> QFont:
    return text_font(round(digit_px * 0.5), bold=True)


def _then_font(digit_px: float) -> QFont:
    return figure_font(round(digit_px * 0.54))


def _word_font(digit_px: float) -> QFont:
    return text_font(round(digit_px * 0.29))


def _then_px(line: AxisLine, digit_px: float) -> float:
    return QFontMetricsF(_then_font(digit_px)).horizontalAdvance(line.then)


class Figures(QWidget):
    """Paints the lines of a correction."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._lines: tuple[AxisLine, ...] = ()
        # Fixed would hold the height to the hint, which is that of the narrowest column.
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    @property
    def lines(self) -> tuple[AxisLine, ...]:
        """What is shown."""
        return self._lines

    def show_lines(self, lines: tuple[AxisLine, ...]) -> None:
        """Show other lines."""
        if lines != self._lines:
            self._lines = lines
            self.updateGeometry()
            self.update()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def fitted(self) -> Fit:
        """Return how the lines lie in the present width."""
        return fit_lines(self._lines, float(self.width()))

    def heightForWidth(self, width: int) -> int:
        """Return the height of the lines in a width."""
        return math.ceil(fit_lines(self._lines, float(width)).height_px())

    def sizeHint(self) -> QSize:
        """Return the size in the narrowest column."""
        return QSize(_LEAST_WIDE_PX, self.heightForWidth(_LEAST_WIDE_PX))

    def minimumSizeHint(self) -> QSize:
        """Return the same: figures are never cut."""
        return self.sizeHint()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the lines from the top."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        fit, foot = self.fitted(), 2.0
        for line, is_below in zip(self._lines, fit.then_below, strict=True):
            foot += fit.digit_px
            self._paint_letter(painter, line, fit, foot)
            if line.first:
                end = self._paint_first(painter, line, fit, foot)
                if line.then and is_below:
                    foot += fit.digit_px * 0.72
                    self._paint_then_below(painter, line, fit, foot)
                elif line.then:
                    self._paint_then(painter, line, fit, QPointF(end, foot))
            else:
                self._paint_there(painter, fit, foot)
            foot += _ROW_GAP

    def _paint_letter(self, painter: QPainter, line: AxisLine, fit: Fit, foot: float) -> None:
        painter.setFont(_letter_font(fit.digit_px))
        painter.setPen(QColor(self._colours.text if line.first else self._colours.muted))
        painter.drawText(QPointF(0.0, foot), line.axis)

    def _paint_first(self, painter: QPainter, line: AxisLine, fit: Fit, foot: float) -> float:
        font = font_for_digits(fit.digit_px)
        painter.save()
        painter.translate(fit.letter_px, foot)
        painter.scale(fit.squeeze, 1.0)
        painter.setFont(font)
        painter.setPen(QColor(self._colours.text))
        painter.drawText(QPointF(0.0, 0.0), line.first)
        painter.restore()
        wide = QFontMetricsF(font).horizontalAdvance(line.first) * fit.squeeze
        return fit.letter_px + wide + _THEN_GAP

    def _paint_then(self, painter: QPainter, line: AxisLine, fit: Fit, at: QPointF) -> None:
        painter.setPen(QColor(self._colours.muted))
        painter.setFont(_word_font(fit.digit_px))
        painter.drawText(at - QPointF(0.0, fit.digit_px * 0.56), "then")
        painter.setPen(QColor(self._colours.text))
        painter.setFont(_then_font(fit.digit_px))
        painter.save()
        painter.translate(at)
        painter.scale(fit.squeeze, 1.0)
        painter.drawText(QPointF(0.0, 0.0), line.then)
        painter.restore()

    def _paint_then_below(self, painter: QPainter, line: AxisLine, fit: Fit, foot: float) -> None:
        painter.setPen(QColor(self._colours.muted))
        painter.setFont(_word_font(fit.digit_px))
        painter.drawText(QPointF(fit.letter_px, foot), "then")
        wide = QFontMetricsF(_word_font(fit.digit_px)).horizontalAdvance("then ")
        painter.setPen(QColor(self._colours.text))
        painter.setFont(_then_font(fit.digit_px))
        painter.drawText(QPointF(fit.letter_px + wide, foot), line.then)

    def _paint_there(self, painter: QPainter, fit: Fit, foot: float) -> None:
        side = fit.digit_px * 0.5
        box = QRectF(fit.letter_px, foot - side, side, side)
        paint_state(painter, box, State.GOOD, self._colours)
        painter.setPen(QColor(self._colours.muted))
        painter.setFont(_then_font(fit.digit_px))
        row = QRectF(box.right() + 8.0, box.top() - 4.0, float(self.width()), side + 8.0)
        painter.drawText(row, Qt.AlignmentFlag.AlignVCenter, _THERE)
