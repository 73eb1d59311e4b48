"""The left panel of the start page: which machine."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLabel,
    QVBoxLayout,
    QWidget,
)

from app.ui.look.colours import Colours
from app.ui.look.icons import IconName, icon
from app.ui.look.parts import WrapLabel
from app.ui.look.style import GAP
from app.ui.start.choice import MachineRow
from app.ui.start.parts import browse, button, enter_field
from app.ui.start.rows import Row, RowList
from app.ui.start.words import machine_words


class MachinePanel(QFrame):
    """Lists machines, and asks for a new one, for an edit, or for a file to be read."""

    picked = Signal(str)
    new_wanted = Signal()
    edit_wanted = Signal()
    file_wanted = Signal(str)

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("machine_panel")
        self.setProperty("look", "panel")
        title = QLabel("Which machine?", self)
        title.setProperty("look", "title")
        self.list = RowList(
            "machines", "Which machine", "The machine to work on: arrow keys or a click.", colours
        )
        self.list.picked.connect(self._picked)
        self.new = button("new_machine", "New machine", "Describe a machine in a form.")
        self.new.clicked.connect(self.new_wanted)
        self.edit = button("edit_machine", "Edit", "Change what is known of the chosen machine.")
        self.edit.clicked.connect(self.edit_wanted)
        self.file = button(
            "machine_from_file", "From a file", "Read a machine from its profile (TOML)."
        )
        self.file.setCheckable(True)
        self.file.toggled.connect(self._show_file)
        self._rows: dict[str, MachineRow] = {}
        self.said = WrapLabel(look="small", parent=self)
        self.said.setObjectName("machine_said")
        self._file_row = self._make_file_row()
        self._lay_out(title)
        self.use_colours(colours)
        self._show_file(False)

    def show_machines(self, rows: Sequence[MachineRow], chosen: MachineRow | None) -> None:
        """Show the machines, one of them chosen."""
        self._rows = {row.key: row for row in rows}
        shown = [
            Row(
                key=row.key,
                title=row.profile.name,
                words=machine_words(row.profile, simulated=row.simulated),
                icon=IconName.BENCH if row.simulated else IconName.MACHINE,
            )
            for row in rows
        ]
        self.list.set_rows(shown, chosen.key if chosen else "")
        self._allow_edit()

    def say(self, sentence: str) -> None:
        """Tell what came of reading a file; empty for nothing."""
        self.said.setText(sentence)
        self.said.setVisible(bool(sentence))

    def close_file(self) -> None:
        """Put the field for a file away again."""
        self.file.setChecked(False)

    def controls(self) -> tuple[QWidget, ...]:
        """Return what the Tab key goes through, in order."""
        return (
            self.list,
            self.new,
            self.edit,
            self.file,
            self.path,
            self._browse_key,
            self._read_key,
        )

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self.list.use_colours(colours)
        for which, name in (
            (self.new, IconName.PLUS),
            (self.file, IconName.FILE),
        ):
            which.setIcon(icon(name, colours.text))

    def _make_file_row(self) -> QWidget:
        holder = QWidget(self)
        row = QHBoxLayout(holder)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(GAP)
        self.path = enter_field(
            "machine_path",
            "Path of the machine's profile",
            "Path of a profile (TOML); Enter reads it.",
            "machine.toml",
        )
        self.path.entered.connect(self._read)
        self._browse_key = look = button("browse_machine", "Browse ...", "Look for the file.")
        look.clicked.connect(self._browse)
        self._read_key = read = button(
            "read_machine", "Read", "Read the file and keep the machine."
        )
        read.clicked.connect(self._read)
        row.addWidget(self.path, 1)
        row.addWidget(look)
        row.addWidget(read)
        return holder

    def _lay_out(self, title: QLabel) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(16, 14, 16, 14)
        column.setSpacing(GAP)
        column.addWidget(title)
        column.addWidget(self.list, 1)
        keys = QHBoxLayout()
        keys.setSpacing(GAP)
        for key in (self.new, self.edit, self.file):
            keys.addWidget(key)
        keys.addStretch(1)
        column.addLayout(keys)
        column.addWidget(self._file_row)
        column.addWidget(self.said)

    def _picked(self, key: str) -> None:
        self._allow_edit()
        self.picked.emit(key)

    def _allow_edit(self) -> None:
        row = self._rows.get(self.list.key())
        self.edit.setEnabled(row is not None and not row.simulated)
        self.edit.setToolTip(
            "The machines of the demo stay as they are."
            if row is not None and row.simulated
            else "Change what is known of the chosen machine."
        )

    def _show_file(self, on: bool) -> None:
        self._file_row.setVisible(on)
        self.say("")
        if on:
            self.path.setFocus()

    def _read(self) -> None:
        self.file_wanted.emit(self.path.text().strip())

    def _browse(self) -> None:
        browse(self.path, "A machine's profile", "Profiles (*.toml);;All files (*)")
