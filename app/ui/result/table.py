"""The tables of the result: old and new stored values side by side, in figures of one width."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QWidget

from app.ui.look.colours import Colours
from app.ui.look.parts import Rule, StateShape
from app.ui.look.states import State
from app.ui.look.style import GAP, figure_font, text_font
from app.ui.result.words import HeightRow, ToolRow

_FONT_PX, _COMPACT_FONT_PX = 13, 12
_GAP_PX, _COMPACT_GAP_PX = 14, 7
_ROW_GAP_PX = 6
_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
_GROUPS = (("old stored", 1, 2), ("new stored", 3, 2), ("change", 5, 2), ("U (um)", 7, 2))
_MOSTLY = 9


class _Grid(QWidget):
    """Labels in a grid, built anew only when the rows differ; closer together where narrow."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._cells: list[tuple[QLabel, bool]] = []
        self._marks: list[StateShape] = []
        self._rules: list[Rule] = []
        self._body = QWidget(self)
        self._grid = QGridLayout()
        self._compact: bool | None = None
        self._wide_hint = 0
        self._outer = QHBoxLayout(self)
        self._outer.setContentsMargins(0, 0, 0, 0)
        self._outer.addWidget(self._body)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        for mark in self._marks:
            mark.use_colours(colours)
        for rule in self._rules:
            rule.use_colours(colours)

    def texts(self) -> list[str]:
        """Return what the cells say, row by row."""
        return [label.text() for label, _ in self._cells]

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Move the columns together where they would not fit."""
        super().resizeEvent(event)
        self._fit()

    def _begin(self) -> None:
        self._outer.removeWidget(self._body)
        self._body.hide()
        self._body.setParent(None)
        self._body.deleteLater()
        self._cells, self._marks, self._rules, self._compact = [], [], [], None
        self._body = QWidget(self)
        self._grid = QGridLayout(self._body)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setVerticalSpacing(_ROW_GAP_PX)
        self._outer.addWidget(self._body)
        self._body.show()

    def _end(self) -> None:
        self._fit()
        self.updateGeometry()

    def _put(
        self,
        text: str,
        row: int,
        column: int,
        name: str,
        *,
        columns: int = 1,
        left: bool = False,
        muted: bool = False,
    ) -> None:
        label = QLabel(text, self._body)
        label.setTextFormat(Qt.TextFormat.PlainText)
        label.setAlignment(_LEFT if left else _RIGHT)
        label.setAccessibleName(f"{name}: {text}" if name else text)
        if muted:
            label.setProperty("look", "muted")
        self._cells.append((label, left))
        self._grid.addWidget(label, row, column, 1, columns)

    def _rule(self, row: int, columns: int) -> None:
        rule = Rule(self._colours, self._body)
        self._rules.append(rule)
        self._grid.addWidget(rule, row, 0, 1, columns)

    def _tool(self, tool: int, state: State | None, row: int, said: str) -> None:
        holder = QWidget(self._body)
        line = QHBoxLayout(holder)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(GAP - 2)
        if state is None:
            line.addSpacing(16 + GAP - 2)
        else:
            mark = StateShape(state, self._colours, parent=holder)
            mark.setToolTip(said)
            mark.setAccessibleName(said)
            self._marks.append(mark)
            line.addWidget(mark)
        label = QLabel(f"T{tool}", holder)
        label.setAccessibleName(f"tool {tool}{', ' + said if said else ''}")
        line.addWidget(label)
        line.addStretch(1)
        self._cells.append((label, True))
        self._grid.addWidget(holder, row, 0)

    def _fit(self) -> None:
        if self._compact is None:
            self._space(compact=False)
        wide = self._wide_hint
        compact = wide > self.width()
        if compact != self._compact:
            self._space(compact=compact)

    def _space(self, *, compact: bool) -> None:
        first = self._compact is None
        self._compact = compact
        size = _COMPACT_FONT_PX if compact else _FONT_PX
        for label, left in self._cells:
            label.setFont(text_font(size) if left else figure_font(size, bold=False))
        self._grid.setHorizontalSpacing(_COMPACT_GAP_PX if compact else _GAP_PX)
        if first:
            self._grid.activate()
            self._wide_hint = self._grid.sizeHint().width()


class ToolTable(_Grid):
    """X and Y of every tool: old, new, change, U and what it mostly comes from."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        self.setObjectName("tool_table")
        self.setAccessibleName("Old and new stored offsets")
        self._rows: tuple[ToolRow, ...] = ()

    def show_rows(self, rows: tuple[ToolRow, ...], too_wide: str) -> None:
        """Show these rows; `too_wide` is what the warning shape says."""
        if rows == self._rows:
            return
        self._rows = rows
        self._begin()
        self._head()
        for at, row in enumerate(rows, start=3):
            self._line(row, at, too_wide)
        self._grid.setColumnStretch(_MOSTLY, 1)
        self._end()

    def _head(self) -> None:
        self._put("tool", 1, 0, "", left=True, muted=True)
        for words, column, columns in _GROUPS:
            self._put(words, 0, column, "", columns=columns, muted=True)
            for at, axis in enumerate("XY"):
                self._put(axis, 1, column + at, words, muted=True)
        self._put("mostly", 1, _MOSTLY, "what U mostly comes from", left=True, muted=True)
        self._rule(2, _MOSTLY + 1)

    def _line(self, row: ToolRow, at: int, too_wide: str) -> None:
        said = {State.REFERENCE: "reference", State.WARNING: too_wide}
        self._tool(row.tool, row.state, at, said[row.state] if row.state else "")
        if row.remark:
            self._put(row.remark, at, 1, f"tool {row.tool}", columns=6, left=True, muted=True)
        for (words, column, _), pair in zip(
            _GROUPS, (row.old, row.new, row.change, row.u), strict=True
        ):
            for axis, text in enumerate(pair or ()):
                name = f"tool {row.tool}, {words} {'XY'[axis]}"
                self._put(text, at, column + axis, name)
        self._put(row.mostly, at, _MOSTLY, f"tool {row.tool}, mostly", left=True, muted=True)


class HeightTable(_Grid):
    """Z of every tool, where a stored Z changes."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        self.setObjectName("height_table")
        self.setAccessibleName("Old and new stored heights")
        self._rows: tuple[HeightRow, ...] = ()

    def show_rows(self, rows: tuple[HeightRow, ...]) -> None:
        """Show these rows; hidden while there is none."""
        self.setVisible(bool(rows))
        if rows == self._rows:
            return
        self._rows = rows
        self._begin()
        heads = ("old stored Z", "new stored Z", "change Z", "U Z (um)")
        self._put("tool", 0, 0, "", left=True, muted=True)
        for column, head in enumerate(heads, start=1):
            self._put(head, 0, column, "", muted=True)
        self._rule(1, len(heads) + 2)
        for at, row in enumerate(rows, start=2):
            self._tool(row.tool, None, at, "")
            for column, text in enumerate((row.old, row.new, row.change, row.u), start=1):
                self._put(text, at, column, f"tool {row.tool}, {heads[column - 1]}")
        self._grid.setColumnStretch(len(heads) + 1, 1)
        self._end()
