"""The result sheet: takes the picture's place once all is sighted."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

import platformdirs
from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.export.text import CAUTION
from app.ui.intentions import Acknowledge, CopyText, FileKind, SaveAs
from app.ui.keys import COPY, READ, SAVE
from app.ui.look.colours import Colours
from app.ui.look.parts import (
    ElidedLabel,
    KeyButton,
    Rule,
    StateBadge,
    StateShape,
    WrapLabel,
)
from app.ui.look.states import State
from app.ui.look.style import GAP
from app.ui.result import words
from app.ui.result.boxes import SaveRow, TextBox
from app.ui.result.table import HeightTable, ToolTable
from app.ui.result.texts import needs_reading, shown_texts, why_not
from app.ui.state import DeskState
from app.wiring.saving import file_name

_COPIED = {
    "all": "Copied: settings and moves with their cautions.",
    "settings": "Copied: the settings.",
    "moves": "Copied: the moves. Lift Z and take the camera away first.",
}
_NOTHING_MOVES = "Nothing has to move: these settings act by themselves."


class _Coloured(Protocol):
    """A part that is painted in the colours of the present look."""

    def use_colours(self, colours: Colours) -> None: ...


class SaidLine(QWidget):
    """A sentence with the shape of its state before it."""

    def __init__(self, said: words.Said, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._shape = StateShape(said.state, colours, parent=self)
        self._sentence = WrapLabel(said.sentence, parent=self)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(GAP)
        row.addWidget(self._shape, 0, Qt.AlignmentFlag.AlignTop)
        row.addWidget(self._sentence, 1)

    @property
    def said(self) -> words.Said:
        """What is shown."""
        return words.Said(state=self._shape.state, sentence=self._sentence.text())

    def show_said(self, said: words.Said) -> None:
        """Show another sentence."""
        self._shape.set_state(said.state)
        self._sentence.setText(said.sentence)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._shape.use_colours(colours)


class Warnings(QWidget):
    """What is said against the result, and the button that says it was read."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("warnings")
        self._colours = colours
        self._lines: list[SaidLine] = []
        self.read = KeyButton(
            "I have read these",
            READ,
            colours,
            hint="Say that the warnings were read: the text can be copied then",
            parent=self,
        )
        self.read.setObjectName("acknowledge")
        self._done = StateBadge(State.GOOD, colours, word="read", parent=self)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(GAP)
        foot = QHBoxLayout()
        foot.addWidget(self.read)
        foot.addWidget(self._done)
        foot.addStretch(1)
        self._column.addLayout(foot)

    def show_findings(self, said: tuple[words.Said, ...], *, unread: bool) -> None:
        """Show these; hidden while there is none."""
        self.setVisible(bool(said))
        if said != tuple(line.said for line in self._lines):
            for line in self._lines:
                self._column.removeWidget(line)
                line.hide()
                line.deleteLater()
            self._lines = [SaidLine(one, self._colours, self) for one in said]
            for at, line in enumerate(self._lines):
                self._column.insertWidget(at, line)
                line.show()
        self.read.setVisible(unread)
        self._done.setVisible(not unread)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        parts: list[_Coloured] = [*self._lines, self.read, self._done]
        for part in parts:
            part.use_colours(colours)


class _Page(QWidget):
    """What scrolls: its height is that of its width, not the sum of its narrowest parts."""

    def minimumSizeHint(self) -> QSize:
        """Return no height: the area asks for the height at its width by itself."""
        return QSize(super().minimumSizeHint().width(), 0)


class ResultSheet(QWidget):
    """Old and new values, warnings, the text to paste, copying and saving.

    Parameters
    ----------
    folder
        Where files are offered to go; by default the user's documents.
    """

    wanted = Signal(object)

    def __init__(
        self, colours: Colours, parent: QWidget | None = None, *, folder: Path | None = None
    ) -> None:
        super().__init__(parent)
        self.setObjectName("result")
        self.setAccessibleName("Result")
        self.setProperty("look", "panel")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self._folder = folder or _documents()
        self._state: DeskState | None = None
        self._copied = ""
        self._make_parts(colours)
        self._make_buttons(colours)
        self._lay_out()
        self._connect()

    # -- what the window calls ----------------------------------------------------------

    def show_state(self, state: DeskState) -> None:
        """Show a result; one that is as it was costs nothing."""
        is_same = self._state is not None and _gist(state) == _gist(self._state)
        self._state = state
        if is_same:
            return
        self._show_values(state)
        self._show_text(state)
        self._show_gate(state)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        for part in self._coloured:
            part.use_colours(colours)

    def copy(self, part: str = "all") -> None:
        """Ask for a part of the text on the clipboard; nothing happens while it may not be."""
        if self._state is None or why_not(self._state):
            return
        self._copied = _COPIED[part]
        self.wanted.emit(CopyText(part))
        self._say(self._copied)

    def ask_where(self, kind: FileKind = FileKind.TEXT) -> None:
        """Open the row that asks where a file goes; nothing happens while it may not be saved."""
        if self._state is None or why_not(self._state):
            return
        name = file_name(kind.value, self._state.snapshot.run)
        self._save_row.ask(kind, self._folder / name)

    # -- making -------------------------------------------------------------------------

    def _make_parts(self, colours: Colours) -> None:
        self._machine = ElidedLabel(look="title")
        self._machine.setObjectName("result_machine")
        self._made = ElidedLabel(look="muted")
        self._simulated = StateBadge(State.SIMULATED, colours)
        self._simulated.setObjectName("simulated")
        self._closure = SaidLine(words.Said(state=State.GOOD, sentence=""), colours)
        self._closure.setObjectName("closure")
        self._warnings = Warnings(colours)
        self._table = ToolTable(colours)
        self._heights = HeightTable(colours)
        self._meaning = WrapLabel(look="small")
        self._remedies = WrapLabel(look="small")
        self._remedies.setObjectName("remedies")
        self._settings = TextBox("Settings to paste")
        self._settings.setObjectName("settings_text")
        self._moves = TextBox("Moves to paste")
        self._moves.setObjectName("moves_text")
        self._caution = SaidLine(words.Said(state=State.WARNING, sentence=CAUTION), colours)
        self._caution.setObjectName("caution")
        self._no_moves = WrapLabel(_NOTHING_MOVES, look="muted")
        self._entering = WrapLabel(look="muted")
        self._entering.setObjectName("entering")
        self._next = WrapLabel(look="muted")
        self._next.setObjectName("next")
        self._rules = [Rule(colours), Rule(colours), Rule(colours)]
        self._says = WrapLabel(look="muted")
        self._says.setObjectName("says")
        self._save_row = SaveRow(self)
        self._coloured: list[_Coloured] = [
            self._simulated,
            self._closure,
            self._warnings,
            self._table,
            self._heights,
            self._caution,
            *self._rules,
        ]

    def _make_buttons(self, colours: Colours) -> None:
        self._copy_all = KeyButton(
            "Copy all", COPY, colours, hint="Copy settings and moves with their cautions"
        )
        self._copy_all.setObjectName("copy_all")
        self._copy_settings = _button("copy_settings", "Copy settings", "Copy the settings only")
        self._copy_moves = _button("copy_moves", "Copy moves", "Copy the moves only")
        self._save_text = KeyButton(
            "Save as text", SAVE, colours, hint="Save what is pasted to a file"
        )
        self._save_text.setObjectName("save_text")
        self._save_csv = _button("save_csv", "CSV", "Save a table for spreadsheets")
        self._save_csv.setAccessibleName("Save as CSV")
        self._save_json = _button("save_json", "JSON", "Save everything for programs")
        self._save_json.setAccessibleName("Save as JSON")
        self._coloured += [self._copy_all, self._save_text]
        self._gated = (
            self._copy_all,
            self._copy_settings,
            self._copy_moves,
            self._save_text,
            self._save_csv,
            self._save_json,
        )

    def _lay_out(self) -> None:
        page = _Page()
        column = QVBoxLayout(page)
        column.setContentsMargins(2 * GAP, 2 * GAP, 2 * GAP, 2 * GAP)
        column.setSpacing(GAP + 4)
        head = _row(self._machine, self._made, self._simulated)
        head.setStretch(0, 1)
        column.addLayout(head)
        upper: tuple[QWidget, ...] = (
            self._closure,
            self._warnings,
            self._rules[0],
            self._table,
            self._heights,
            self._meaning,
            self._remedies,
            self._rules[1],
        )
        for part in upper:
            column.addWidget(part)
        column.addLayout(_titled("Settings", self._copy_settings))
        column.addWidget(self._settings)
        column.addLayout(_titled("Moves", self._copy_moves))
        lower = (self._no_moves, self._caution, self._moves, self._entering, self._next)
        for part in lower:
            column.addWidget(part)
        column.addStretch(1)
        area = QScrollArea(self)
        area.setObjectName("result_area")
        area.setAccessibleName("Result")
        area.setToolTip("The result; the arrow keys scroll")
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setWidgetResizable(True)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(page)
        foot = QVBoxLayout()
        foot.setContentsMargins(2 * GAP, GAP, 2 * GAP, GAP + 4)
        foot.setSpacing(GAP)
        foot.addWidget(self._says)
        foot.addWidget(self._save_row)
        buttons = _row(self._copy_all, self._save_text, self._save_csv, self._save_json)
        buttons.addStretch(1)
        foot.addLayout(buttons)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(1, 1, 1, 1)
        whole.setSpacing(0)
        whole.addWidget(area, 1)
        whole.addWidget(self._rules[2])
        whole.addLayout(foot)

    def _connect(self) -> None:
        self._warnings.read.clicked.connect(lambda: self.wanted.emit(Acknowledge()))
        for button, part in (
            (self._copy_all, "all"),
            (self._copy_settings, "settings"),
            (self._copy_moves, "moves"),
        ):
            button.clicked.connect(lambda _=False, part=part: self.copy(part))
        for button, kind in (
            (self._save_text, FileKind.TEXT),
            (self._save_csv, FileKind.CSV),
            (self._save_json, FileKind.JSON),
        ):
            button.clicked.connect(lambda _=False, kind=kind: self.ask_where(kind))
        self._save_row.chosen.connect(self._save)
        self._save_row.closed.connect(self._save_text.setFocus)

    # -- showing ------------------------------------------------------------------------

    def _show_values(self, state: DeskState) -> None:
        run, solution, stored = state.snapshot.run, state.snapshot.solution, state.stored
        profile = run.profile
        self._machine.setText(profile.name)
        self._made.setText(words.made_words(state))
        self._simulated.setVisible(state.simulated)
        self._closure.show_said(words.closure_said(state.snapshot))
        said = words.findings_said(state.snapshot.findings)
        self._warnings.show_findings(said, unread=needs_reading(state))
        if solution is None or stored is None:
            return
        rows = words.tool_rows(profile, solution, stored)
        self._table.show_rows(rows, words.too_wide_words(profile))
        self._heights.show_rows(words.height_rows(profile, solution, stored))
        said_of_values = (words.u_words(profile, solution), words.bores_words(state.snapshot))
        self._meaning.setText("\n".join(part for part in said_of_values if part))
        self._remedies.setText("\n".join(words.remedies(solution)))
        self._entering.setText(words.entering_words(profile, stored))
        self._next.setText(words.next_words(state))

    def _show_text(self, state: DeskState) -> None:
        texts = shown_texts(state)
        if texts is None:
            return
        self._settings.show_text(texts.settings.rstrip("\n"))
        self._moves.show_text(texts.moves.rstrip("\n"))
        moves = bool(texts.moves)
        for part in (self._moves, self._caution, self._copy_moves):
            part.setVisible(moves)
        self._no_moves.setVisible(not moves)

    def _show_gate(self, state: DeskState) -> None:
        why = why_not(state)
        for button in self._gated:
            button.setEnabled(not why)
            button.setAccessibleDescription(why)
        if why:
            self._save_row.hide()
        self._copied = ""
        self._say(why)

    def _say(self, sentence: str) -> None:
        self._says.setText(sentence)
        self._says.setVisible(bool(sentence))

    def _save(self, kind: FileKind, typed: str) -> None:
        path = Path(typed)
        if not typed.startswith("~") and not path.is_absolute():
            path = self._folder / path
        elif path.is_absolute():
            self._folder = path.parent
        self.wanted.emit(SaveAs(kind, str(path)))
        self._save_text.setFocus()


def _gist(state: DeskState) -> tuple[object, ...]:
    """Return what the sheet depends on; a picture's answer changes nothing here."""
    return (
        state.run_id,
        id(state.snapshot),
        state.step,
        state.simulated,
        state.acknowledged,
        state.stored is None,
    )


def _documents() -> Path:
    documents = platformdirs.user_documents_path()
    return documents if documents.is_dir() else Path.home()


def _button(name: str, text: str, hint: str) -> QPushButton:
    button = QPushButton(text)
    button.setObjectName(name)
    button.setAccessibleName(text)
    button.setToolTip(hint)
    return button


def _row(*parts: QWidget) -> QHBoxLayout:
    row = QHBoxLayout()
    row.setSpacing(GAP)
    for part in parts:
        row.addWidget(part)
    return row


def _titled(title: str, button: QWidget) -> QHBoxLayout:
    row = _row(ElidedLabel(title, look="title"), button)
    row.setStretch(0, 1)
    return row
