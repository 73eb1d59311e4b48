"""Small drawings of the four layouts, and the buttons that bear them."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QPushButton, QSizePolicy, QVBoxLayout, QWidget

from app.dialects.values import Layout
from app.ui.look.colours import Colours
from app.ui.look.parts import WrapLabel
from app.ui.look.style import RADIUS
from app.ui.start.words import LAYOUT_SENTENCES, LAYOUT_TITLES

_WIDE, _HIGH = 96.0, 44.0
"""The ground on which all four are drawn."""


class LayoutButton(QPushButton):
    """Chooses a layout: its drawing, its title, its sentence."""

    def __init__(self, layout: Layout, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.layout_value = layout
        self._colours = colours
        self.setObjectName(f"layout_{layout.value.replace('-', '_')}")
        self.setAccessibleName(LAYOUT_TITLES[layout])
        self.setAccessibleDescription(LAYOUT_SENTENCES[layout])
        self.setToolTip(f"{LAYOUT_TITLES[layout]}: {LAYOUT_SENTENCES[layout]}")
        self.setCheckable(True)
        self.setAutoExclusive(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMinimumWidth(150)
        self.setFixedHeight(134)
        column = QVBoxLayout(self)
        column.setContentsMargins(10, 58, 10, 6)
        column.setSpacing(1)
        title = WrapLabel(LAYOUT_TITLES[layout], parent=self)
        font = title.font()
        font.setBold(True)
        title.setFont(font)
        sentence = WrapLabel(LAYOUT_SENTENCES[layout], look="small", parent=self)
        for label in (title, sentence):
            label.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
            column.addWidget(label)
        column.addStretch(1)

    def sizeHint(self) -> QSize:
        """Return the size of a button in a row of four."""
        return QSize(200, 134)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint ground, frame and drawing; the words are labels."""
        c = self._colours
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        strong = self.isChecked() or self.hasFocus()
        pen = QPen(QColor(c.accent if strong else c.outline), 2.0 if strong else 1.0)
        if self.hasFocus() and not self.isChecked():
            pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        painter.setBrush(QColor(c.raised))
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(1, 1, -1, -1), RADIUS, RADIUS)
        if self.isChecked():
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(c.accent))
            painter.drawEllipse(QRectF(self.width() - 21, 10, 10, 10))
        painter.translate(10.0, 10.0)
        paint_layout(painter, self.layout_value, c)
        painter.end()


def paint_layout(painter: QPainter, layout: Layout, colours: Colours) -> None:
    """Paint how a machine carries its nozzles, 96 by 44 from the present origin."""
    painter.setPen(QPen(QColor(colours.muted), 1.6))
    painter.setBrush(QColor(colours.surface))
    if layout is Layout.TOOL_CHANGER:
        for at in (4.0, 26.0, 70.0):
            _nozzle(painter, at, 2.0, colours, active=False)
        _rail(painter, 27.0, colours)
        _nozzle(painter, 48.0, 22.0, colours, active=True)
        return
    _rail(painter, 8.0, colours)
    match layout:
        case Layout.INDEPENDENT_CARRIAGES:
            _nozzle(painter, 14.0, 4.0, colours, active=True)
            _nozzle(painter, 66.0, 4.0, colours, active=False)
        case Layout.FIXED_NOZZLES:
            painter.drawRoundedRect(QRectF(26.0, 3.0, 44.0, 14.0), 2.0, 2.0)
            _nozzle(painter, 30.0, 15.0, colours, active=True)
            _nozzle(painter, 50.0, 15.0, colours, active=False)
        case Layout.LIFTING_NOZZLE:
            painter.drawRoundedRect(QRectF(26.0, 3.0, 44.0, 14.0), 2.0, 2.0)
            _nozzle(painter, 30.0, 22.0, colours, active=True)
            _nozzle(painter, 50.0, 13.0, colours, active=False)


def _rail(painter: QPainter, y: float, colours: Colours) -> None:
    painter.save()
    painter.setPen(QPen(QColor(colours.outline), 3.0))
    painter.drawLine(QPointF(0.0, y), QPointF(_WIDE, y))
    painter.restore()


def _nozzle(painter: QPainter, x: float, y: float, colours: Colours, *, active: bool) -> None:
    """Paint a block with a tip below; the tool in use is filled."""
    painter.save()
    painter.setBrush(QColor(colours.accent if active else colours.surface))
    painter.drawRoundedRect(QRectF(x, y, 16.0, 13.0), 2.0, 2.0)
    tip = [(3.0, 13.0), (13.0, 13.0), (9.5, 20.0), (6.5, 20.0)]
    painter.drawPolygon(QPolygonF([QPointF(x + u, y + v) for u, v in tip]))
    painter.restore()
