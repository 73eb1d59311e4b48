"""The correction panel: how to jog, in figures that are read from two metres."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from app.ui.look.colours import Colours
from app.ui.look.parts import WrapLabel
from app.ui.look.style import GAP
from app.ui.state import DeskState
from app.ui.task.correction_words import CorrectionWords, correction_words, read_aloud
from app.ui.task.figures import Figures

_LEAST_HIGH_PX = 164
"""The height of two lines of figures and two of words, without margins, so that nothing
below it jumps when a correction comes and goes."""


class CorrectionPanel(QWidget):
    """Shows the jogs that are asked for, how sure they are, and how far off the bore is."""

    wanted = Signal(object)
    """As every part has it; this one asks for nothing."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._words: CorrectionWords | None = None
        self.setObjectName("correction")
        self.setProperty("look", "panel")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        # Fixed would hold the height to the hint, which is that of the narrowest column.
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.setToolTip("How to jog to bring the bore to the target, in the machine's own axes")
        self._figures = Figures(colours, self)
        self._figures.setObjectName("correction_figures")
        self._certainty = self._line("correction_certainty", "")
        self._distance = self._line("correction_distance", "")
        self._quiet = self._line("correction_quiet", "muted")
        held = QHBoxLayout(self)
        held.setContentsMargins(GAP + 4, GAP + 4, GAP + 4, GAP)
        held.setSpacing(0)
        # A least height of the widget would stand for its layout's: figures would be cut.
        held.addStrut(_LEAST_HIGH_PX)
        column = QVBoxLayout()
        held.addLayout(column, 1)
        column.setSpacing(2)
        column.addWidget(self._figures)
        column.addSpacing(6)
        for label in (self._certainty, self._distance, self._quiet):
            column.addWidget(label)
        column.addStretch(1)

    def show_state(self, state: DeskState) -> None:
        """Show how to jog now, or why there is nothing to jog."""
        words = correction_words(state)
        if words == self._words:
            return
        self._words = words
        self._figures.setVisible(bool(words.lines))
        self._figures.show_lines(words.lines)
        for label, text in (
            (self._certainty, words.certainty),
            (self._distance, words.distance),
            (self._quiet, words.quiet),
        ):
            label.setText(text)
            label.setVisible(bool(text))
        self.setAccessibleName("Correction")
        self.setAccessibleDescription(read_aloud(words))
        self._figures.setAccessibleName(read_aloud(words))

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._figures.use_colours(colours)

    def _line(self, name: str, look: str) -> WrapLabel:
        label = WrapLabel(look=look, parent=self)
        label.setObjectName(name)
        label.hide()
        return label
