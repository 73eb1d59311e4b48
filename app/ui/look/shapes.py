"""The small shapes that tell states apart without colour, painted in a square."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QPainter, QPainterPath, QPen, QPolygonF

from app.ui.look.colours import Colours
from app.ui.look.states import State

Paint = Callable[[QPainter, Colours], None]


def paint_state(painter: QPainter, square: QRectF, state: State, colours: Colours) -> None:
    """Paint the shape of a state into a square of the painter's coordinates."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(square.topLeft())
    painter.scale(square.width() / 16.0, square.height() / 16.0)
    _PAINTERS[state](painter, colours)
    painter.restore()


def _pen(colour: str, width: float = 1.8) -> QPen:
    pen = QPen(QColor(colour), width)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    return pen


def _fill(painter: QPainter, colour: str) -> None:
    painter.setPen(_pen(colour, 1.2))
    painter.setBrush(QColor(colour))


def _outline(painter: QPainter, colour: str, width: float = 1.6) -> None:
    painter.setPen(_pen(colour, width))
    painter.setBrush(Qt.BrushStyle.NoBrush)


def _polygon(*points: tuple[float, float]) -> QPolygonF:
    return QPolygonF([QPointF(x, y) for x, y in points])


def _waiting(painter: QPainter, colours: Colours) -> None:
    _outline(painter, colours.muted)
    painter.drawRoundedRect(QRectF(1.8, 5.6, 12.4, 4.8), 2.4, 2.4)


def _next(painter: QPainter, colours: Colours) -> None:
    _fill(painter, colours.accent)
    painter.drawPolygon(_polygon((3.5, 2.0), (13.8, 8.0), (3.5, 14.0)))


def _good(painter: QPainter, colours: Colours) -> None:
    _fill(painter, colours.good)
    painter.drawRoundedRect(QRectF(1.6, 1.6, 12.8, 12.8), 2.5, 2.5)
    _outline(painter, colours.on_good, 2.0)
    painter.drawPolyline(_polygon((4.6, 8.4), (7.0, 11.0), (11.6, 5.2)))


def _warning(painter: QPainter, colours: Colours) -> None:
    _fill(painter, colours.warn)
    painter.drawPolygon(_polygon((8.0, 1.6), (15.0, 14.2), (1.0, 14.2)))
    _outline(painter, colours.on_warn, 1.8)
    painter.drawLine(QPointF(8.0, 6.0), QPointF(8.0, 9.6))
    painter.drawPoint(QPointF(8.0, 12.2))


def _bad(painter: QPainter, colours: Colours) -> None:
    _fill(painter, colours.bad)
    turns = [math.radians(22.5 + 45.0 * n) for n in range(8)]
    painter.drawPolygon(
        _polygon(*((8.0 + 7.2 * math.cos(t), 8.0 + 7.2 * math.sin(t)) for t in turns))
    )
    _outline(painter, colours.on_bad, 2.0)
    painter.drawLine(QPointF(5.4, 5.4), QPointF(10.6, 10.6))
    painter.drawLine(QPointF(10.6, 5.4), QPointF(5.4, 10.6))


def _struck(painter: QPainter, colours: Colours) -> None:
    _outline(painter, colours.muted)
    painter.drawRoundedRect(QRectF(3.4, 3.4, 9.2, 9.2), 1.5, 1.5)
    _outline(painter, colours.text, 2.0)
    painter.drawLine(QPointF(1.4, 12.4), QPointF(14.6, 3.6))


def _reference(painter: QPainter, colours: Colours) -> None:
    _fill(painter, colours.text)
    painter.drawPolygon(_polygon((8.0, 1.4), (14.6, 8.0), (8.0, 14.6), (1.4, 8.0)))


def _simulated(painter: QPainter, colours: Colours) -> None:
    box = QPainterPath()
    box.addRoundedRect(QRectF(1.6, 1.6, 12.8, 12.8), 2.5, 2.5)
    painter.save()
    painter.setClipPath(box)
    painter.setPen(_pen(colours.muted, 1.3))
    for at in range(-12, 16, 4):
        painter.drawLine(QPointF(at, 16.0), QPointF(at + 16.0, 0.0))
    painter.restore()
    painter.strokePath(box, _pen(colours.muted, 1.4))
    painter.setBrush(QBrush())


_PAINTERS: dict[State, Paint] = {
    State.WAITING: _waiting,
    State.NEXT: _next,
    State.GOOD: _good,
    State.WARNING: _warning,
    State.BAD: _bad,
    State.STRUCK: _struck,
    State.REFERENCE: _reference,
    State.SIMULATED: _simulated,
}
