"""Controls of the start page, each with a name, a name for people and a tooltip."""

from __future__ import annotations

from itertools import pairwise
from typing import TypeVar

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QKeyEvent,
    QPainter,
    QPaintEvent,
    QPalette,
    QPen,
    QPolygonF,
    QWheelEvent,
)
from PySide6.QtWidgets import (
    QAbstractButton,
    QCheckBox,
    QComboBox,
    QFileDialog,
    QLineEdit,
    QPushButton,
    QRadioButton,
    QWidget,
)

_MARK_PX = 18
_F = TypeVar("_F", bound=QLineEdit)


def button(name: str, text: str, tip: str) -> QPushButton:
    """Return a plain button."""
    made = QPushButton(text)
    made.setObjectName(name)
    made.setAccessibleName(text)
    made.setToolTip(tip)
    return made


def line_edit(name: str, accessible: str, tip: str, placeholder: str = "") -> QLineEdit:
    """Return a field for a line of text."""
    return _named(QLineEdit(), name, accessible, tip, placeholder)


def enter_field(name: str, accessible: str, tip: str, placeholder: str = "") -> EnterField:
    """Return a field for a line of text that keeps its Enter."""
    return _named(EnterField(), name, accessible, tip, placeholder)


def _named(made: _F, name: str, accessible: str, tip: str, placeholder: str) -> _F:
    made.setObjectName(name)
    made.setAccessibleName(accessible)
    made.setToolTip(tip)
    made.setPlaceholderText(placeholder)
    return made


def browse(field: QLineEdit, title: str, kinds: str = "", *, folder: bool = False) -> QFileDialog:
    """Open a window beside this one that fills a field with a path; nothing waits for it."""
    dialog = QFileDialog(field.window(), title, field.text().strip(), kinds)
    dialog.setObjectName("browse")
    dialog.setModal(False)
    mode = QFileDialog.FileMode.Directory if folder else QFileDialog.FileMode.ExistingFile
    dialog.setFileMode(mode)
    dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    dialog.fileSelected.connect(field.setText)
    dialog.show()
    return dialog


class EnterField(QLineEdit):
    """A field whose Enter is its own: it does not also begin a run behind it."""

    entered = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Keep Enter, leave the rest to the field."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            event.accept()
            self.entered.emit()
            return
        super().keyPressEvent(event)


def in_order(*widgets: QWidget) -> None:
    """Let the Tab key go through these in this order."""
    for one, next_one in pairwise(widgets):
        QWidget.setTabOrder(one, next_one)


class Pulldown(QComboBox):
    """A list that drops down, with a mark of our own at its right."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        # A rounded frame and the style's own square button do not go together.
        self.setStyleSheet("QComboBox::drop-down { border: none; width: 26px; }")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Turn only while it has the focus: scrolling a form past it must change nothing."""
        if self.hasFocus():
            super().wheelEvent(event)
        else:
            event.ignore()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the box, then the mark."""
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pen = QPen(_muted(self.palette()), 1.8)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(pen)
        middle = QPointF(self.width() - 17.0, self.height() / 2.0)
        corners = [QPointF(-4.5, -2.0), QPointF(0.0, 2.5), QPointF(4.5, -2.0)]
        painter.drawPolyline(QPolygonF([middle + corner for corner in corners]))
        painter.end()


class Tick(QCheckBox):
    """A box to tick: a frame, and a check mark in it."""

    def sizeHint(self) -> QSize:
        """Return the room for the box and its words."""
        return _size_of(self)

    def hitButton(self, pos: object) -> bool:
        """Take clicks anywhere on box and words."""
        return True

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint box, mark and words."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        box = _paint_frame(painter, self, round_px=4.0)
        if self.isChecked():
            pen = QPen(self.palette().color(QPalette.ColorRole.HighlightedText), 2.2)
            pen.setCapStyle(Qt.PenCapStyle.RoundCap)
            painter.setPen(pen)
            points = [(0.26, 0.52), (0.44, 0.70), (0.76, 0.32)]
            painter.drawPolyline(
                QPolygonF(
                    [
                        QPointF(box.left() + u * box.width(), box.top() + v * box.height())
                        for u, v in points
                    ]
                )
            )
        painter.end()


class Choice(QRadioButton):
    """One of several: a ring, and a disc in it for the one that is chosen."""

    def sizeHint(self) -> QSize:
        """Return the room for the ring and its words."""
        return _size_of(self)

    def hitButton(self, pos: object) -> bool:
        """Take clicks anywhere on ring and words."""
        return True

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint ring, disc and words."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        ring = _paint_frame(painter, self, round_px=_MARK_PX / 2.0)
        if self.isChecked():
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self.palette().color(QPalette.ColorRole.HighlightedText))
            painter.drawEllipse(ring.center(), 0.22 * _MARK_PX, 0.22 * _MARK_PX)
        painter.end()


def _size_of(button: QAbstractButton) -> QSize:
    wide = button.fontMetrics().horizontalAdvance(button.text())
    return QSize(_MARK_PX + 14 + wide, max(_MARK_PX, button.fontMetrics().height()) + 6)


def _paint_frame(painter: QPainter, button: QAbstractButton, *, round_px: float) -> QRectF:
    """Paint the frame and the words, filled where it is on; return the frame."""
    role = QPalette.ColorRole
    on, palette = button.isChecked(), button.palette()
    muted = _muted(palette)
    box = QRectF(2.0, (button.height() - _MARK_PX) / 2.0, _MARK_PX, _MARK_PX)
    edge = palette.color(role.Highlight) if on or button.hasFocus() else muted
    # Dotted where it cannot be chosen: not by colour alone.
    style = Qt.PenStyle.SolidLine if button.isEnabled() else Qt.PenStyle.DotLine
    painter.setPen(QPen(edge, 2.0 if button.hasFocus() else 1.4, style))
    painter.setBrush(palette.color(role.Highlight if on else role.Base))
    painter.drawRoundedRect(box.adjusted(0.5, 0.5, -0.5, -0.5), round_px, round_px)
    painter.setPen(palette.color(role.WindowText) if button.isEnabled() else muted)
    room = QRect(_MARK_PX + 10, 0, button.width() - _MARK_PX - 10, button.height())
    painter.drawText(
        room, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, button.text()
    )
    if button.hasFocus():
        wide = button.fontMetrics().horizontalAdvance(button.text())
        below = room.center().y() + button.fontMetrics().height() / 2.0 + 1.0
        painter.setPen(QPen(palette.color(role.Highlight), 2.0))
        painter.drawLine(QPointF(room.left(), below), QPointF(room.left() + wide, below))
    return box


def _muted(palette: QPalette) -> QColor:
    """Return the ink of words of less weight.

    Not the palette's own: a style sheet that sets a colour makes placeholder text half
    transparent, too pale to read, and disabled text as strong as any.
    """
    ink = QColor(palette.color(QPalette.ColorGroup.Active, QPalette.ColorRole.WindowText))
    ink.setAlphaF(0.7)
    return ink
