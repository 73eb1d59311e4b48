"""The strip that tells what is not about the step at hand: a full disk, light that drifts."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QSizePolicy, QWidget

from app.ui.look.colours import Colours
from app.ui.look.parts import StateShape, WrapLabel
from app.ui.look.states import State
from app.ui.look.style import GAP, RADIUS
from app.ui.state import Notice, Weight

_WEIGHT_STATES = {
    Weight.NOTE: State.NEXT,
    Weight.WARNING: State.WARNING,
    Weight.FAULT: State.BAD,
}


class NoticeStrip(QWidget):
    """What else is to be said: one notice at a time, the weightiest first.

    Hidden while there is none. Emits `retry` with the notice's key when its button
    is pressed.
    """

    retry = Signal(str)

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._notices: tuple[Notice, ...] = ()
        self._at = 0
        self.setObjectName("notices")
        self.setAccessibleName("Notices")
        self._shape = StateShape(State.WARNING, colours, size_px=18, parent=self)
        self._sentence = WrapLabel(parent=self)
        self._sentence.setObjectName("notice_sentence")
        self._retry = QPushButton(self)
        self._retry.setObjectName("notice_retry")
        self._retry.clicked.connect(self._ask_again)
        self._step = QPushButton(self)
        self._step.setObjectName("notice_step")
        self._step.setProperty("look", "quiet")
        self._step.clicked.connect(self._show_next)
        row = QHBoxLayout(self)
        row.setContentsMargins(GAP + 4, GAP, GAP, GAP)
        row.setSpacing(GAP)
        row.addWidget(self._shape, 0, Qt.AlignmentFlag.AlignVCenter)
        row.addWidget(self._sentence, 1, Qt.AlignmentFlag.AlignVCenter)
        row.addWidget(self._retry, 0, Qt.AlignmentFlag.AlignVCenter)
        row.addWidget(self._step, 0, Qt.AlignmentFlag.AlignVCenter)
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.hide()

    def show_state(self, notices: tuple[Notice, ...]) -> None:
        """Show these notices; stay at the one that is being read unless a weightier came."""
        if notices == self._notices:
            return
        reading = self._notices[self._at].key if self._notices else None
        top_is_new = bool(notices) and notices[0].key not in {n.key for n in self._notices}
        keys = [notice.key for notice in notices]
        self._notices = notices
        self._at = keys.index(reading) if reading in keys and not top_is_new else 0
        self._show_present()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self._shape.use_colours(colours)
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the strip's ground and a bar in the colour of its weight."""
        if not self._notices:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(self._colours.outline), 1.0))
        painter.setBrush(QColor(self._colours.raised))
        box = QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5)
        painter.drawRoundedRect(box, RADIUS, RADIUS)

    def _show_present(self) -> None:
        self.setVisible(bool(self._notices))
        if not self._notices:
            return
        notice = self._notices[self._at]
        count = len(self._notices)
        self._shape.set_state(_WEIGHT_STATES[notice.weight])
        self._shape.setAccessibleName(notice.weight.value)
        self._sentence.setText(notice.sentence)
        self.setAccessibleDescription(f"{notice.weight.value}: {notice.sentence}")
        self._retry.setText(notice.retry)
        self._retry.setAccessibleName(notice.retry)
        self._retry.setToolTip(f"{notice.retry}: {notice.sentence}")
        self._retry.setVisible(bool(notice.retry))
        self._step.setText(f"{self._at + 1} of {count}")
        self._step.setAccessibleName(f"Notice {self._at + 1} of {count}: show the next")
        self._step.setToolTip("Show the next notice")
        self._step.setVisible(count > 1)
        self.updateGeometry()
        self.update()

    def _show_next(self) -> None:
        self._at = (self._at + 1) % len(self._notices)
        self._show_present()

    def _ask_again(self) -> None:
        self.retry.emit(self._notices[self._at].key)
