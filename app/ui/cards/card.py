"""One card of the run sheet: a button that is painted."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QImage,
    QKeyEvent,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import QAbstractButton, QSizePolicy, QWidget

from app.ui.cards.row_words import SCALE_KEY, Card
from app.ui.look.colours import Colours
from app.ui.look.shapes import paint_state
from app.ui.look.states import State
from app.ui.look.style import RADIUS, SMALL_PX, figure_font, text_font

THUMBNAIL_PX = 72
NARROWEST_PX, WIDEST_PX = 132, 260

_PAD_PX = 8
_WIDE_PX = 200
"""From this width on, the words stand beside a thumbnail of full size."""

_TITLE_PX, _FIGURE_PX, _LINE_PX = 15, 13, 18
_SHAPE_PX = 14
_GAP_PX = 6
_LEAST_THUMBNAIL_PX = 24
_OPENS = frozenset({Qt.Key.Key_Return, Qt.Key.Key_Enter})


class CardButton(QAbstractButton):
    """A card; clicking it, or Enter, asks for what it holds.

    It takes the keyboard by Tab only: a click must not take it away from the fields.
    """

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._card: Card | None = None
        self._thumbnail: NDArray[np.uint8] | None = None
        self._image = QImage()
        self.setCheckable(True)
        self.setAttribute(Qt.WidgetAttribute.WA_Hover)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    @property
    def card(self) -> Card | None:
        """What is shown."""
        return self._card

    def show_card(
        self, card: Card, thumbnail: NDArray[np.uint8] | None, *, is_open: bool, key: str
    ) -> None:
        """Show a card.

        Parameters
        ----------
        thumbnail
            Shape (S, S), uint8, grey; None for none.
        is_open
            Whether what it holds is shown now.
        key
            Its key, for the tooltip; empty for none.
        """
        if card != self._card:
            self._card = card
            self.setObjectName(f"card_{card.key}")
            self.update()
        name = f"{card.name}{', open' if is_open else ''}"
        if name != self.accessibleName():
            self.setAccessibleName(name)
            shown = f"  ({key})" if key else ""
            self.setToolTip(f"{card.name}\nShow what it holds{shown}")
        if is_open != self.isChecked():
            self.setChecked(is_open)
        if thumbnail is not self._thumbnail:
            self._thumbnail = thumbnail
            self._image = _grey(thumbnail)
            self.update()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self.update()

    def nextCheckState(self) -> None:
        """Leave the mark alone: what is open is the state's to say."""

    def sizeHint(self) -> QSize:
        """Return the size of a narrow card."""
        return QSize(NARROWEST_PX, 96)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Open on Enter, go along the row by the arrows; Space is the window's."""
        if event.key() in _OPENS:
            self.click()
        elif event.key() in (Qt.Key.Key_Left, Qt.Key.Key_Up):
            self.focusNextPrevChild(False)
        elif event.key() in (Qt.Key.Key_Right, Qt.Key.Key_Down):
            self.focusNextPrevChild(True)
        else:
            event.ignore()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the card."""
        if self._card is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        self._paint_ground(painter)
        inner = QRectF(self.rect()).adjusted(_PAD_PX, _PAD_PX, -_PAD_PX, -_PAD_PX)
        if self._card.key == SCALE_KEY:
            self._paint_words(painter, inner, inner.left())
            return
        if self.width() >= _WIDE_PX:
            side = min(float(THUMBNAIL_PX), inner.height())
            top = inner.center().y() - side / 2.0
            self._paint_thumbnail(painter, QRectF(inner.left(), top, side, side))
            inner.setLeft(inner.left() + side + _PAD_PX)
            self._paint_words(painter, inner, inner.left())
            return
        room = inner.height() - _LINE_PX - _GAP_PX
        side = min(room, inner.width() - self._figures_wide() - _GAP_PX)
        left = inner.left()
        if side >= _LEAST_THUMBNAIL_PX:
            top = inner.top() + _LINE_PX + _GAP_PX
            self._paint_thumbnail(painter, QRectF(left, top, side, side))
            left += side + _GAP_PX
        self._paint_words(painter, inner, left)

    def _paint_ground(self, painter: QPainter) -> None:
        c = self._colours
        card = self._card
        edge, width = c.line, 1.0
        if self.isChecked():
            edge, width = c.text, 2.0
        if card is not None and card.is_next and not self.isChecked():
            edge, width = c.accent, 1.5
        if self.underMouse() and not self.isChecked():
            edge = c.accent
        ground = c.raised if self.isChecked() or self.isDown() else c.surface
        painter.setPen(QPen(QColor(edge), width))
        painter.setBrush(QColor(ground))
        half = width / 2.0
        box = QRectF(self.rect()).adjusted(half, half, -half, -half)
        painter.drawRoundedRect(box, RADIUS, RADIUS)
        if self.isChecked():
            # A bar along the top, towards what it opened: not told by the edge alone.
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(c.text))
            painter.drawRoundedRect(QRectF(RADIUS * 2, 0, self.width() - RADIUS * 4, 4), 2, 2)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(c.accent), 2.0, Qt.PenStyle.SolidLine))
            painter.drawRoundedRect(box.adjusted(2.5, 2.5, -2.5, -2.5), RADIUS - 2, RADIUS - 2)

    def _paint_thumbnail(self, painter: QPainter, box: QRectF) -> None:
        """Paint the picture in its frame, or a dashed frame where one will come."""
        frame = QPainterPath()
        frame.addRoundedRect(box, 4.0, 4.0)
        if self._image.isNull():
            painter.strokePath(frame, QPen(QColor(self._colours.line), 1.2, Qt.PenStyle.DashLine))
            return
        painter.save()
        painter.setClipPath(frame)
        painter.drawImage(box, self._image)
        painter.restore()
        painter.strokePath(frame, QPen(QColor(self._colours.outline), 1.0))

    def _paint_words(self, painter: QPainter, inner: QRectF, figures_left: float) -> None:
        card = self._card
        if card is None:
            return
        self._paint_head(painter, QRectF(inner.left(), inner.top(), inner.width(), _LINE_PX))
        room = inner.bottom() - inner.top() - _LINE_PX - _GAP_PX
        line = min(_LINE_PX + 2.0, room / 3.0)
        top = inner.top() + _LINE_PX + _GAP_PX
        for at, text in enumerate(card.figures):
            is_number = text[:1] in "XY"
            painter.setFont(self._figure_font(small=not is_number))
            painter.setPen(QColor(self._colours.text if is_number else self._colours.muted))
            row = QRectF(figures_left, top + at * line, inner.right() - figures_left, line)
            shown = QFontMetricsF(painter.font()).elidedText(
                text, Qt.TextElideMode.ElideRight, row.width() + 1.0
            )
            painter.drawText(row, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, shown)

    def _paint_head(self, painter: QPainter, row: QRectF) -> None:
        """Paint the title at the left; shape and word of the state behind it, or at the foot."""
        card = self._card
        if card is None:
            return
        c = self._colours
        flags = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft
        painter.setFont(text_font(_TITLE_PX, bold=True))
        painter.setPen(QColor(c.text))
        painter.drawText(row, flags, card.title)
        left = row.left() + QFontMetricsF(painter.font()).horizontalAdvance(card.title) + _GAP_PX
        if card.is_reference:
            mark = QRectF(left - 2.0, row.center().y() - 5.0, 12.0, 12.0)
            paint_state(painter, mark, State.REFERENCE, c)
            left += 14.0
        if card.key == SCALE_KEY:
            # Its title is long, and no thumbnail takes the room below.
            inner = QRectF(self.rect()).adjusted(_PAD_PX, _PAD_PX, -_PAD_PX, -_PAD_PX)
            row.moveBottom(inner.bottom() + 1.0)
            left = inner.left()
        row.setLeft(left)
        self._paint_standing(painter, row, card)

    def _paint_standing(self, painter: QPainter, row: QRectF, card: Card) -> None:
        """Paint shape and word of the state; the short word where the other does not fit."""
        c = self._colours
        top = row.center().y() - _SHAPE_PX / 2.0
        square = QRectF(row.left(), top, _SHAPE_PX, _SHAPE_PX)
        paint_state(painter, square, card.state, c)
        painter.setFont(text_font(SMALL_PX))
        painter.setPen(QColor(c.text if card.is_next else c.muted))
        metrics = QFontMetricsF(painter.font())
        words = row.adjusted(_SHAPE_PX + 4.0, 0.0, 1.0, 0.0)
        fits = metrics.horizontalAdvance(card.word) <= words.width()
        word = card.word if fits else card.short_word
        shown = metrics.elidedText(word, Qt.TextElideMode.ElideRight, words.width())
        painter.drawText(words, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, shown)

    def _figures_wide(self) -> float:
        card = self._card
        if card is None:
            return 0.0
        return max(
            (
                QFontMetricsF(self._figure_font(small=text[:1] not in "XY")).horizontalAdvance(text)
                for text in card.figures
            ),
            default=0.0,
        )

    @staticmethod
    def _figure_font(*, small: bool) -> QFont:
        return text_font(SMALL_PX) if small else figure_font(_FIGURE_PX)


def _grey(thumbnail: NDArray[np.uint8] | None) -> QImage:
    """Return a copy as an image, so that the array's memory is not leant on."""
    if thumbnail is None:
        return QImage()
    rows = np.ascontiguousarray(thumbnail)
    height, width = rows.shape
    return QImage(rows.data, width, height, width, QImage.Format.Format_Grayscale8).copy()
