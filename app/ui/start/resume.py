"""The card that offers to go on with a run that has no end yet."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from app.ui.look.colours import Colours
from app.ui.look.parts import ElidedLabel, StateShape
from app.ui.look.states import State
from app.ui.look.style import GAP
from app.ui.start.parts import button


class ResumeCard(QFrame):
    """Says which run is unfinished, and asks whether to go on with it."""

    go_on_wanted = Signal()
    leave_wanted = Signal()

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("resume_card")
        self.setProperty("look", "card")
        self._shape = StateShape(State.NEXT, colours, size_px=20, parent=self)
        title = QLabel("A run is not finished", self)
        title.setProperty("look", "title")
        self.words = ElidedLabel(parent=self)
        self.words.setObjectName("resume_words")
        self.reason = ElidedLabel(look="small", parent=self)
        self.reason.setObjectName("resume_reason")
        self.go_on = button("go_on", "Go on", "Goes on with this run where it stood.")
        self.go_on.clicked.connect(self.go_on_wanted)
        self.leave = button(
            "leave_run", "Leave it", "Leaves the run in the records, and does not ask again."
        )
        self.leave.clicked.connect(self.leave_wanted)
        text = QVBoxLayout()
        text.setSpacing(2)
        for label in (title, self.words, self.reason):
            text.addWidget(label)
        row = QHBoxLayout(self)
        row.setContentsMargins(16, 10, 16, 10)
        row.setSpacing(GAP + 4)
        row.addWidget(self._shape)
        row.addLayout(text, 1)
        row.addWidget(self.go_on)
        row.addWidget(self.leave)

    def show_run(self, words: str, reason: str) -> None:
        """Show a run in a line, and why it cannot go on; empty when it can."""
        self.words.setText(words)
        self.reason.setText(reason)
        self.reason.setVisible(bool(reason))
        self.go_on.setEnabled(not reason)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._shape.use_colours(colours)
