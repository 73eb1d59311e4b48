"""What belongs to a step, between the sentence and the big button: one page a kind of step."""

from __future__ import annotations

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtWidgets import QGridLayout, QScrollArea, QVBoxLayout, QWidget

from app.job.sheet import PREPARATION, EnterOffsets, MendScale, Prepare, preparation_words
from app.ui import keys
from app.ui.intentions import (
    AnswerMirror,
    CameraWasMoved,
    SayEntered,
    StrikeOut,
    Tick,
    ToStart,
)
from app.ui.keys import Key
from app.ui.look.colours import Colours
from app.ui.look.parts import KeyButton, WrapLabel
from app.ui.look.states import State
from app.ui.look.style import GAP
from app.ui.state import DeskState
from app.ui.task.mending import last_scale_entry
from app.ui.task.rows import FlowRow, TickRow, WordStrip
from app.ui.task.words import (
    CAMERA_CONSEQUENCE,
    CAMERA_WHYS,
    CAUTIONS,
    DONE_WORDS,
    EXPORT_WORDS,
    HOMING_CAUTION,
    MIRROR_NO,
    MIRROR_YES,
    is_ticked,
    next_item,
    tools_to_enter,
)

NO_KEY = Key("", "", "")
"""For buttons that are reached with Tab and pressed with Enter."""


def button(
    name: str,
    words: str,
    colours: Colours,
    *,
    key: Key = NO_KEY,
    hint: str = "",
    parent: QWidget | None = None,
) -> KeyButton:
    """Return a button of the panel: Enter presses it, and a click leaves the keyboard alone."""
    made = KeyButton(words, key, colours, hint=hint, parent=parent)
    made.setObjectName(name)
    made.setAutoDefault(True)
    made.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    return made


class Page(QWidget):
    """What a kind of step shows; hidden while another step is at hand."""

    wanted = Signal(object)

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.colours = colours
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(0, 0, 0, 0)
        self.column.setSpacing(GAP - 2)

    def show_state(self, state: DeskState) -> None:
        """Show what the step needs."""

    def use_colours(self, colours: Colours) -> None:
        """Change the look of this page and of all on it."""
        self.colours = colours
        recolour(self, colours)


def recolour(root: QObject, colours: Colours) -> None:
    """Hand the colours to everything below that paints with them."""
    for child in root.children():
        use = getattr(child, "use_colours", None)
        if use is not None:
            use(colours)
        recolour(child, colours)


class PreparePage(Page):
    """The card to tick before a run, and the cautions, which never scroll away."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        self._before: tuple[str, ...] | None = None
        self._next: str | None = ""
        self._rows = {item: self._row(item) for item in PREPARATION}
        self._first = WrapLabel(look="small")
        self._first.setObjectName("before_measuring")
        inside = QWidget()
        lines = QVBoxLayout(inside)
        lines.setContentsMargins(0, 0, 2, 0)
        lines.setSpacing(0)
        for row in self._rows.values():
            lines.addWidget(row)
        lines.addSpacing(GAP - 2)
        lines.addWidget(self._first)
        lines.addStretch(1)
        self._list = column_scroll("preparation", "What to make ready", inside)
        self._cautions = WordStrip(State.WARNING, colours, look="small", parent=self)
        self._cautions.setObjectName("cautions")
        self._cautions.say(" ".join(CAUTIONS))
        self.column.addWidget(self._list, 1)
        self.column.addWidget(self._cautions)

    def show_state(self, state: DeskState) -> None:
        """Show what is ticked, and bring what is next into view."""
        step = state.step
        if not isinstance(step, Prepare):
            return
        for item, row in self._rows.items():
            row.setChecked(is_ticked(item, step, state.ticked))
        if step.before != self._before:
            self._before = step.before
            self._first.setText("\n".join(step.before))
            self._first.setVisible(bool(step.before))
        upcoming = next_item(step, state.ticked)
        if upcoming != self._next:
            self._next = upcoming
            self._bring_into_view()

    def _bring_into_view(self) -> None:
        target = self._first if self._next is None else self._rows[self._next]
        self._list.ensureWidgetVisible(target, 0, 30)

    def _row(self, item: str) -> TickRow:
        words = preparation_words(item)
        row = TickRow(words[0].upper() + words[1:], self.colours)
        row.setObjectName(f"tick_{item.replace('-', '_')}")
        row.setToolTip(f"Tick that this is done; {keys.PROCEED.shown} ticks the next one")
        row.clicked.connect(lambda on: self.wanted.emit(Tick(item=item, on=on)))
        return row


class MirrorPage(Page):
    """Whether the picture is mirrored or a sign is wrong."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        for name, words, key, meaning, mirrored in (
            ("mirror_yes", "Yes, it grows", keys.YES, MIRROR_YES, True),
            ("mirror_no", "No, it falls", keys.NO, MIRROR_NO, False),
        ):
            answer = button(name, words, colours, key=key, hint=meaning, parent=self)
            answer.clicked.connect(lambda _on, m=mirrored: self.wanted.emit(AnswerMirror(m)))
            self.column.addWidget(answer)
            self.column.addWidget(WrapLabel(meaning, look="small", parent=self))
            self.column.addSpacing(GAP - 4)


class HomePage(Page):
    """What to look out for when the machine homes."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        caution = WordStrip(State.WARNING, colours, parent=self)
        caution.setObjectName("homing_caution")
        caution.say(HOMING_CAUTION)
        self.column.addWidget(caution)


class ExportPage(Page):
    """What taking the offsets does not do."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        self.column.addWidget(WrapLabel(EXPORT_WORDS, look="muted", parent=self))


class EnterPage(Page):
    """The tools whose new offset has to be entered in the machine."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        self._rows: dict[int, TickRow] = {}
        self._grid = QGridLayout()
        self._grid.setSpacing(2)
        self.column.addLayout(self._grid)

    def show_state(self, state: DeskState) -> None:
        """Show which are entered."""
        if not isinstance(state.step, EnterOffsets):
            return
        tools = tools_to_enter(state.snapshot.run)
        if tuple(self._rows) != tools:
            self._make(tools)
        for tool, row in self._rows.items():
            entered = tool not in state.step.tools
            row.setChecked(entered)
            row.setEnabled(not entered)

    def _make(self, tools: tuple[int, ...]) -> None:
        for row in self._rows.values():
            row.hide()
            self._grid.removeWidget(row)
            row.setParent(None)
            row.deleteLater()
        self._rows = {tool: self._row(tool) for tool in tools}
        wide = min(3, 1 + (len(tools) - 1) // 4)
        for at, row in enumerate(self._rows.values()):
            self._grid.addWidget(row, at // wide, at % wide)

    def _row(self, tool: int) -> TickRow:
        row = TickRow(f"Tool {tool}", self.colours, parent=self)
        row.setObjectName(f"entered_{tool}")
        row.setToolTip(
            f"The new offset of tool {tool} is in the machine; {keys.PROCEED.shown} ticks the next"
        )
        row.clicked.connect(lambda _on: self.wanted.emit(SayEntered(tool)))
        return row


class DonePage(Page):
    """What one can do now."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        words = WrapLabel(DONE_WORDS, look="muted", parent=self)
        start = button(
            "to_start",
            "Start page",
            colours,
            key=keys.START,
            hint="Go to the start page; the run is kept",
            parent=self,
        )
        start.clicked.connect(lambda: self.wanted.emit(ToStart()))
        self.column.addWidget(words)
        self.column.addWidget(start)


class CameraPage(Page):
    """Asks what happened to the camera, in the place of the step, without a box."""

    closed = Signal()

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        self.column.addWidget(WrapLabel(CAMERA_CONSEQUENCE, look="small", parent=self))
        choices = FlowRow(self)
        for why in CAMERA_WHYS:
            words = f"It was {why}"
            hint = f"The camera was {why}: begin again with it"
            choice = button(f"camera_{why}", words, colours, hint=hint)
            choice.clicked.connect(lambda _on, w=why: self._say(w))
            choices.add(choice)
        never = button(
            "camera_nothing",
            "Nothing: go on",
            colours,
            key=keys.STOP,
            hint="Leave all as it is and go on",
        )
        never.clicked.connect(self.closed)
        choices.add(never)
        self.column.addWidget(choices)

    def _say(self, why: str) -> None:
        self.wanted.emit(CameraWasMoved(why))
        self.closed.emit()


class StrikePage(Page):
    """For jogs that give no scale where no single entry is to blame."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        self._number: int | None = None
        last = button(
            "strike_last_jog",
            "Strike the last jog",
            colours,
            hint="Strike the last jog out and make it again",
            parent=self,
        )
        last.clicked.connect(self._strike)
        anew = button(
            "all_anew",
            "All anew: the camera was moved",
            colours,
            hint="Make all jogs for the pixel scale again, from the start",
            parent=self,
        )
        anew.clicked.connect(lambda: self.wanted.emit(CameraWasMoved("moved")))
        self._last = last
        self.column.addWidget(last)
        self.column.addWidget(anew)

    def show_state(self, state: DeskState) -> None:
        """Remember which jog is the last one."""
        if isinstance(state.step, MendScale):
            self._number = last_scale_entry(state.snapshot.run)
            self._last.setEnabled(self._number is not None)

    def _strike(self) -> None:
        if self._number is not None:
            self.wanted.emit(StrikeOut(self._number))


def column_scroll(name: str, accessible: str, inside: QWidget) -> QScrollArea:
    """Return a scroll area that only ever scrolls up and down."""
    area = QScrollArea()
    area.setObjectName(name)
    area.setAccessibleName(accessible)
    area.setWidgetResizable(True)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    area.setFrameShape(QScrollArea.Shape.NoFrame)
    area.setWidget(inside)
    return area
