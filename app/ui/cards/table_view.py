"""A table of texts: one row is chosen, Ctrl+C copies all of it, its keys act on the row."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QItemSelectionModel, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QFocusEvent,
    QFontMetrics,
    QGuiApplication,
    QIcon,
    QKeyEvent,
    QKeySequence,
    QPainter,
    QPixmap,
    QResizeEvent,
)
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QSizePolicy,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app.ui.cards.entries import Row, Table
from app.ui.look.colours import Colours
from app.ui.look.shapes import paint_state
from app.ui.look.states import State
from app.ui.look.style import SMALL_PX, figure_font, text_font

_ROW_PX = 24
_MOST_ROWS = 8
_PAD_PX, _TIGHT_PAD_PX = 18, 13
_SHAPE_PX = 14
_ON = frozenset({Qt.Key.Key_Return, Qt.Key.Key_Enter})
_STATE = "state"


class EntryTable(QTableWidget):
    """The rows of a `Table`.

    Signals
    -------
    chosen
        Another row, or none, is chosen.
    opened, removed
        Enter, or Del, was pressed on the chosen row.
    copied
        The table was put on the clipboard.
    focus_changed
        The keyboard came to the table, or left it: only here its keys act.
    """

    chosen = Signal()
    opened = Signal()
    removed = Signal()
    copied = Signal()
    focus_changed = Signal()

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._table: Table | None = None
        self._bare_px: list[int] = []
        self._is_wide = False
        self.setFont(text_font(SMALL_PX))
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        self.setShowGrid(False)
        self.setCornerButtonEnabled(False)
        self.setIconSize(QSize(_SHAPE_PX, _SHAPE_PX))
        self.verticalHeader().hide()
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.verticalHeader().setDefaultSectionSize(_ROW_PX)
        self.horizontalHeader().setSectionsClickable(False)
        self.horizontalHeader().setHighlightSections(False)
        self.horizontalHeader().setFont(text_font(SMALL_PX))
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.itemSelectionChanged.connect(self.chosen)

    @property
    def table(self) -> Table | None:
        """What is shown."""
        return self._table

    def show_table(self, table: Table | None) -> None:
        """Show a table; the chosen entry stays chosen. Hidden while there is none."""
        self.setVisible(table is not None)
        if table == self._table or table is None:
            self._table = table
            return
        chosen = self.chosen_row()
        self._table = table
        title = table.name[:1].upper() + table.name[1:]
        self.setAccessibleName(title)
        self.setToolTip(f"{title}; the arrow keys go from line to line")
        self.blockSignals(True)
        self._fill(table)
        self._choose(None if chosen is None else chosen.number)
        self.blockSignals(False)
        self.updateGeometry()
        self.chosen.emit()

    def chosen_row(self) -> Row | None:
        """Return the row that is chosen; None when none is."""
        rows = self.selectionModel().selectedRows()
        if not rows or self._table is None or rows[0].row() >= len(self._table.rows):
            return None
        return self._table.rows[rows[0].row()]

    def copy(self) -> None:
        """Put the whole table on the clipboard."""
        if self._table is not None:
            QGuiApplication.clipboard().setText(self._table.text())
            self.copied.emit()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        if self._table is not None:
            for at, row in enumerate(self._table.rows):
                self._mark(at, row, self._table)

    def event(self, event: QEvent) -> bool:
        """Claim Ctrl+C, Del and Enter before the window's shortcuts do."""
        if (
            event.type() == QEvent.Type.ShortcutOverride
            and isinstance(event, QKeyEvent)
            and self._is_own(event)
        ):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Copy, take out, open; the arrows choose a row; all else is the window's."""
        if event.matches(QKeySequence.StandardKey.Copy):
            self.copy()
        elif event.key() == Qt.Key.Key_Delete:
            self.removed.emit()
        elif event.key() in _ON:
            self.opened.emit()
        elif event.text().isprintable() and event.text():
            event.ignore()
        else:
            super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Say that the table's keys act now; choose a row where none is."""
        super().focusInEvent(event)
        if self.chosen_row() is None and self.rowCount():
            self.selectRow(0)
        self.focus_changed.emit()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Say that the table's keys no longer act."""
        super().focusOutEvent(event)
        self.focus_changed.emit()

    def sizeHint(self) -> QSize:
        """Return the height of all rows, or of eight."""
        count = 0 if self._table is None else len(self._table.rows)
        high = self.horizontalHeader().sizeHint().height() + min(count, _MOST_ROWS) * _ROW_PX + 4
        if self._is_wide:
            high += self.horizontalScrollBar().sizeHint().height()
        return QSize(400, high)

    def minimumSizeHint(self) -> QSize:
        """Return the same height at the least width."""
        return QSize(200, self.sizeHint().height())

    def _is_own(self, event: QKeyEvent) -> bool:
        is_copy = event.matches(QKeySequence.StandardKey.Copy)
        return is_copy or event.key() == Qt.Key.Key_Delete or event.key() in _ON

    def _fill(self, table: Table) -> None:
        self.clear()
        self.setRowCount(len(table.rows))
        self.setColumnCount(len(table.headers))
        for column, head in enumerate(table.headers):
            title = QTableWidgetItem(head)
            title.setTextAlignment(_side(head) | Qt.AlignmentFlag.AlignVCenter)
            self.setHorizontalHeaderItem(column, title)
        for at, row in enumerate(table.rows):
            for column, text in enumerate(row.cells):
                item = QTableWidgetItem(text)
                side = _side(table.headers[column])
                item.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
                item.setFont(figure_font(SMALL_PX, bold=False))
                item.setToolTip(row.tip or text)
                self.setItem(at, column, item)
            self._mark(at, row, table)
        self._measure(table)
        self._share_out()

    def _mark(self, at: int, row: Row, table: Table) -> None:
        if _STATE not in table.headers:
            return
        item = self.item(at, table.headers.index(_STATE))
        if item is not None:
            item.setIcon(_icon(state_of(row), self._colours))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share the width out anew."""
        super().resizeEvent(event)
        self._share_out()

    def _measure(self, table: Table) -> None:
        metrics = QFontMetrics(text_font(SMALL_PX))
        self._bare_px = []
        for column, head in enumerate(table.headers):
            texts = [head, *(row.cells[column] for row in table.rows)]
            shape = _SHAPE_PX + 6 if head == _STATE else 0
            self._bare_px.append(max(metrics.horizontalAdvance(t) for t in texts) + shape)

    def _share_out(self) -> None:
        """Give each column its room and an equal part of what is left; scroll if need be."""
        count = len(self._bare_px)
        if not count:
            return
        room = self.viewport().width()
        pad = _PAD_PX if sum(self._bare_px) + count * _PAD_PX <= room else _TIGHT_PAD_PX
        spare = room - sum(self._bare_px) - count * pad
        more, rest = divmod(max(spare, 0), count)
        for column, bare in enumerate(self._bare_px):
            last = rest if column == count - 1 else 0
            self.setColumnWidth(column, bare + pad + more + last)
        if (spare < 0) != self._is_wide:
            self._is_wide = spare < 0
            self.updateGeometry()

    def _choose(self, number: int | None) -> None:
        self.clearSelection()
        if self._table is None or number is None:
            return
        at = next((i for i, row in enumerate(self._table.rows) if row.number == number), None)
        if at is None:
            return
        flag = QItemSelectionModel.SelectionFlag
        index = self.model().index(at, 0)
        self.selectionModel().setCurrentIndex(index, flag.ClearAndSelect | flag.Rows)


def _side(head: str) -> Qt.AlignmentFlag:
    """Return to which side a column is set: numbers to the right, words to the left."""
    return Qt.AlignmentFlag.AlignLeft if head == _STATE else Qt.AlignmentFlag.AlignRight


def state_of(row: Row) -> State:
    """Return the state whose shape stands in a row."""
    if row.struck:
        return State.STRUCK
    if not row.counts or row.doubtful:
        return State.WARNING
    return State.GOOD


def _icon(state: State, colours: Colours) -> QIcon:
    side = 2 * _SHAPE_PX
    made = QPixmap(side, side)
    made.fill(Qt.GlobalColor.transparent)
    painter = QPainter(made)
    paint_state(painter, QRectF(0.0, 0.0, side, side), state, colours)
    painter.end()
    icon = QIcon()
    for mode in (QIcon.Mode.Normal, QIcon.Mode.Selected):
        icon.addPixmap(made, mode)
    return icon
