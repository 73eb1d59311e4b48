"""Paints a budget as bars: what each contributor brings to U, along X and along Y."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.ui.cards.page import Bar, Budget
from app.ui.look.colours import Colours
from app.ui.look.style import SMALL_PX, text_font

_ROW_PX = 26
_HEAD_PX = 18
_BAR_PX = 7.0
_GAP_PX = 8.0


class BudgetBars(QWidget):
    """Two bars a contributor, X above Y, with their numbers behind them, largest first."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._budget: Budget | None = None
        self.setObjectName("budget")
        self.setAccessibleName("Budget of U")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    @property
    def budget(self) -> Budget | None:
        """What is shown."""
        return self._budget

    def show_budget(self, budget: Budget | None) -> None:
        """Show a budget; hidden while there is none."""
        self.setVisible(budget is not None)
        if budget == self._budget:
            return
        self._budget = budget
        if budget is not None:
            said = "; ".join(
                f"{bar.name}: X {bar.u_x_um:.1f}, Y {bar.u_y_um:.1f} um" for bar in budget.bars
            )
            self.setAccessibleDescription(f"{budget.sentence} {said}.")
            self.setToolTip(budget.sentence)
        self.updateGeometry()
        self.update()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def sizeHint(self) -> QSize:
        """Return the height of all rows."""
        count = 0 if self._budget is None else len(self._budget.bars)
        return QSize(400, _HEAD_PX + count * _ROW_PX)

    def minimumSizeHint(self) -> QSize:
        """Return the same height at the least width."""
        return QSize(240, self.sizeHint().height())

    def bar_boxes(self, at: int) -> tuple[QRectF, QRectF]:
        """Return the bars of X and Y of a row, from 0; in this widget's pixels."""
        if self._budget is None:
            raise ValueError("no budget is shown")
        bar = self._budget.bars[at]
        left, room = self._left(), self._room()
        largest = max(max(b.u_x_um, b.u_y_um) for b in self._budget.bars)
        top = _HEAD_PX + at * _ROW_PX + (_ROW_PX - 2 * _BAR_PX - 2.0) / 2.0
        x, y = (
            QRectF(left, top + i * (_BAR_PX + 2.0), max(1.0, room * value / largest), _BAR_PX)
            for i, value in enumerate((bar.u_x_um, bar.u_y_um))
        )
        return x, y

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the rows."""
        if self._budget is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(text_font(SMALL_PX))
        painter.setPen(QColor(self._colours.muted))
        right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        painter.drawText(
            QRectF(0, 0, self.width(), _HEAD_PX),
            right,
            "standard uncertainty in um: X above, Y below",
        )
        for at, bar in enumerate(self._budget.bars):
            self._paint_row(painter, at, bar, is_largest=at == 0)

    def _paint_row(self, painter: QPainter, at: int, bar: Bar, *, is_largest: bool) -> None:
        c = self._colours
        painter.setFont(text_font(SMALL_PX, bold=is_largest))
        painter.setPen(QColor(c.text))
        row = QRectF(0, _HEAD_PX + at * _ROW_PX, self.width(), _ROW_PX)
        middle = Qt.AlignmentFlag.AlignVCenter
        painter.drawText(row, middle | Qt.AlignmentFlag.AlignLeft, bar.name)
        painter.drawText(row, middle | Qt.AlignmentFlag.AlignRight, _numbers(bar))
        x, y = self.bar_boxes(at)
        painter.setPen(Qt.PenStyle.NoPen)
        for box, ink in ((x, c.accent), (y, c.outline)):
            painter.setBrush(QColor(ink))
            painter.drawRoundedRect(box, 1.5, 1.5)

    def _left(self) -> float:
        metrics = QFontMetricsF(text_font(SMALL_PX, bold=True))
        bars = () if self._budget is None else self._budget.bars
        return max((metrics.horizontalAdvance(b.name) for b in bars), default=0.0) + _GAP_PX

    def _room(self) -> float:
        metrics = QFontMetricsF(text_font(SMALL_PX, bold=True))
        bars = () if self._budget is None else self._budget.bars
        numbers = max((metrics.horizontalAdvance(_numbers(b)) for b in bars), default=0.0)
        return max(20.0, self.width() - self._left() - numbers - _GAP_PX)


def _numbers(bar: Bar) -> str:
    return f"{bar.u_x_um:.1f} / {bar.u_y_um:.1f}"
