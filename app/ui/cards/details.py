"""What opens over the picture when a card is clicked: plots, tables, history, what to do."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QGuiApplication, QKeyEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.job.profile import Profile
from app.ui.cards.bars import BudgetBars
from app.ui.cards.page import Page
from app.ui.cards.plot import Plot
from app.ui.cards.retype import RetypeLine
from app.ui.cards.row_words import SCALE_KEY
from app.ui.cards.scale_page import scale_page
from app.ui.cards.table_view import EntryTable
from app.ui.cards.tool_page import tool_page
from app.ui.intentions import OpenCard, Restore, StrikeOut
from app.ui.keys import STOP, Key
from app.ui.look.colours import Colours
from app.ui.look.parts import ElidedLabel, KeyButton, StateBadge, WrapLabel
from app.ui.look.states import State
from app.ui.look.style import GAP
from app.ui.state import DeskState
from app.ui.task.rows import FlowRow

_REMOVE = Key("Del", "Del", "strike the chosen entry out, or let it count again")
_OPEN = Key("Return", "Enter", "retype the chosen entry's position")
_COPY = Key("Ctrl+C", "Ctrl+C", "copy the table")
_NO_KEY = Key("", "", "")
_CHOOSE = "Choose a row of the table first"


class _Column(QWidget):
    """What scrolls: as high as its width asks for."""

    def minimumSizeHint(self) -> QSize:
        """Return no height: the area asks for the height at its width by itself."""
        return QSize(super().minimumSizeHint().width(), 0)


class CardDetails(QWidget):
    """An opened card: the pixel scale, or a tool.

    It shows `state.open_card` and nothing while that is None. What is wanted comes out
    of `wanted`: `StrikeOut`, `Restore`, `Retype`, and `OpenCard(None)` to close it.
    """

    wanted = Signal(object)

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._page: Page | None = None
        self._profile: Profile | None = None
        self._shown_for: tuple[object, ...] = ()
        self.setObjectName("card_details")
        self.setProperty("look", "panel")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self._title = ElidedLabel(look="title", parent=self)
        self._title.setObjectName("details_title")
        self._badge = StateBadge(State.WAITING, colours, parent=self)
        self._close = KeyButton(
            "Close", STOP, colours, look="quiet", hint="Close this card", parent=self
        )
        self._close.setObjectName("close_card")
        self._close.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._close.clicked.connect(self._ask_close)
        self._lines = WrapLabel(parent=self)
        self._lines.setObjectName("details_lines")
        self.plot = Plot(colours, self)
        self.plot.setObjectName("plot")
        self._result = WrapLabel(look="muted", parent=self)
        self.table = EntryTable(colours, self)
        self.table.setObjectName("entry_table")
        self.table.setToolTip("Ctrl+C copies this table; Enter retypes a row, Del strikes it out")
        self._strike = self._action("Strike out", _REMOVE, colours, "strike_entry")
        self._retype = self._action("Retype", _OPEN, colours, "retype_entry")
        self._copy = self._action("Copy", _COPY, colours, "copy_tables")
        self._copy.set_hint("Copy all tables of this card; Ctrl+C in a table copies that one")
        self._actions = FlowRow(self)
        self._retyping = RetypeLine(self)
        self._budget_title = ElidedLabel("Where U comes from", parent=self)
        self._budget_said = WrapLabel(look="muted", parent=self)
        self.bars = BudgetBars(colours, self)
        self._past_title = ElidedLabel("Earlier runs", parent=self)
        self._past_said = WrapLabel(parent=self)
        self.past_plot = Plot(colours, self)
        self.past_plot.setObjectName("past_plot")
        self.past_table = EntryTable(colours, self)
        self.past_table.setObjectName("past_table")
        self.past_table.setToolTip("What earlier runs found; Ctrl+C copies this table")
        self._story_title = ElidedLabel("In this run", parent=self)
        self._story = WrapLabel(look="muted", parent=self)
        self._story.setObjectName("details_story")
        self._area = QScrollArea(self)
        self._area.setObjectName("details_area")
        self._area.setAccessibleName("Opened card")
        self._area.setToolTip("The opened card; the arrow keys scroll")
        self._lay_out()
        self._connect()

    @property
    def page(self) -> Page | None:
        """What is shown."""
        return self._page

    def show_state(self, state: DeskState) -> None:
        """Show the card that is open in a state."""
        key = state.open_card
        # Pages are dear to work out; all they rest on is made anew when it changes.
        rests_on = (key, state.snapshot, state.step, state.history)
        if key is None or _same(rests_on, self._shown_for):
            return
        self._shown_for = rests_on
        self._profile = state.snapshot.run.profile
        page = (
            scale_page(state.snapshot, state.step)
            if key == SCALE_KEY
            else tool_page(state, int(key))
        )
        if page != self._page:
            self._show_page(page)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        for part in (
            self._badge,
            self._close,
            self._strike,
            self._retype,
            self._copy,
            self.plot,
            self.table,
            self.bars,
            self.past_plot,
            self.past_table,
        ):
            part.use_colours(colours)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Close on Esc."""
        if event.key() == Qt.Key.Key_Escape:
            self._ask_close()
        else:
            super().keyPressEvent(event)

    def _show_page(self, page: Page) -> None:
        is_other = self._page is None or self._page.key != page.key
        self._page = page
        self._copy.set_words("Copy")
        if is_other:
            self._retyping.close_line()
            self._area.verticalScrollBar().setValue(0)
        self.setAccessibleName(f"{page.title}, opened card")
        self._title.setText(page.title)
        self._badge.set_state(page.state, page.word)
        self._lines.setText("\n".join(page.lines))
        self.plot.show_chart(page.chart)
        _show_text(self._result, page.chart.sentence if page.chart else "")
        self.table.show_table(page.table if page.table.rows else None)
        _show_text(self._budget_said, page.budget.sentence if page.budget else "")
        self._budget_title.setVisible(page.budget is not None)
        self.bars.show_budget(page.budget)
        self._past_title.setVisible(page.past is not None)
        _show_text(self._past_said, page.past.sentence if page.past else "")
        self.past_plot.show_chart(page.past.chart if page.past else None)
        self.past_table.show_table(page.past.table if page.past else None)
        self._story_title.setVisible(bool(page.story))
        _show_text(self._story, "\n".join(page.story))
        self._show_actions()

    def _show_actions(self) -> None:
        """Offer what may be done with the chosen row."""
        has_rows = self._page is not None and bool(self._page.table.rows)
        self._actions.setVisible(has_rows and self._retyping.number is None)
        row = self.table.chosen_row()
        # Elsewhere Del strikes the last sighting: the caps tell where the keys act on a row.
        has_keys = self.table.hasFocus()
        for button, key in ((self._strike, _REMOVE), (self._retype, _OPEN), (self._copy, _COPY)):
            button.set_key(key if has_keys else _NO_KEY)
        self._strike.set_words("Restore" if row is not None and row.struck else "Strike out")
        self._strike.setEnabled(row is not None)
        self._retype.setEnabled(row is not None and row.counts)
        self._actions.arrange()
        if row is None:
            self._strike.set_hint(_CHOOSE)
            self._retype.set_hint(_CHOOSE)
            return
        what = "Let it count again" if row.struck else "Let it no longer count"
        self._strike.set_hint(f"{what}: {row.name}")
        self._retype.set_hint(
            f"Put another position in the place of {row.name}"
            if row.counts
            else f"{row.name} does not count: restore it first"
        )
        if self._retyping.number not in (None, row.number):
            self._retyping.close_line()

    def _strike_or_restore(self) -> None:
        row = self.table.chosen_row()
        if row is None or row.number is None:
            return
        self.wanted.emit(Restore(row.number) if row.struck else StrikeOut(row.number))

    def _open_retyping(self) -> None:
        row = self.table.chosen_row()
        if row is not None and row.counts and self._profile is not None and self._page is not None:
            self._actions.hide()
            self._retyping.open_line(row, self._profile, self._page.decimals)

    def _end_retyping(self) -> None:
        self._show_actions()
        self.table.setFocus()

    def _copy_all(self) -> None:
        if self._page is not None:
            QGuiApplication.clipboard().setText(self._page.text())
            self._say_copied()

    def _say_copied(self) -> None:
        self._copy.set_words("Copied")
        self._actions.arrange()

    def _ask_close(self) -> None:
        self.wanted.emit(OpenCard(None))

    def _action(self, words: str, key: Key, colours: Colours, name: str) -> KeyButton:
        button = KeyButton(words, key, colours, parent=self)
        button.setObjectName(name)
        # A click must not take the keyboard away from the table.
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        return button

    def _connect(self) -> None:
        self.table.chosen.connect(self._show_actions)
        self.table.removed.connect(self._strike_or_restore)
        self.table.focus_changed.connect(self._show_actions)
        self.table.opened.connect(self._open_retyping)
        for table in (self.table, self.past_table):
            table.copied.connect(self._say_copied)
        self._strike.clicked.connect(self._strike_or_restore)
        self._retype.clicked.connect(self._open_retyping)
        self._copy.clicked.connect(self._copy_all)
        self._retyping.wanted.connect(self.wanted)
        self._retyping.closed.connect(self._end_retyping)

    def _lay_out(self) -> None:
        head = QHBoxLayout()
        head.setSpacing(2 * GAP)
        head.addWidget(self._title)
        head.addWidget(self._badge, 1)
        head.addWidget(self._close)
        for button in (self._strike, self._retype, self._copy):
            self._actions.add(button)
        column = _Column()
        rows = QVBoxLayout(column)
        rows.setContentsMargins(0, 0, GAP, 0)
        rows.setSpacing(GAP)
        for top in (self._lines, self.plot, self._result, self.table):
            rows.addWidget(top)
        sections: tuple[tuple[QWidget, tuple[QWidget, ...]], ...] = (
            (self._budget_title, (self._budget_said, self.bars)),
            (self._past_title, (self._past_said, self.past_plot, self.past_table)),
            (self._story_title, (self._story,)),
        )
        for title, parts in sections:
            title.setProperty("look", "title")
            rows.addSpacing(GAP)
            rows.addWidget(title)
            for under in parts:
                rows.addWidget(under)
        rows.addStretch(1)
        self._area.setFrameShape(QFrame.Shape.NoFrame)
        self._area.setWidgetResizable(True)
        self._area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._area.setWidget(column)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(2 * GAP, GAP, GAP, GAP)
        whole.setSpacing(GAP)
        whole.addLayout(head)
        whole.addWidget(self._area, 1)
        # Outside of what scrolls: what to do with the chosen row is always at hand.
        whole.addWidget(self._actions)
        whole.addWidget(self._retyping)


def _same(one: tuple[object, ...], other: tuple[object, ...]) -> bool:
    """Whether two tuples hold the very same things: snapshots are told apart, not compared."""
    return len(one) == len(other) and all(
        a is b or (isinstance(a, str) and a == b) for a, b in zip(one, other, strict=True)
    )


def _show_text(label: WrapLabel, text: str) -> None:
    label.setText(text)
    label.setVisible(bool(text))
