"""Two fields that put another position in an entry's place, in a line under the table."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QPushButton, QWidget

from app.job.facts import Position
from app.job.places import position_problem
from app.job.profile import Profile
from app.ui.cards.entries import Row
from app.ui.intentions import Retype
from app.ui.look.parts import WrapLabel
from app.ui.look.style import GAP
from app.ui.task.fields import CoordinateField
from app.ui.task.words import number_of


class RetypeLine(QWidget):
    """Fields for X and Y, a button to take them and one to leave it.

    Signals
    -------
    wanted
        A `Retype` with a position that can be one.
    closed
        It was left, or the position was taken.
    """

    wanted = Signal(object)
    closed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._row: Row | None = None
        self._profile: Profile | None = None
        self.setObjectName("retype_line")
        self._what = QLabel(self)
        self._x, self._y = self._field("x"), self._field("y")
        self._take = QPushButton("Put in", self)
        self._take.setObjectName("retype_take")
        self._take.setAccessibleName("Put the retyped position in")
        self._take.setToolTip("Put this position in the entry's place  (Enter)")
        self._take.clicked.connect(self._put_in)
        self._leave = QPushButton("Leave it", self)
        self._leave.setObjectName("retype_leave")
        self._leave.setProperty("look", "quiet")
        self._leave.setAccessibleName("Leave the position as it is")
        self._leave.setToolTip("Leave the position as it is  (Esc)")
        self._leave.clicked.connect(self.close_line)
        self._problem = WrapLabel(look="small", parent=self)
        self._problem.setObjectName("retype_problem")
        self._lay_out()
        self.hide()

    @property
    def number(self) -> int | None:
        """The entry that is being retyped; None while closed."""
        return None if self._row is None or self.isHidden() else self._row.number

    def open_line(self, row: Row, profile: Profile, decimals: int) -> None:
        """Offer a row's position for editing; the picture's suggestion where there is one."""
        place = row.suggested or row.position
        if place is None:
            return
        self._row, self._profile = row, profile
        self._what.setText(row.name)
        self._x.setText(f"{place.x:.{decimals}f}")
        self._y.setText(f"{place.y:.{decimals}f}")
        self._say("The picture's suggestion is filled in." if row.suggested else "")
        self.show()
        self._x.setFocus(Qt.FocusReason.OtherFocusReason)
        self._x.selectAll()

    def close_line(self) -> None:
        """Leave it."""
        if not self.isHidden():
            self.hide()
            self._row = None
            self.closed.emit()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Let Esc in a field leave it, before the window closes the whole card by it."""
        if isinstance(event, QKeyEvent) and event.key() == Qt.Key.Key_Escape:
            if event.type() == QEvent.Type.ShortcutOverride:
                event.accept()
                return True
            if event.type() == QEvent.Type.KeyPress:
                self.close_line()
                return True
        return super().eventFilter(watched, event)

    def _put_in(self) -> None:
        row, profile = self._row, self._profile
        x, y = number_of(self._x.text()), number_of(self._y.text())
        if row is None or row.number is None or row.position is None or profile is None:
            return
        if x is None or y is None:
            self._say(f"{'X' if x is None else 'Y'} is no number: type what the display showed.")
            return
        place = Position(x, y, row.position.z)
        problem = position_problem(profile, place)
        if problem is not None:
            self._say(problem)
            return
        number = row.number
        self.close_line()
        self.wanted.emit(Retype(number=number, position=place))

    def _say(self, sentence: str) -> None:
        self._problem.setText(sentence)
        self._problem.setVisible(bool(sentence))

    def _field(self, axis: str) -> CoordinateField:
        field = CoordinateField(self)
        field.setObjectName(f"retype_{axis}")
        field.setAccessibleName(f"{axis.upper()} of the retyped position")
        field.setToolTip(f"{axis.upper()} as the display showed it, in mm  (Enter: put it in)")
        field.setMaximumWidth(110)
        field.entered.connect(self._put_in)
        field.installEventFilter(self)
        return field

    def _lay_out(self) -> None:
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        line = QHBoxLayout()
        line.setSpacing(GAP)
        line.addWidget(self._what)
        for letter, field in (("X", self._x), ("Y", self._y)):
            line.addWidget(QLabel(letter, self))
            line.addWidget(field)
        line.addStretch(1)
        buttons = QHBoxLayout()
        buttons.setSpacing(GAP)
        buttons.addWidget(self._take)
        buttons.addWidget(self._leave)
        buttons.addStretch(1)
        grid.addLayout(line, 0, 0)
        grid.addWidget(self._problem, 1, 0)
        grid.addLayout(buttons, 2, 0)
