"""A list of things to choose from: a picture, a name, a line of words each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRect, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter, QPen, QPixmap, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QListWidget,
    QListWidgetItem,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from app.ui.look.colours import Colours
from app.ui.look.icons import IconName, icon_pixmap
from app.ui.look.style import GAP, RADIUS, SMALL_PX, text_font

ROW_PX = 56
DOUBTFUL_PX = 22
PICTURE_PX = QSize(56, 42)

_KEY = Qt.ItemDataRole.UserRole
_ROW = Qt.ItemDataRole.UserRole + 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Row:
    """One thing to choose.

    Attributes
    ----------
    key, title, words
        Its own key, its name, and a line about it.
    icon
        Shown while there is no picture.
    picture
        What its camera sees, or None.
    doubtful
        Whether the words tell of something wrong.
    """

    key: str
    title: str
    words: str
    icon: IconName
    picture: QPixmap | None = None
    doubtful: bool = False


class RowList(QListWidget):
    """A list of rows; `picked` tells the key of the one that the person chose."""

    picked = Signal(str)

    def __init__(self, name: str, accessible: str, tip: str, colours: Colours) -> None:
        super().__init__()
        self.setObjectName(name)
        self.setAccessibleName(accessible)
        self.setToolTip(tip)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTabKeyNavigation(False)
        self._delegate = _RowDelegate(colours, self)
        self.setItemDelegate(self._delegate)
        self.currentItemChanged.connect(self._tell)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._delegate.colours = colours
        self.viewport().update()

    def key(self) -> str:
        """Return the key of what is chosen; empty for nothing."""
        return str(self.currentItem().data(_KEY)) if self.currentRow() >= 0 else ""

    def set_rows(self, rows: Sequence[Row], chosen: str) -> None:
        """Show these rows with one chosen; nothing is told."""
        self.blockSignals(True)
        self.clear()
        for row in rows:
            item = QListWidgetItem(self)
            _fill(item, row)
            if row.key == chosen:
                self.setCurrentItem(item)
        self.blockSignals(False)
        self.scrollTo(self.currentIndex())

    def change_row(self, row: Row) -> None:
        """Show a row of the list anew, with its picture or its trouble."""
        for at in range(self.count()):
            item = self.item(at)
            if item.data(_KEY) == row.key:
                _fill(item, row)

    def choose(self, key: str) -> None:
        """Choose a row, as if the person had."""
        for at in range(self.count()):
            if self.item(at).data(_KEY) == key:
                self.setCurrentRow(at)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep what is chosen in view."""
        super().resizeEvent(event)
        self.scrollTo(self.currentIndex())

    def _tell(self) -> None:
        self.picked.emit(self.key())


def _fill(item: QListWidgetItem, row: Row) -> None:
    item.setData(_KEY, row.key)
    item.setData(_ROW, row)
    item.setText(row.title)
    item.setToolTip(f"{row.title}\n{row.words}")
    item.setData(Qt.ItemDataRole.AccessibleTextRole, f"{row.title}, {row.words}")


class _RowDelegate(QStyledItemDelegate):
    """Paints a row."""

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(parent)
        self.colours = colours

    def sizeHint(
        self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> QSize:
        """Return the height of a row: one that tells of trouble has a line more."""
        row = index.data(_ROW)
        doubtful = isinstance(row, Row) and row.doubtful
        return QSize(120, ROW_PX + (DOUBTFUL_PX if doubtful else 0))

    def paint(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        index: QModelIndex | QPersistentModelIndex,
    ) -> None:
        """Paint ground, picture, name and words."""
        row = index.data(_ROW)
        if not isinstance(row, Row):
            return
        area = QRect(option.rect)
        state = option.state
        chosen = bool(state & QStyle.StateFlag.State_Selected)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint_ground(painter, area, chosen=chosen)
        left = self._paint_picture(painter, area, row)
        self._paint_words(painter, area.adjusted(left, 6, -GAP, -6), row)
        painter.restore()

    def _paint_ground(self, painter: QPainter, area: QRect, *, chosen: bool) -> None:
        if not chosen:
            return
        c = self.colours
        painter.setPen(QPen(QColor(c.accent), 2.0))
        painter.setBrush(QColor(c.raised))
        painter.drawRoundedRect(area.adjusted(3, 3, -3, -3), RADIUS, RADIUS)
        # A dot beside the frame: not by the frame's colour alone.
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(c.accent))
        painter.drawEllipse(area.right() - 20, area.center().y() - 4, 9, 9)

    def _paint_picture(self, painter: QPainter, area: QRect, row: Row) -> int:
        c = self.colours
        box = QRect(area.left() + 10, 0, PICTURE_PX.width(), PICTURE_PX.height())
        box.moveTop(area.center().y() - box.height() // 2 + 1)
        if row.picture is not None:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(c.surround))
            painter.drawRoundedRect(box, 4, 4)
            size = row.picture.deviceIndependentSize().toSize()
            fitted = size.scaled(box.size(), Qt.AspectRatioMode.KeepAspectRatio)
            shown = QRect(box.topLeft(), fitted)
            shown.moveCenter(box.center())
            painter.drawPixmap(shown, row.picture)
            return box.right() - area.left() + 11
        side = 24
        drawn = icon_pixmap(row.icon, c.muted, 2 * side)
        box.setWidth(side)
        painter.drawPixmap(QRect(box.left() + 4, area.center().y() - 11, side, side), drawn)
        return 10 + side + 16

    def _paint_words(self, painter: QPainter, area: QRect, row: Row) -> None:
        c = self.colours
        room = area.adjusted(0, 0, -18, 0)
        title = QRect(room.left(), room.top(), room.width(), 22)
        _paint_line(painter, title, row.title, text_font(bold=True), c.text)
        below = QRect(room.left(), room.top() + 23, room.width(), room.height() - 23)
        if not row.doubtful:
            below.setHeight(22)
            _paint_line(painter, below, row.words, text_font(SMALL_PX), c.muted)
            return
        painter.setFont(text_font(SMALL_PX))
        painter.setPen(QColor(c.text))
        painter.drawText(below, Qt.TextFlag.TextWordWrap, row.words)


def _paint_line(painter: QPainter, line: QRect, words: str, font: QFont, colour: str) -> None:
    painter.setFont(font)
    painter.setPen(QColor(colour))
    cut = QFontMetrics(font).elidedText(words, Qt.TextElideMode.ElideRight, line.width())
    painter.drawText(line, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, cut)
