"""The run sheet: a row of cards along the bottom, the pixel scale first, then the tools."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

from app.ui.cards.card import NARROWEST_PX, WIDEST_PX, CardButton
from app.ui.cards.row_words import cards_of
from app.ui.intentions import OpenCard
from app.ui.look.colours import Colours
from app.ui.look.style import GAP
from app.ui.state import DeskState

ROW_PX = 104
_KEYS = 9
"""Cards that have a key of their own, Alt+1 to Alt+9."""


class CardRow(QWidget):
    """The cards in the order of work; what is wanted comes out of `wanted`.

    Cards are made once for a machine. They share the width between them; when they
    would get narrower than can be read, the row scrolls.
    """

    wanted = Signal(object)

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._cards: dict[str, CardButton] = {}
        self._next: str | None = None
        self._opened: str | None = None
        self.setObjectName("card_row")
        self.setAccessibleName("Run sheet")
        self.setFixedHeight(ROW_PX)
        self._strip = QWidget(self)
        self._line = QHBoxLayout(self._strip)
        self._line.setContentsMargins(0, 0, 0, 0)
        self._line.setSpacing(GAP)
        self._line.addStretch(1)
        self._area = QScrollArea(self)
        self._area.setFrameShape(QFrame.Shape.NoFrame)
        self._area.setWidgetResizable(True)
        self._area.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._area.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Expanding)
        self._area.setWidget(self._strip)
        # Only then is it known how far the row scrolls.
        self._area.horizontalScrollBar().rangeChanged.connect(self._keep_next_in_view)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(GAP, 0, GAP, 0)
        whole.addWidget(self._area)

    def keys(self) -> tuple[str, ...]:
        """Return the keys of the cards in their order, as `OpenCard` takes them."""
        return tuple(self._cards)

    def button(self, key: str) -> CardButton:
        """Return a card; KeyError when there is none of this key."""
        return self._cards[key]

    def show_state(self, state: DeskState) -> None:
        """Show a state."""
        cards = cards_of(state.snapshot, state.step, state.thumbnails)
        if tuple(card.key for card in cards) != self.keys():
            self._make([card.key for card in cards])
        for at, card in enumerate(cards, start=1):
            picture = None if card.thumbnail is None else state.thumbnails[card.thumbnail]
            self._cards[card.key].show_card(
                card,
                picture,
                is_open=card.key == state.open_card,
                key=f"Alt+{at}" if at <= _KEYS else "",
            )
        wanted = next((card.key for card in cards if card.is_next), None)
        if wanted != self._next:
            self._next = wanted
            self._keep_next_in_view()
        if state.open_card != self._opened:
            self._opened = state.open_card
            self._bring_opened_into_view()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        for button in self._cards.values():
            button.use_colours(colours)

    def sizeHint(self) -> QSize:
        """Return a row of usual width."""
        return QSize(4 * WIDEST_PX, ROW_PX)

    def minimumSizeHint(self) -> QSize:
        """Return the room for one card: the row scrolls."""
        return QSize(NARROWEST_PX + 2 * GAP, ROW_PX)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share the width out anew."""
        super().resizeEvent(event)
        self._share_out()

    def _make(self, keys: list[str]) -> None:
        for button in self._cards.values():
            self._line.removeWidget(button)
            button.hide()
            button.deleteLater()
        self._cards = {}
        self._next = None
        for at, key in enumerate(keys):
            button = CardButton(self._colours, self._strip)
            button.clicked.connect(partial(self._open, key))
            self._line.insertWidget(at, button)
            button.show()
            self._cards[key] = button
        self._share_out()

    def _open(self, key: str) -> None:
        self.wanted.emit(OpenCard(key))

    def _share_out(self) -> None:
        count = len(self._cards)
        if not count:
            return
        room = self.width() - 2 * GAP - (count - 1) * GAP
        each = min(max(room // count, NARROWEST_PX), WIDEST_PX)
        for button in self._cards.values():
            button.setFixedWidth(each)
        self._strip.setMinimumWidth(count * each + (count - 1) * GAP)
        self._keep_next_in_view()

    def _bring_opened_into_view(self) -> None:
        """Show the card that was opened by its key."""
        if self._opened in self._cards:
            self._line.activate()
            self._area.ensureWidgetVisible(self._cards[self._opened], GAP, 0)

    def _keep_next_in_view(self) -> None:
        if self._next is not None:
            self._line.activate()
            # The one after it shows too: work goes on to the right.
            self._area.ensureWidgetVisible(self._cards[self._next], NARROWEST_PX + GAP, 0)
