"""The page of a run: header, picture with its columns, what to jog and to do, the cards."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from app.job.sheet import Done, EnterOffsets, Export, Prepare
from app.ui.cards.details import CardDetails
from app.ui.cards.row import CardRow
from app.ui.centre import DETAILS_PX, KEYS_PX, Centre
from app.ui.handset.handset import Handset
from app.ui.header import Header
from app.ui.key_page import KeyPage
from app.ui.look.colours import Colours
from app.ui.look.notices import NoticeStrip
from app.ui.look.style import GAP
from app.ui.picture.columns import Columns
from app.ui.picture.live_view import LiveView
from app.ui.result.sheet import ResultSheet
from app.ui.state import DeskState
from app.ui.task.correction import CorrectionPanel
from app.ui.task.panel import TaskPanel
from app.wiring.glance import Shown

NARROWEST_RIGHT_PX, WIDEST_RIGHT_PX = 300, 520


def right_width_px(window_px: int) -> int:
    """Return the width of the right column: 300 at 1024, 330 at 1280, never over 520."""
    wanted = round(180 + 0.117 * window_px)
    return min(max(wanted, NARROWEST_RIGHT_PX), WIDEST_RIGHT_PX)


class RunPage(QWidget):
    """All parts of a run in their places; each renders the state and emits what is wanted.

    Parameters
    ----------
    handset
        The bench's own panel, or None for a real machine.
    """

    wanted = Signal(object)
    retry = Signal(str)

    def __init__(
        self, colours: Colours, *, handset: Handset | None = None, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setObjectName("run_page")
        self.header = Header(colours, has_handset=handset is not None, parent=self)
        self.notices = NoticeStrip(colours, self)
        self.handset = handset
        self.columns = Columns(colours, self)
        self.live = LiveView(colours, self)
        self.result = ResultSheet(colours, self)
        self.centre = Centre(self)
        self.details = CardDetails(colours, self.centre)
        self.keys = KeyPage(colours, self.centre)
        self.correction = CorrectionPanel(colours, self)
        self.task = TaskPanel(colours, self)
        self.cards = CardRow(colours, self)
        self._right = QWidget(self)
        self._open_card: str | None = None
        self._lay_out()
        self._connect()

    def show_state(self, state: DeskState) -> None:
        """Show a state in all parts."""
        had_field = isinstance(self.focusWidget(), QLineEdit)
        is_result = isinstance(state.step, Export | EnterOffsets | Done)
        self.header.show_state(state)
        self.notices.show_state(state.notices)
        self.columns.show_state(state)
        self.live.show_state(state)
        if is_result:
            self.result.show_state(state)
        self.centre.show_page(self.result if is_result else self.live)
        has_jogs = not is_result and not isinstance(state.step, Prepare)
        self.correction.setVisible(has_jogs)
        if has_jogs:
            self.correction.show_state(state)
        self.task.show_state(state)
        self.cards.show_state(state)
        self._show_card(state)
        if had_field and not isinstance(self.focusWidget(), QLineEdit):
            # The field went with its step: whatever Qt picks next would be pressed by Enter.
            self.setFocus()

    def show_picture(self, shown: Shown) -> None:
        """Paint a frame."""
        self.live.show_picture(shown)

    def use_colours(self, colours: Colours) -> None:
        """Change the look of all parts."""
        for part in (
            self.header,
            self.notices,
            self.columns,
            self.live,
            self.result,
            self.details,
            self.keys,
            self.correction,
            self.task,
            self.cards,
        ):
            part.use_colours(colours)
        if self.handset is not None:
            self.handset.use_colours(colours)

    def toggle_handset(self) -> None:
        """Show or hide the bench's own panel."""
        if self.handset is not None:
            self.handset.setVisible(not self.handset.isVisibleTo(self))

    def toggle_keys(self) -> None:
        """Show or hide the page of keys."""
        self.centre.show_over(self.keys, on=not self.keys.isVisibleTo(self.centre))

    def close_keys(self) -> bool:
        """Close the page of keys; say whether it was open."""
        was_open = self.keys.isVisibleTo(self.centre)
        self.centre.show_over(self.keys, on=False)
        return was_open

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Give the right column its share."""
        super().resizeEvent(event)
        self._right.setFixedWidth(right_width_px(self.width()))

    def _show_card(self, state: DeskState) -> None:
        if state.open_card is not None:
            self.details.show_state(state)
        if state.open_card != self._open_card:
            self._open_card = state.open_card
            self.centre.show_over(self.details, on=state.open_card is not None)

    def _lay_out(self) -> None:
        self.centre.add_page(self.live)
        self.centre.add_page(self.result)
        self.centre.add_over(self.details, DETAILS_PX)
        self.centre.add_over(self.keys, KEYS_PX)
        right = QVBoxLayout(self._right)
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(GAP)
        right.addWidget(self.correction)
        right.addWidget(self.task, 1)
        body = QHBoxLayout()
        body.setContentsMargins(GAP, 0, GAP, 0)
        body.setSpacing(GAP)
        if self.handset is not None:
            body.addWidget(self.handset)
        body.addWidget(self.columns)
        # A notice takes its room from the picture, never from what there is to do.
        middle = QVBoxLayout()
        middle.setSpacing(GAP)
        middle.addWidget(self.notices)
        middle.addWidget(self.centre, 1)
        body.addLayout(middle, 1)
        body.addWidget(self._right)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, GAP)
        whole.setSpacing(GAP)
        whole.addWidget(self.header)
        whole.addLayout(body, 1)
        whole.addWidget(self.cards)

    def _connect(self) -> None:
        for part in (self.result, self.details, self.task, self.cards):
            part.wanted.connect(self.wanted)
        self.notices.retry.connect(self.retry)
        self.keys.closed.connect(self.close_keys)

    def copy_result(self) -> None:
        """Copy the text of the result, where there is one on the page."""
        if self.result.isVisible():
            self.result.copy()

    def save_result(self) -> None:
        """Ask where to save the result, where there is one on the page."""
        if self.result.isVisible():
            self.result.ask_where()
