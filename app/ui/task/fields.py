"""Fields for coordinates: digits stay in them, all other keys go on to the window."""

from __future__ import annotations

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QKeySequence, QMouseEvent, QValidator
from PySide6.QtWidgets import QGridLayout, QLabel, QLineEdit, QWidget

from app.job.by_hand import AxisEntry
from app.ui.look.colours import Colours
from app.ui.look.parts import ElidedLabel, StateShape
from app.ui.look.states import State
from app.ui.task.words import Mark, axis_words, field_words, mark_of, mark_sentence, mark_words

_ALLOWED = frozenset("0123456789+-.,")
_EDITING = frozenset(
    {
        Qt.Key.Key_Backspace,
        Qt.Key.Key_Delete,
        Qt.Key.Key_Left,
        Qt.Key.Key_Right,
        Qt.Key.Key_Home,
        Qt.Key.Key_End,
    }
)
_ON = frozenset({Qt.Key.Key_Return, Qt.Key.Key_Enter})
_STANDARD = (
    QKeySequence.StandardKey.SelectAll,
    QKeySequence.StandardKey.Cut,
    QKeySequence.StandardKey.Paste,
    QKeySequence.StandardKey.Redo,
)
_LONGEST = 12
"""Letters that a field takes: no coordinate of a printer is longer."""

_SHAPES = {
    Mark.UNKNOWN: State.WAITING,
    Mark.AGREES: State.GOOD,
    Mark.DOUBTFUL: State.WARNING,
    Mark.PROBLEM: State.BAD,
}


class NumberLetters(QValidator):
    """Lets only the letters of a number in, however they come: typed, pasted or dropped."""

    def validate(self, text: str, at: int) -> tuple[QValidator.State, str, int]:
        """Return the text with all else left out."""
        kept = _kept(text)
        return QValidator.State.Acceptable, kept, len(_kept(text[:at]))


class CoordinateField(QLineEdit):
    """A field for one coordinate.

    Keys that make no number are not taken, so that they reach the window's shortcuts
    while the field has the keyboard: Space takes a sighting from within it.
    """

    entered = Signal()
    """Enter was pressed: on to the next."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._clicked_in = False
        self.setValidator(NumberLetters(self))
        self.setMaxLength(_LONGEST)
        self.setMinimumWidth(64)
        self.setProperty("look", "field")
        self.setContextMenuPolicy(Qt.ContextMenuPolicy.NoContextMenu)

    def event(self, event: QEvent) -> bool:
        """Claim only the keys that are the field's own."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            if self._takes(event):
                event.accept()
                return True
            event.ignore()
            return False
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Take a number's letters and the editing keys; pass all else on."""
        if event.key() in _ON:
            self.entered.emit()
        elif self._takes(event):
            super().keyPressEvent(event)
        else:
            event.ignore()

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Select all, so that typing replaces it."""
        super().focusInEvent(event)
        self._clicked_in = event.reason() == Qt.FocusReason.MouseFocusReason
        self.selectAll()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Keep all selected after the click that brought the keyboard here."""
        super().mouseReleaseEvent(event)
        if self._clicked_in and not self.hasSelectedText():
            self.selectAll()
        self._clicked_in = False

    def follow(self, text: str) -> None:
        """Show a text from outside; cursor and selection stay when it is the same."""
        if text == self.text():
            return
        all_selected = self.hasFocus() and len(self.selectedText()) == len(self.text())
        self.setText(text)
        if all_selected:
            self.selectAll()

    def set_doubtful(self, doubtful: bool) -> None:
        """Outline the field, or not."""
        look = "doubtful" if doubtful else "field"
        if self.property("look") != look:
            self.setProperty("look", look)
            self.style().unpolish(self)
            self.style().polish(self)

    def _takes(self, event: QKeyEvent) -> bool:
        if event.key() in _ON:
            return True
        if any(event.matches(key) for key in _STANDARD):
            return True
        if event.matches(QKeySequence.StandardKey.Copy):
            return self.hasSelectedText()
        if event.matches(QKeySequence.StandardKey.Undo):
            # With nothing to undo in the field, the key takes back the run's last thing.
            return self.isUndoAvailable()
        held = event.modifiers() & ~(
            Qt.KeyboardModifier.ShiftModifier | Qt.KeyboardModifier.KeypadModifier
        )
        if event.key() in _EDITING:
            return not held or held == Qt.KeyboardModifier.ControlModifier
        return not held and event.text() != "" and set(event.text()) <= _ALLOWED | {"−"}


class AxisField(QWidget):
    """One coordinate: its letter, its field, and what the picture says of it."""

    def __init__(self, axis: str, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.axis = axis
        self.field = CoordinateField(self)
        self.field.setObjectName(f"{axis.lower()}_field")
        self._letter = QLabel(axis, self)
        self._letter.setBuddy(self.field)
        self._shape = StateShape(State.WAITING, colours, size_px=13, parent=self)
        self._word = ElidedLabel(look="small", parent=self)
        self._word.setObjectName(f"{axis.lower()}_mark")
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(5)
        grid.setVerticalSpacing(2)
        grid.addWidget(self._letter, 0, 0, 1, 1)
        grid.addWidget(self.field, 0, 1, 1, 2)
        grid.addWidget(self._shape, 1, 1)
        grid.addWidget(self._word, 1, 2)
        grid.setColumnStretch(2, 1)
        grid.setRowMinimumHeight(1, 15)

    @property
    def mark(self) -> str:
        """The words beside the field."""
        return self._word.text()

    def show_text(self, text: str, entry: AxisEntry, *, decimals: int, as_jogs: bool) -> None:
        """Show what is typed and what is to be said of it."""
        self.field.follow(text)
        letter = axis_words(self.axis, as_jogs=as_jogs)
        if self._letter.text() != letter:
            self._letter.setText(letter)
        what = field_words(self.axis, as_jogs=as_jogs)
        example = f"{0.0:.{decimals}f}"
        if self.field.placeholderText() != example:
            self.field.setPlaceholderText(example)
        if self.field.accessibleName() != letter:
            self.field.setAccessibleName(letter)
        mark, sentence = mark_of(entry), mark_sentence(entry, decimals)
        self.field.set_doubtful(mark in (Mark.DOUBTFUL, Mark.PROBLEM))
        tip = f"{what}.  (Enter: on to the next)\n{sentence}".strip()
        if self.field.toolTip() != tip:
            self.field.setToolTip(tip)
            self.field.setAccessibleDescription(tip)
        self._word.setText(mark_words(entry, decimals))
        self._word.set_tip(sentence)
        if mark in _SHAPES:
            self._shape.set_state(_SHAPES[mark])
        self._shape.setVisible(mark in _SHAPES)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._shape.use_colours(colours)


def _kept(text: str) -> str:
    return "".join(letter for letter in text.replace("−", "-") if letter in _ALLOWED)
