"""Draws the overlay: every line and every word with a dark outline under a bright stroke.

So they are legible on brass, on black and on a burnt-out picture alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QPen

from app.ui.look.colours import Colours
from app.ui.look.style import SMALL_PX, figure_font
from app.ui.picture.overlay import Arrow, AxisMark, Chevron, Line, OnTarget, Overlay, ScaleBar
from app.ui.picture.transform import PointWidget

LINE_PX, OUTLINE_PX = 2.0, 5.0
"""Width of a bright stroke, and of the dark one under it."""

DIMMED = 0.45
"""How much is left of an answer that is older than the picture."""

MARGIN_PX = 16.0
"""From the picture's corner to what stands in it."""

AXIS_PX = 30.0
"""Length of an axis in the corner."""


def paint_overlay(painter: QPainter, overlay: Overlay, colours: Colours) -> None:
    """Draw what belongs to the bore and the target, where it lies in the picture."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setOpacity(DIMMED if overlay.target_dimmed else 1.0)
    stroke(painter, overlay.brackets, colours.target, colours)
    painter.setOpacity(DIMMED if overlay.dimmed else 1.0)
    stroke(painter, overlay.dashes, colours.rim, colours)
    match overlay.arrow:
        case Arrow() as arrow:
            _paint_arrow(painter, arrow, colours)
        case OnTarget() as there:
            _paint_on_target(painter, there, colours)
        case None:
            pass
    if overlay.bore is not None and not isinstance(overlay.arrow, OnTarget):
        _paint_bore(painter, overlay.bore, colours)
    if overlay.chevron is not None:
        _paint_chevron(painter, overlay.chevron, colours)
    painter.restore()


def paint_axes(
    painter: QPainter, axes: tuple[AxisMark, ...], origin: QPointF, colours: Colours
) -> None:
    """Draw the machine's axes as a small pair from one point."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    foot = PointWidget(origin.x(), origin.y())
    lines: list[Line] = []
    for axis in axes:
        tip = _beyond(foot, axis.direction, AXIS_PX)
        lines += [(foot, tip), _head(tip, axis.direction, 6.0)]
    stroke(painter, lines, colours.axis, colours)
    for axis in axes:
        at = _beyond(foot, axis.direction, AXIS_PX + 14.0)
        outlined_text(painter, QPointF(*at), axis.name, colours.axis, colours)
    painter.restore()


def axes_reach(axes: tuple[AxisMark, ...]) -> tuple[float, float]:
    """Return how far the pair with its names reaches left of and below its origin, in px."""
    reach = AXIS_PX + 24.0
    left = max((-axis.direction.x * reach for axis in axes), default=0.0)
    below = max((axis.direction.y * reach for axis in axes), default=0.0)
    return max(left, 10.0), max(below, 10.0)


def paint_scale_bar(painter: QPainter, bar: ScaleBar, end: QPointF, colours: Colours) -> None:
    """Draw a line of a round length with its words above; `end` is its right end."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    right, y = end.x(), end.y()
    left = right - bar.length_px
    lines: tuple[Line, ...] = (
        (PointWidget(left, y), PointWidget(right, y)),
        (PointWidget(left, y - 5.0), PointWidget(left, y + 5.0)),
        (PointWidget(right, y - 5.0), PointWidget(right, y + 5.0)),
    )
    stroke(painter, lines, colours.axis, colours)
    middle = QPointF((left + right) / 2.0, y - 14.0)
    outlined_text(painter, middle, bar.words, colours.axis, colours)
    painter.restore()


def stroke(
    painter: QPainter,
    lines: Iterable[Line],
    colour: str,
    colours: Colours,
    *,
    width_px: float = LINE_PX,
) -> None:
    """Draw lines: first all their dark outlines, then all bright strokes."""
    path = QPainterPath()
    for line in lines:
        path.moveTo(*line[0])
        for point in line[1:]:
            path.lineTo(*point)
    if path.isEmpty():
        return
    for ink, width in (
        (colours.surround, width_px + OUTLINE_PX - LINE_PX),
        (colour, width_px),
    ):
        pen = QPen(QColor(ink), width)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
        painter.strokePath(path, pen)


def outlined_text(
    painter: QPainter,
    middle: QPointF,
    words: str,
    colour: str,
    colours: Colours,
    *,
    font: QFont | None = None,
) -> None:
    """Write words about a point, with a dark outline."""
    chosen = font or figure_font(SMALL_PX)
    metrics = QFontMetricsF(chosen)
    path = QPainterPath()
    path.addText(
        middle.x() - metrics.horizontalAdvance(words) / 2.0,
        middle.y() + metrics.capHeight() / 2.0,
        chosen,
        words,
    )
    pen = QPen(QColor(colours.surround), 4.0)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    painter.strokePath(path, pen)
    painter.fillPath(path, QColor(colour))


def _paint_arrow(painter: QPainter, arrow: Arrow, colours: Colours) -> None:
    length = math.dist(arrow.tail, arrow.head)
    along = PointWidget(
        (arrow.head.x - arrow.tail.x) / length, (arrow.head.y - arrow.tail.y) / length
    )
    stroke(painter, arrow.ticks, colours.arrow, colours, width_px=1.5)
    shaft: Line = (arrow.tail, arrow.head)
    size = min(11.0, length * 0.5)
    stroke(painter, (shaft, _head(arrow.head, along, size)), colours.arrow, colours, width_px=2.5)
    if arrow.label:
        outlined_text(painter, QPointF(*arrow.label_at), arrow.label, colours.arrow, colours)


def _paint_on_target(painter: QPainter, there: OnTarget, colours: Colours) -> None:
    x, y = there.at
    corners = ((x, y - 7.0), (x + 7.0, y), (x, y + 7.0), (x - 7.0, y))
    diamond = QPainterPath(QPointF(*corners[0]))
    for corner in corners[1:]:
        diamond.lineTo(*corner)
    diamond.closeSubpath()
    pen = QPen(QColor(colours.surround), 3.0)
    pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
    painter.strokePath(diamond, pen)
    painter.fillPath(diamond, QColor(colours.arrow))
    if there.label:
        outlined_text(painter, QPointF(x, y + 20.0), there.label, colours.arrow, colours)


def _paint_bore(painter: QPainter, at: PointWidget, colours: Colours) -> None:
    for ink, radius in ((colours.surround, 4.5), (colours.rim, 3.0)):
        dot = QPainterPath()
        dot.addEllipse(QPointF(*at), radius, radius)
        painter.fillPath(dot, QColor(ink))


def _paint_chevron(painter: QPainter, chevron: Chevron, colours: Colours) -> None:
    behind = _beyond(chevron.tip, chevron.direction, -13.0)
    lines = (
        _head(chevron.tip, chevron.direction, 20.0),
        _head(behind, chevron.direction, 20.0),
    )
    stroke(painter, lines, colours.rim, colours, width_px=4.0)


def _head(tip: PointWidget, along: PointWidget, size: float) -> Line:
    """Return the two barbs of an arrow's head, through its tip."""
    back = _beyond(tip, along, -size)
    across = PointWidget(-along.y, along.x)
    return (
        _beyond(back, across, size * 0.6),
        tip,
        _beyond(back, across, -size * 0.6),
    )


def _beyond(start: PointWidget, direction: PointWidget, length: float) -> PointWidget:
    return PointWidget(start.x + direction.x * length, start.y + direction.y * length)
