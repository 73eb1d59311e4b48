"""The page of keys (F1): every action with its key, from the one table of keys."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QFrame, QGridLayout, QLabel, QScrollArea, QVBoxLayout, QWidget

from app.ui import keys
from app.ui.look.colours import Colours
from app.ui.look.parts import KeyButton, WrapLabel
from app.ui.look.style import GAP


class KeyPage(QFrame):
    """Lies over the picture until it is closed."""

    closed = Signal()

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("key_page")
        self.setProperty("look", "panel")
        self.setAccessibleName("Keys")
        title = QLabel("Keys", self)
        title.setProperty("look", "title")
        self._close = KeyButton("Close", keys.STOP, colours, look="quiet", parent=self)
        self._close.setObjectName("close_keys")
        self._close.clicked.connect(self.closed)
        inner = QWidget(self)
        grid = QGridLayout(inner)
        grid.setContentsMargins(0, 0, GAP, 0)
        grid.setHorizontalSpacing(2 * GAP)
        grid.setColumnStretch(1, 1)
        for at, key in enumerate(keys.ALL):
            cap = QLabel(key.shown, inner)
            cap.setTextFormat(Qt.TextFormat.PlainText)
            words = WrapLabel(key.words, parent=inner)
            words.setProperty("look", "muted")
            grid.addWidget(cap, at, 0, Qt.AlignmentFlag.AlignTop)
            grid.addWidget(words, at, 1)
        scroll = QScrollArea(self)
        scroll.setObjectName("key_list")
        scroll.setAccessibleName("All keys")
        scroll.setToolTip("All keys; the arrow keys scroll")
        scroll.setWidget(inner)
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        column = QVBoxLayout(self)
        column.setContentsMargins(2 * GAP, GAP, 2 * GAP, GAP)
        top = QGridLayout()
        top.addWidget(title, 0, 0)
        top.addWidget(self._close, 0, 1, Qt.AlignmentFlag.AlignRight)
        column.addLayout(top)
        column.addWidget(scroll, 1)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._close.use_colours(colours)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Close on Esc."""
        if event.key() == Qt.Key.Key_Escape:
            self.closed.emit()
            return
        super().keyPressEvent(event)
