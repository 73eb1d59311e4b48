"""Text to paste in its box, and the row that asks where a file goes."""

from __future__ import annotations

import math
from pathlib import Path

from PySide6.QtCore import QEvent, QSize, Qt, Signal
from PySide6.QtGui import QFontDatabase, QKeyEvent, QKeySequence, QResizeEvent, QTextOption
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLineEdit,
    QPlainTextEdit,
    QPushButton,
    QSizePolicy,
    QWidget,
)

from app.ui.intentions import FileKind
from app.ui.look.parts import ElidedLabel
from app.ui.look.style import GAP, SMALL_PX

_KIND_WORDS = {FileKind.TEXT: "text", FileKind.CSV: "CSV", FileKind.JSON: "JSON"}
_BOX_MARGIN_PX = 14


class TextBox(QPlainTextEdit):
    """Read-only text in letters of one width, as high as all of its lines."""

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.setToolTip(
            f"{name}: mark what you want and copy it, or take all with the button above"
        )
        self.setReadOnly(True)
        self.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse
            | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self.setTabChangesFocus(True)
        font = QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont)
        font.setPixelSize(SMALL_PX)
        self.setFont(font)
        self.setWordWrapMode(QTextOption.WrapMode.WrapAtWordBoundaryOrAnywhere)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.document().setDocumentMargin(0.0)
        self.document().documentLayout().documentSizeChanged.connect(self._hold_height)

    def show_text(self, text: str) -> None:
        """Show another text; nothing happens when it is the same."""
        if text != self.toPlainText():
            self.setPlainText(text)
            self._hold_height()

    def minimumSizeHint(self) -> QSize:
        """Return a small width, so that no line widens the sheet."""
        return QSize(80, self.minimumHeight())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Hold the height to the lines that the new width makes."""
        super().resizeEvent(event)
        self._hold_height()

    def event(self, event: QEvent) -> bool:
        """Leave the key for copying to the window where nothing is selected here."""
        if (
            event.type() is QEvent.Type.ShortcutOverride
            and isinstance(event, QKeyEvent)
            and event.matches(QKeySequence.StandardKey.Copy)
            and not self.textCursor().hasSelection()
        ):
            event.ignore()
            return False
        return super().event(event)

    def _hold_height(self) -> None:
        layout, block, high = self.document().documentLayout(), self.document().begin(), 0.0
        while block.isValid():
            high += layout.blockBoundingRect(block).height()
            block = block.next()
        need = math.ceil(high) + _BOX_MARGIN_PX + 2
        if need != self.height() or need != self.minimumHeight():
            self.setFixedHeight(need)


class SaveRow(QFrame):
    """Asks where a file goes: a path, Save and Cancel; hidden until it is asked for."""

    chosen = Signal(object, str)
    """The kind and the path, when Save was pressed."""
    closed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("save_row")
        self._kind = FileKind.TEXT
        self._label = ElidedLabel(parent=self)
        self._label.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.path = QLineEdit(self)
        self.path.setObjectName("save_path")
        self.path.setAccessibleName("File to save to")
        self.path.setToolTip("Where the file goes; a name that is taken gets a number  (Enter)")
        self._save = QPushButton("Save", self)
        self._save.setObjectName("save_now")
        self._save.setAccessibleName("Save")
        self._save.setToolTip("Save to this file  (Enter)")
        self._cancel = QPushButton("Cancel", self)
        self._cancel.setObjectName("save_cancel")
        self._cancel.setAccessibleName("Cancel saving")
        self._cancel.setToolTip("Save nothing  (Esc)")
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(GAP)
        row.addWidget(self._label)
        row.addWidget(self.path, 1)
        row.addWidget(self._save)
        row.addWidget(self._cancel)
        self.path.returnPressed.connect(self._choose)
        self.path.textChanged.connect(lambda text: self._save.setEnabled(bool(text.strip())))
        self._save.clicked.connect(self._choose)
        self._cancel.clicked.connect(self.close_row)
        self.hide()

    def ask(self, kind: FileKind, path: Path) -> None:
        """Open with this path, its name ready to be typed over."""
        self._kind = kind
        self._label.setText(f"Save {_KIND_WORDS[kind]} as")
        self._label.setFixedWidth(self._label.fontMetrics().horizontalAdvance("Save JSON as") + 4)
        self.path.setText(str(path))
        self.show()
        self.path.setFocus(Qt.FocusReason.ShortcutFocusReason)
        at = len(str(path)) - len(path.name)
        self.path.setSelection(at, len(path.stem))

    def close_row(self) -> None:
        """Close without saving."""
        self.hide()
        self.closed.emit()

    def event(self, event: QEvent) -> bool:
        """Take Esc for cancelling while the row has the keys."""
        if isinstance(event, QKeyEvent) and event.key() == Qt.Key.Key_Escape:
            if event.type() is QEvent.Type.ShortcutOverride:
                event.accept()
                return True
            if event.type() is QEvent.Type.KeyPress:
                self.close_row()
                return True
        return super().event(event)

    def _choose(self) -> None:
        path = self.path.text().strip()
        if path:
            self.hide()
            self.chosen.emit(self._kind, path)
