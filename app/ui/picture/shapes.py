"""A shape for each grade, so that none is told by its colour alone."""

from __future__ import annotations

from typing import assert_never

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen

from app.job.quality import Grade
from app.ui.look.colours import Colours


def grade_colour(grade: Grade, colours: Colours) -> str:
    """Return the fill that goes with a grade."""
    match grade:
        case Grade.GOOD:
            return colours.good
        case Grade.FAIR:
            return colours.warn
        case Grade.POOR:
            return colours.bad
        case Grade.UNKNOWN:
            return colours.outline
        case _:
            assert_never(grade)


def grade_path(grade: Grade, box: QRectF) -> QPainterPath:
    """Return the shape of a grade: diamond, triangle, square, or a flat bar for unknown."""
    path = QPainterPath()
    middle = box.center()
    match grade:
        case Grade.GOOD:
            path.moveTo(middle.x(), box.top())
            path.lineTo(box.right(), middle.y())
            path.lineTo(middle.x(), box.bottom())
            path.lineTo(box.left(), middle.y())
            path.closeSubpath()
        case Grade.FAIR:
            path.moveTo(middle.x(), box.top())
            path.lineTo(box.bottomRight())
            path.lineTo(box.bottomLeft())
            path.closeSubpath()
        case Grade.POOR:
            path.addRect(box.adjusted(1.0, 1.0, -1.0, -1.0))
        case Grade.UNKNOWN:
            path.addRect(QRectF(box.left(), middle.y() - 1.5, box.width(), 3.0))
        case _:
            assert_never(grade)
    return path


def paint_grade(painter: QPainter, grade: Grade, box: QRectF, colours: Colours) -> None:
    """Draw the shape of a grade; a poor one is crossed out as well."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.fillPath(grade_path(grade, box), QColor(grade_colour(grade, colours)))
    if grade is Grade.POOR:
        pen = QPen(QColor(colours.on_bad), 1.8)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(pen)
        inner = box.adjusted(4.0, 4.0, -4.0, -4.0)
        painter.drawLine(inner.topLeft(), inner.bottomRight())
        painter.drawLine(QPointF(inner.left(), inner.bottom()), QPointF(inner.right(), inner.top()))
    painter.restore()
