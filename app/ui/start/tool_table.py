"""The form's table of tools: number, bore, stored offset, place by design."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.job.profile import MAX_TOOLS
from app.records.profiles import COMMENTS
from app.ui.look.style import GAP
from app.ui.start.draft import TOOL_COLUMNS, ToolDraft
from app.ui.start.parts import button

_HEADS = {
    "number": ("Tool", COMMENTS["number"]),
    "bore_mm": ("Bore", COMMENTS["bore_mm"]),
    "x": ("Stored X", COMMENTS["stored_raw"]),
    "y": ("Stored Y", COMMENTS["stored_raw"]),
    "z": ("Stored Z", COMMENTS["stored_raw"]),
    "nominal_x": ("Design X", COMMENTS["nominal_mm"]),
    "nominal_y": ("Design Y", COMMENTS["nominal_mm"]),
}

_ROW_PX = 30
_MOST_ROWS_SHOWN = 6


class ToolTable(QWidget):
    """Rows of tools that can be typed in, added and removed."""

    edited = Signal()
    add_wanted = Signal()
    remove_wanted = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("tool_table")
        self.table = QTableWidget(0, len(TOOL_COLUMNS), self)
        self.table.setObjectName("tools")
        self.table.setAccessibleName("Tools")
        self.table.setToolTip("One row a tool; press a key, or double-click, to type.")
        self.table.setTabKeyNavigation(False)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setEditTriggers(
            QAbstractItemView.EditTrigger.AnyKeyPressed
            | QAbstractItemView.EditTrigger.DoubleClicked
            | QAbstractItemView.EditTrigger.SelectedClicked
        )
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setDefaultSectionSize(_ROW_PX)
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        self.table.horizontalHeader().setHighlightSections(False)
        for column, name in enumerate(TOOL_COLUMNS):
            title, tip = _HEADS[name]
            head = QTableWidgetItem(title)
            head.setToolTip(tip)
            self.table.setHorizontalHeaderItem(column, head)
        self.table.itemChanged.connect(lambda _item: self.edited.emit())
        self.add = button("add_tool", "Add a tool", f"Adds a row; {MAX_TOOLS} at most.")
        self.add.clicked.connect(self.add_wanted)
        self.remove = button("remove_tool", "Remove the tool", "Removes the row that is chosen.")
        self.remove.clicked.connect(
            lambda: self.remove_wanted.emit(max(self.table.currentRow(), 0))
        )
        keys = QHBoxLayout()
        keys.setSpacing(GAP)
        keys.addWidget(self.add)
        keys.addWidget(self.remove)
        keys.addStretch(1)
        column_layout = QVBoxLayout(self)
        column_layout.setContentsMargins(0, 0, 0, 0)
        column_layout.setSpacing(GAP)
        column_layout.addWidget(self.table)
        column_layout.addLayout(keys)

    def show_tools(self, tools: tuple[ToolDraft, ...]) -> None:
        """Show these tools; nothing is told."""
        self.table.blockSignals(True)
        self.table.setRowCount(len(tools))
        for row, tool in enumerate(tools):
            for column, name in enumerate(TOOL_COLUMNS):
                words = getattr(tool, name)
                item = self.table.item(row, column)
                if item is None:
                    item = QTableWidgetItem()
                    item.setTextAlignment(
                        Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                    )
                    self.table.setItem(row, column, item)
                item.setText(words)
                item.setToolTip(_HEADS[name][1])
        self.table.blockSignals(False)
        shown = min(len(tools), _MOST_ROWS_SHOWN)
        self.table.setFixedHeight(_ROW_PX * shown + 34)
        self.add.setEnabled(len(tools) < MAX_TOOLS)
        self.remove.setEnabled(len(tools) > 1)

    def tools(self) -> tuple[ToolDraft, ...]:
        """Return what stands in the table."""
        return tuple(
            ToolDraft(
                **{name: self._words(row, column) for column, name in enumerate(TOOL_COLUMNS)}
            )
            for row in range(self.table.rowCount())
        )

    def go_to(self, row: int, column: int) -> None:
        """Put the cursor into a cell."""
        self.table.setCurrentCell(row, column)
        self.table.setFocus()

    def _words(self, row: int, column: int) -> str:
        item = self.table.item(row, column)
        return "" if item is None else item.text()
