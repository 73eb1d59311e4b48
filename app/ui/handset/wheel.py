"""A round handwheel: turned by dragging round it, by the mouse's wheel, or by arrow keys."""

from __future__ import annotations

import math

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QWheelEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.ui.handset.shell import Shell
from app.ui.look.style import SMALL_PX, TITLE_PX, figure_font, text_font

DETENTS_A_TURN = 36
"""Nine detents are a quarter turn, so a jog of some tenths is one short drag."""

_DETENT_DEG = 360.0 / DETENTS_A_TURN

NOTCH = 120
"""Eighths of a degree in one notch of an ordinary mouse wheel (Qt, QWheelEvent.angleDelta)."""

_KEYS = {
    Qt.Key.Key_Right: 1,
    Qt.Key.Key_Up: 1,
    Qt.Key.Key_Left: -1,
    Qt.Key.Key_Down: -1,
    Qt.Key.Key_PageUp: 10,
    Qt.Key.Key_PageDown: -10,
}


class Handwheel(QWidget):
    """The wheel. Clockwise, up and to the right are plus.

    `turned` carries the detents of one movement of the hand, with their sign.
    """

    turned = Signal(int)

    def __init__(self, shell: Shell, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._shell = shell
        self._detents = 0
        """Where the wheel stands, in detents from where it was made."""
        self._part_deg = 0.0
        """How far the hand is past the last detent while it drags."""
        self._part_notch = 0
        self._held = False
        self._held_deg: float | None = None
        self._words = ("", "")
        self.setObjectName("handwheel")
        self.setAccessibleName("Handwheel")
        self.setToolTip(
            "Turns the chosen axis by one step a click: drag round the wheel, turn the mouse "
            "wheel over it, or press the arrow keys (Page Up and Page Down turn by ten)."
        )
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.OpenHandCursor)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(88, 88)
        self.setMaximumHeight(152)

    def sizeHint(self) -> QSize:
        """Return the size that is comfortable to turn."""
        return QSize(152, 152)

    def say(self, jog: str, clicks: str) -> None:
        """Show the jog so far and its clicks in the middle of the wheel."""
        if (jog, clicks) != self._words:
            self._words = (jog, clicks)
            self.setAccessibleDescription(" ".join(word for word in (jog, clicks) if word))
            self.update()

    def use_shell(self, shell: Shell) -> None:
        """Change colours."""
        self._shell = shell
        self.update()

    # Turning --------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of the wheel."""
        if event.button() is Qt.MouseButton.LeftButton:
            self._held = True
            self._held_deg = self._bearing_deg(event.position())
            self._part_deg = 0.0
            self.setCursor(Qt.CursorShape.ClosedHandCursor)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Follow the hand round the wheel."""
        bearing = self._bearing_deg(event.position())
        if not self._held or bearing is None:
            return
        if self._held_deg is None:
            # It was taken hold of at the hub, where a bearing means nothing.
            self._held_deg = bearing
        swing = math.remainder(bearing - self._held_deg, 360.0)
        self._held_deg = bearing
        self._part_deg += swing
        detents = math.trunc(self._part_deg / _DETENT_DEG)
        self._part_deg -= detents * _DETENT_DEG
        self._turn(detents)
        self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let go; the wheel falls back into its detent."""
        self._held = False
        self._part_deg = 0.0
        self.setCursor(Qt.CursorShape.OpenHandCursor)
        self.update()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Turn by the notches of the mouse's wheel; away from the person is plus."""
        self._part_notch += event.angleDelta().y()
        detents = math.trunc(self._part_notch / NOTCH)
        self._part_notch -= detents * NOTCH
        self._turn(detents)
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Turn by the arrow keys."""
        detents = _KEYS.get(Qt.Key(event.key()))
        if detents is None:
            super().keyPressEvent(event)
            return
        self._turn(detents)

    def event(self, event: QEvent) -> bool:
        """Keep the arrow keys for the wheel while it has the focus."""
        if (
            event.type() is QEvent.Type.ShortcutOverride
            and isinstance(event, QKeyEvent)
            and event.key() in _KEYS
        ):
            event.accept()
            return True
        return super().event(event)

    def _turn(self, detents: int) -> None:
        if detents:
            self._detents += detents
            self.update()
            self.turned.emit(detents)

    def _bearing_deg(self, at: QPointF) -> float | None:
        """Return the bearing of a place from the hub, clockwise; None on the hub itself."""
        from_hub = at - QRectF(self.rect()).center()
        if math.hypot(from_hub.x(), from_hub.y()) < 6.0:
            return None
        return math.degrees(math.atan2(from_hub.y(), from_hub.x()))

    # Painting -------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw rim, ticks, dimple and the count."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.translate(QRectF(self.rect()).center())
        radius = min(self.width(), self.height()) / 2.0 - 3.0
        self._paint_body(painter, radius)
        painter.save()
        painter.rotate(self._detents * _DETENT_DEG + self._part_deg)
        self._paint_rim(painter, radius)
        painter.restore()
        self._paint_words(painter, radius)
        painter.end()

    def _paint_body(self, painter: QPainter, radius: float) -> None:
        shell = self._shell
        edge = shell.accent if self.hasFocus() else shell.edge
        painter.setPen(QPen(QColor(edge), 2.0))
        painter.setBrush(QColor(shell.knob))
        painter.drawEllipse(QPointF(0.0, 0.0), radius, radius)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(shell.body))
        painter.drawEllipse(QPointF(0.0, 0.0), 0.62 * radius, 0.62 * radius)

    def _paint_rim(self, painter: QPainter, radius: float) -> None:
        shell = self._shell
        painter.save()
        painter.setPen(QPen(QColor(shell.muted), 1.2))
        for _ in range(DETENTS_A_TURN):
            painter.drawLine(QPointF(0.0, -0.97 * radius), QPointF(0.0, -0.89 * radius))
            painter.rotate(_DETENT_DEG)
        painter.restore()
        # The dimple for a finger.
        painter.setPen(QPen(QColor(shell.edge), 1.5))
        painter.setBrush(QColor(shell.display))
        painter.drawEllipse(QPointF(0.0, -0.755 * radius), 0.11 * radius, 0.11 * radius)

    def _paint_words(self, painter: QPainter, radius: float) -> None:
        jog, clicks = self._words
        width = 1.22 * radius
        painter.setPen(QColor(self._shell.ink))
        font = figure_font(TITLE_PX)
        while font.pixelSize() > 10 and QFontMetricsF(font).horizontalAdvance(jog) > width:
            font.setPixelSize(font.pixelSize() - 1)
        painter.setFont(font)
        middle = Qt.AlignmentFlag.AlignCenter
        painter.drawText(QRectF(-width / 2.0, -22.0, width, 24.0), middle, jog)
        painter.setPen(QColor(self._shell.muted))
        painter.setFont(text_font(SMALL_PX - 1))
        painter.drawText(QRectF(-width / 2.0, 2.0, width, 18.0), middle, clicks)
