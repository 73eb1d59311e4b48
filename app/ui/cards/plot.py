"""Paints a small plot: axes with ticks, marks by shape and colour, labels that keep apart."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.ui.cards.chart import (
    Axes,
    Box,
    Chart,
    Ink,
    KeyEntry,
    Mark,
    Shape,
    Tick,
    axes_of,
    place_labels,
    round_ticks,
)
from app.ui.look.colours import Colours
from app.ui.look.style import SMALL_PX, text_font

PLOT_PX = 216
"""Height of a plot."""

_MARK_PX = 4.5
_HEAD_PX = 24.0
_FOOT_PX = 36.0
_TICK_PX = 4.0
_GAP_PX = 6.0
_X_TICK_ROOM_PX, _Y_TICK_ROOM_PX = 56.0, 26.0
_ARROW_HEAD_PX = 6.0


class Plot(QWidget):
    """A chart. Its accessible name says what it shows, the description what comes out."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._chart: Chart | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMinimumWidth(240)

    @property
    def chart(self) -> Chart | None:
        """What is shown."""
        return self._chart

    def show_chart(self, chart: Chart | None) -> None:
        """Show a chart; hidden while there is none."""
        self.setVisible(chart is not None)
        if chart == self._chart or chart is None:
            self._chart = chart
            return
        self._chart = chart
        self.setAccessibleName(chart.name)
        self.setAccessibleDescription(chart.sentence)
        self.setToolTip(chart.sentence)
        self.update()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def sizeHint(self) -> QSize:
        """Return a plot of usual size."""
        return QSize(400, PLOT_PX)

    def minimumSizeHint(self) -> QSize:
        """Return the least width at which ticks still keep apart."""
        return QSize(240, PLOT_PX)

    def axes(self) -> Axes:
        """Return the map from the chart's units to this widget's pixels.

        Raises
        ------
        ValueError
            When no chart is shown.
        """
        if self._chart is None:
            raise ValueError("no chart is shown")
        left = self._left_room()
        return axes_of(
            self._chart,
            left,
            _HEAD_PX,
            self.width() - left - 10.0,
            self.height() - _HEAD_PX - _FOOT_PX,
        )

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the chart."""
        if self._chart is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(text_font(SMALL_PX))
        axes = self.axes()
        self._paint_frame(painter, axes)
        self._paint_ticks(painter, axes)
        self._paint_titles(painter, axes)
        self._paint_key(painter, axes)
        painter.save()
        painter.setClipRect(_frame(axes).adjusted(-1, -1, 1, 1))
        self._paint_box(painter, axes)
        self._paint_traces(painter, axes)
        for mark in self._chart.marks:
            self._paint_mark(painter, axes, mark)
        painter.restore()
        self._paint_labels(painter, axes)

    def _metrics(self) -> QFontMetricsF:
        return QFontMetricsF(text_font(SMALL_PX))

    def _left_room(self) -> float:
        """Return the room that the labels of y need; taken from the ticks that come to stand."""
        if self._chart is None:
            return 0.0
        high = self.height() - _HEAD_PX - _FOOT_PX
        trial = axes_of(self._chart, 50.0, _HEAD_PX, self.width() - 60.0, high)
        wide = max((self._metrics().horizontalAdvance(t.label) for t in _y_ticks(trial)), default=0)
        return math.ceil(float(wide)) + _TICK_PX + 8.0

    def _paint_frame(self, painter: QPainter, axes: Axes) -> None:
        painter.setPen(QPen(QColor(self._colours.line), 1.0))
        painter.setBrush(QColor(self._colours.raised))
        painter.drawRect(_frame(axes))
        has_dates = self._chart is not None and self._chart.x_ticks is not None
        if axes.x_low < 0.0 < axes.x_high and not has_dates:
            self._paint_zero(painter, axes, is_x=True)
        if axes.y_low < 0.0 < axes.y_high:
            self._paint_zero(painter, axes, is_x=False)

    def _paint_zero(self, painter: QPainter, axes: Axes, *, is_x: bool) -> None:
        u, v = axes.at(0.0, 0.0)
        painter.setPen(QPen(QColor(self._colours.line), 1.0))
        if is_x:
            painter.drawLine(QPointF(u, axes.top), QPointF(u, axes.top + axes.height))
        else:
            painter.drawLine(QPointF(axes.left, v), QPointF(axes.left + axes.width, v))

    def _x_ticks(self, axes: Axes) -> tuple[Tick, ...]:
        """Return ticks whose labels keep apart: of given ones, the last first."""
        if self._chart is None or self._chart.x_ticks is None:
            return round_ticks(axes.x_low, axes.x_high, max(2, int(axes.width / _X_TICK_ROOM_PX)))
        kept: list[Tick] = []
        edge = math.inf
        for tick in reversed(self._chart.x_ticks):
            half = self._metrics().horizontalAdvance(tick.label) / 2.0
            u = axes.at(tick.at, 0.0)[0]
            if u + half + _GAP_PX <= edge:
                kept.append(tick)
                edge = u - half
        return tuple(reversed(kept))

    def _paint_ticks(self, painter: QPainter, axes: Axes) -> None:
        painter.setPen(QPen(QColor(self._colours.muted), 1.0))
        metrics = self._metrics()
        bottom = axes.top + axes.height
        for tick in self._x_ticks(axes):
            u = axes.at(tick.at, 0.0)[0]
            wide = metrics.horizontalAdvance(tick.label) + 2.0
            left = min(max(u - wide / 2.0, 0.0), self.width() - wide)
            painter.drawLine(QPointF(u, bottom), QPointF(u, bottom + _TICK_PX))
            painter.drawText(
                QRectF(left, bottom + _TICK_PX, wide, 14.0),
                Qt.AlignmentFlag.AlignCenter,
                tick.label,
            )
        flags = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        for tick in _y_ticks(axes):
            v = axes.at(0.0, tick.at)[1]
            painter.drawLine(QPointF(axes.left - _TICK_PX, v), QPointF(axes.left, v))
            painter.drawText(
                QRectF(0.0, v - 8.0, axes.left - _TICK_PX - 3.0, 16.0), flags, tick.label
            )

    def _paint_titles(self, painter: QPainter, axes: Axes) -> None:
        if self._chart is None:
            return
        painter.setPen(QColor(self._colours.muted))
        flags = Qt.AlignmentFlag.AlignVCenter
        painter.drawText(
            QRectF(0.0, 0.0, axes.left + axes.width, _HEAD_PX - 4.0),
            flags | Qt.AlignmentFlag.AlignLeft,
            self._chart.y_title,
        )
        foot = QRectF(axes.left, axes.top + axes.height + _TICK_PX + 15.0, axes.width, 16.0)
        painter.drawText(foot, flags | Qt.AlignmentFlag.AlignRight, self._chart.x_title)

    def _paint_key(self, painter: QPainter, axes: Axes) -> None:
        if self._chart is None:
            return
        metrics = self._metrics()
        right = axes.left + axes.width
        for entry in reversed(self._chart.key):
            wide = metrics.horizontalAdvance(entry.words) + 1.0
            left = right - wide
            painter.setPen(QColor(self._colours.muted))
            painter.drawText(
                QRectF(left, 0.0, wide, _HEAD_PX - 4.0),
                Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft,
                entry.words,
            )
            self._paint_key_shape(painter, entry, QPointF(left - 9.0, (_HEAD_PX - 4.0) / 2.0))
            right = left - 26.0

    def _paint_key_shape(self, painter: QPainter, entry: KeyEntry, at: QPointF) -> None:
        if entry.shape is Shape.BOX:
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(self._colours.outline), 1.4, Qt.PenStyle.DashLine))
            painter.drawRect(QRectF(at.x() - 7.0, at.y() - 4.5, 13.0, 9.0))
            return
        self._paint_shape(painter, entry.shape, entry.ink, at)

    def _paint_box(self, painter: QPainter, axes: Axes) -> None:
        if self._chart is None or self._chart.box is None:
            return
        half_x, half_y = self._chart.box
        u0, v0 = axes.at(-half_x, half_y)
        u1, v1 = axes.at(half_x, -half_y)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(self._colours.outline), 1.4, Qt.PenStyle.DashLine))
        painter.drawRect(QRectF(QPointF(u0, v0), QPointF(u1, v1)))

    def _paint_traces(self, painter: QPainter, axes: Axes) -> None:
        if self._chart is None:
            return
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for trace in self._chart.traces:
            painter.setPen(QPen(QColor(self._ink(trace.ink)), 1.4))
            painter.drawPolyline(QPolygonF([QPointF(*axes.at(x, y)) for x, y in trace.points]))

    def _paint_mark(self, painter: QPainter, axes: Axes, mark: Mark) -> None:
        ink = QColor(self._ink(mark.ink))
        spot = QPointF(*axes.at(mark.x, mark.y))
        if mark.half:
            painter.setPen(QPen(ink, 1.6))
            top, foot = (QPointF(*axes.at(mark.x, mark.y + s * mark.half)) for s in (1, -1))
            painter.drawLine(top, foot)
            for end in (top, foot):
                painter.drawLine(end - QPointF(3.5, 0.0), end + QPointF(3.5, 0.0))
        self._paint_shape(painter, mark.shape, mark.ink, spot)
        if mark.tip is not None:
            self._paint_arrow(painter, spot, QPointF(*axes.at(*mark.tip)))

    def _paint_arrow(self, painter: QPainter, start: QPointF, end: QPointF) -> None:
        painter.setPen(QPen(QColor(self._colours.text), 1.8))
        painter.drawLine(start, end)
        along = end - start
        length = math.hypot(along.x(), along.y())
        if length < _ARROW_HEAD_PX:
            # Too short for a head; the numbers stand in the table.
            return
        back = along * (_ARROW_HEAD_PX / length)
        side = QPointF(-back.y(), back.x()) * 0.55
        painter.setBrush(QColor(self._colours.text))
        painter.drawPolygon(QPolygonF([end, end - back + side, end - back - side]))

    def _paint_shape(self, painter: QPainter, shape: Shape, ink: Ink, at: QPointF) -> None:
        colour, r = QColor(self._ink(ink)), _MARK_PX
        painter.setPen(QPen(colour, 2.2 if shape is Shape.CROSS else 1.0))
        painter.setBrush(colour)
        if shape is Shape.DOT:
            painter.drawEllipse(at, r, r)
        elif shape is Shape.SQUARE:
            painter.drawRect(QRectF(at.x() - r, at.y() - r, 2 * r, 2 * r))
        elif shape is Shape.DIAMOND:
            d = 1.4 * r
            steps = ((0, -d), (d, 0), (0, d), (-d, 0))
            painter.drawPolygon(QPolygonF([at + QPointF(x, y) for x, y in steps]))
        else:
            for sign in (1, -1):
                painter.drawLine(at + QPointF(-r, -sign * r), at + QPointF(r, sign * r))

    def _paint_labels(self, painter: QPainter, axes: Axes) -> None:
        painter.setPen(QColor(self._colours.text))
        for text, box in zip(self._labels(), self.label_boxes(), strict=True):
            if box is not None:
                painter.drawText(
                    QRectF(box.left, box.top, box.width, box.height),
                    Qt.AlignmentFlag.AlignCenter,
                    text,
                )

    def _labels(self) -> list[str]:
        return [] if self._chart is None else [m.label for m in self._chart.marks if m.label]

    def label_boxes(self) -> tuple[Box | None, ...]:
        """Return where the labels stand, in the order of the marks that have one."""
        if self._chart is None:
            return ()
        axes, metrics = self.axes(), self._metrics()
        marks = [mark for mark in self._chart.marks if mark.label]
        spots = [axes.at(mark.x, mark.y) for mark in marks]
        sizes = [(metrics.horizontalAdvance(m.label) + 4.0, 14.0) for m in marks]
        r = _MARK_PX + 1.0
        taken = [Box(left=u - r, top=v - r, width=2 * r, height=2 * r) for u, v in spots]
        for mark in marks:
            if mark.tip is not None:
                taken += _along(axes.at(mark.x, mark.y), axes.at(*mark.tip))
        bounds = Box(left=axes.left, top=axes.top, width=axes.width, height=axes.height)
        return place_labels(spots, sizes, taken, bounds)

    def _ink(self, ink: Ink) -> str:
        c = self._colours
        return {Ink.ACCENT: c.accent, Ink.WARN: c.warn, Ink.MUTED: c.muted, Ink.TEXT: c.text}[ink]


def _frame(axes: Axes) -> QRectF:
    return QRectF(axes.left, axes.top, axes.width, axes.height)


def _y_ticks(axes: Axes) -> tuple[Tick, ...]:
    return round_ticks(axes.y_low, axes.y_high, max(2, int(axes.height / _Y_TICK_ROOM_PX)))


def _along(start: tuple[float, float], end: tuple[float, float]) -> list[Box]:
    """Return small boxes along an arrow, which labels keep off."""
    length = math.dist(start, end)
    count = max(1, int(length / 5.0))
    steps = [(at + 1) / count for at in range(count)]
    return [
        Box(
            left=start[0] + s * (end[0] - start[0]) - 2.0,
            top=start[1] + s * (end[1] - start[1]) - 2.0,
            width=4.0,
            height=4.0,
        )
        for s in steps
    ]
