"""Small panels over the picture: badges, the readout, a strip of words, the progress."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter

from app.job.quality import Grade
from app.ui.look.colours import Colours
from app.ui.look.style import BASE_PX, RADIUS, SENTENCE_PX, SMALL_PX, figure_font, text_font
from app.ui.picture.shapes import paint_grade
from app.ui.picture.words import burst_words
from app.wiring.glance import BurstProgress

PILL_PX = 24.0
"""Height of a badge."""

STRIP_PX = 6.0
"""Height of the progress at the lower edge."""

_VEIL = 222
"""How much of the picture a panel hides, of 255: words on it stay readable on white."""


def paint_pill(
    painter: QPainter,
    corner: QPointF,
    words: str,
    colours: Colours,
    *,
    grade: Grade | None = None,
    anchor: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignLeft,
) -> QRectF:
    """Draw a badge and return where it lies.

    `corner` is its top left corner, top right corner or the middle of its top, as
    `anchor` says.
    """
    font = figure_font(SMALL_PX, bold=False)
    shape = 18.0 if grade is not None else 0.0
    width = QFontMetricsF(font).horizontalAdvance(words) + shape + 20.0
    left = corner.x()
    if anchor is Qt.AlignmentFlag.AlignRight:
        left -= width
    elif anchor is Qt.AlignmentFlag.AlignHCenter:
        left -= width / 2.0
    box = QRectF(left, corner.y(), width, PILL_PX)
    painter.save()
    _paint_veil(painter, box, colours)
    if grade is not None:
        paint_grade(painter, grade, QRectF(left + 9.0, box.center().y() - 6.0, 12.0, 12.0), colours)
    painter.setFont(font)
    painter.setPen(QColor(colours.on_surround))
    inner = box.adjusted(10.0 + shape, 0.0, -8.0, 0.0)
    painter.drawText(inner, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, words)
    painter.restore()
    return box


def paint_strip(painter: QPainter, width: float, sentence: str, colours: Colours) -> float:
    """Write a sentence on a strip along the upper edge; return the strip's height."""
    font = text_font(BASE_PX)
    flags = Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignVCenter
    room = QRectF(36.0, 8.0, max(width - 48.0, 40.0), 1000.0)
    needed = QFontMetricsF(font).boundingRect(room, int(flags), sentence)
    height = needed.height() + 16.0
    painter.save()
    painter.fillRect(QRectF(0.0, 0.0, width, height), _veil(colours))
    paint_grade(painter, Grade.FAIR, QRectF(12.0, height / 2.0 - 7.0, 14.0, 14.0), colours)
    painter.setFont(font)
    painter.setPen(QColor(colours.on_surround))
    painter.drawText(QRectF(36.0, 8.0, room.width(), needed.height()), int(flags), sentence)
    painter.restore()
    return height


def paint_in_place(painter: QPainter, area: QRectF, sentence: str, colours: Colours) -> QRectF:
    """Write a sentence in the picture's place, and return the panel that holds it."""
    font = text_font(SENTENCE_PX, bold=True)
    flags = Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
    width = min(max(area.width() - 48.0, 60.0), 560.0)
    room = QRectF(0.0, 0.0, max(width - 76.0, 30.0), 2000.0)
    needed = QFontMetricsF(font).boundingRect(room, int(flags), sentence)
    # Two pixels more than measured: rounding must not wrap the last word.
    text_width = min(needed.width() + 2.0, room.width())
    box = QRectF(0.0, 0.0, text_width + 76.0, max(needed.height(), 24.0) + 40.0)
    box.moveCenter(area.center())
    painter.save()
    _paint_veil(painter, box, colours)
    paint_grade(
        painter,
        Grade.POOR,
        QRectF(box.left() + 20.0, box.center().y() - 10.0, 20.0, 20.0),
        colours,
    )
    painter.setFont(font)
    painter.setPen(QColor(colours.on_surround))
    painter.drawText(box.adjusted(56.0, 20.0, -20.0, -20.0), int(flags), sentence)
    painter.restore()
    return box


def paint_progress(
    painter: QPainter, area: QRectF, burst: BurstProgress, colours: Colours
) -> QRectF:
    """Draw how far a burst is along the lower edge, with its words above."""
    strip = QRectF(area.left(), area.bottom() - STRIP_PX, area.width(), STRIP_PX)
    part = burst.taken / burst.wanted if burst.wanted > 0 else 0.0
    painter.fillRect(strip, QColor(colours.surround))
    done = QRectF(strip.left(), strip.top() + 1.0, strip.width() * min(part, 1.0), STRIP_PX - 1.0)
    painter.fillRect(done, QColor(colours.target))
    return paint_pill(
        painter,
        QPointF(area.center().x(), strip.top() - PILL_PX - 6.0),
        f"sighting: {burst_words(burst)}",
        colours,
        anchor=Qt.AlignmentFlag.AlignHCenter,
    )


def _veil(colours: Colours) -> QColor:
    colour = QColor(colours.surround)
    colour.setAlpha(_VEIL)
    return colour


def _paint_veil(painter: QPainter, box: QRectF, colours: Colours) -> None:
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(_veil(colours))
    painter.drawRoundedRect(box, RADIUS, RADIUS)
