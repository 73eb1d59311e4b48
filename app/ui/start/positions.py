"""The choice of how positions are told."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFrame, QLabel, QVBoxLayout, QWidget

from app.job.facts import PositionMode
from app.job.places import mode_problem
from app.job.profile import Profile
from app.ui.look.parts import WrapLabel
from app.ui.start.choice import possible_mode
from app.ui.start.parts import Choice
from app.ui.start.words import CONNECTED_REASON, CONNECTED_WORDS, MODE_WORDS

_TIPS = {
    PositionMode.SHOWN: "You read X and Y from the machine's display and type them in.",
    PositionMode.JOGS_ONLY: "For panels that show no position: you count the jogs you make.",
}


class PositionChoice(QFrame):
    """Radio buttons; what cannot be says why."""

    picked = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("position_choice")
        self._buttons: dict[PositionMode, Choice] = {}
        title = QLabel("How are positions told?", self)
        title.setProperty("look", "title")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(title)
        for mode, words in MODE_WORDS.items():
            made = Choice(words, self)
            made.setObjectName(f"mode_{mode.value.replace('-', '_')}")
            made.setAccessibleName(words)
            made.clicked.connect(lambda _checked=False, mode=mode: self.picked.emit(mode))
            self._buttons[mode] = made
            column.addWidget(made)
        connected = Choice(f"{CONNECTED_WORDS} ({CONNECTED_REASON})", self)
        connected.setObjectName("mode_connected")
        connected.setAccessibleName(connected.text())
        connected.setToolTip("A machine that is told to move through its port; comes later.")
        connected.setEnabled(False)
        column.addWidget(connected)
        self._why = WrapLabel(look="small", parent=self)
        self._why.setObjectName("mode_reason")
        column.addWidget(self._why)

    def controls(self) -> tuple[Choice, ...]:
        """Return what can be chosen, in order."""
        return tuple(self._buttons.values())

    def show_for(self, profile: Profile | None, wanted: PositionMode) -> PositionMode | None:
        """Offer what this machine allows, choose the nearest to what is wanted, return it."""
        problems = {
            mode: "" if profile is None else mode_problem(profile, mode) or ""
            for mode in self._buttons
        }
        mode = wanted if profile is None else possible_mode(profile, wanted)
        for which, made in self._buttons.items():
            made.setEnabled(not problems[which])
            made.setToolTip(problems[which] or _TIPS[which])
            made.setAutoExclusive(False)
            made.setChecked(which is mode)
            made.setAutoExclusive(True)
        self._why.setText(" ".join(dict.fromkeys(why for why in problems.values() if why)))
        self._why.setVisible(bool(self._why.text()))
        return mode
