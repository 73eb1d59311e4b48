"""The machine form: describe a machine, or change what is known of one."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.dialects.registry import DIALECTS
from app.dialects.values import Layout
from app.errors import TipwrightError
from app.job.profile import Profile
from app.records.profiles import COMMENTS
from app.ui.look.colours import Colours
from app.ui.look.parts import WrapLabel
from app.ui.look.style import GAP
from app.ui.start.draft import (
    FLAGS,
    LABELS,
    NUMBERS,
    WHOLE,
    Complaint,
    Draft,
    check,
    draft_of,
    new_draft,
    with_layout,
    with_tool,
    without_tool,
)
from app.ui.start.drawings import LayoutButton
from app.ui.start.parts import Pulldown, Tick, button, in_order, line_edit
from app.ui.start.tool_table import ToolTable

HELP: Mapping[str, str] = {
    **COMMENTS,
    "layout": "How the machine carries its nozzles.",
    "tools": "In mm. Stored: the offset that the firmware has now, in its own sign. Design: where "
    "the nozzle should be, from the reference nozzle.",
    "shows_coordinates": "Off for panels that only jog.",
    "reversal_um": "What an axis loses when it turns round. Leave it empty when it is not known.",
    "travel_mm": f"{COMMENTS['travel_mm']} Leave it empty when it is not known.",
    "vector_limit_mm": "How far a nozzle may stand from its place by design before it is "
    "questioned.",
}
"""What each field means: as the profile's file says it, but for what reads otherwise here."""

_LABEL_PX, _FIELD_PX = 184, 250


class MachineForm(QWidget):
    """Fields, help, and Save, which keeps the machine or says what is wrong where.

    `saved` carries the profile once it is kept; `left` tells that nothing was.
    """

    saved = Signal(object)
    left = Signal()

    def __init__(
        self,
        colours: Colours,
        save_machine: Callable[[Profile], None],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setObjectName("machine_form")
        self._save_machine = save_machine
        self._taken: frozenset[str] = frozenset()
        self._layout = Layout.TOOL_CHANGER
        self._texts: dict[str, QLineEdit] = {}
        self._flags: dict[str, Tick] = {}
        self._complaints: dict[str, WrapLabel] = {}
        self._travel: list[QLineEdit] = []
        self._layouts = {layout: LayoutButton(layout, colours) for layout in Layout}
        self.tools = ToolTable(self)
        self.dialect = Pulldown(self)
        self._title = QLabel(self)
        self._title.setObjectName("form_title")
        self._title.setProperty("look", "title")
        self._said = WrapLabel(parent=self)
        self._said.setObjectName("form_said")
        self._lay_out()
        self.begin(new_draft(), taken=frozenset())

    # What is described ----------------------------------------------------------------

    def begin_new(self, *, taken: frozenset[str]) -> None:
        """Begin a machine that has none of these names."""
        self._title.setText("A new machine")
        self.begin(new_draft(), taken=taken)

    def begin_edit(self, profile: Profile, *, taken: frozenset[str]) -> None:
        """Change what is known of a machine; the others' names are taken."""
        self._title.setText("Change a machine")
        self.begin(draft_of(profile), taken=taken - {profile.name})

    def begin(self, draft: Draft, *, taken: frozenset[str]) -> None:
        """Show a draft."""
        self._taken = taken
        self.show_draft(draft)
        self._complain(None)
        self._area.verticalScrollBar().setValue(0)
        self._texts["name"].setFocus()

    def draft(self) -> Draft:
        """Return what is typed."""
        texts = {name: field.text() for name, field in self._texts.items()}
        return Draft(
            name=texts.pop("name"),
            layout=self._layout,
            dialect=self.dialect.currentData() or "",
            tools=self.tools.tools(),
            texts=texts,
            flags={name: box.isChecked() for name, box in self._flags.items()},
            travel_mm=tuple(field.text() for field in self._travel),
        )

    def show_draft(self, draft: Draft) -> None:
        """Show a draft in the fields."""
        self._layout = draft.layout
        self._layouts[draft.layout].setChecked(True)
        for name, field in self._texts.items():
            field.setText(draft.name if name == "name" else draft.texts[name])
        for name, box in self._flags.items():
            box.setChecked(draft.flags[name])
        self.dialect.setCurrentIndex(self.dialect.findData(draft.dialect))
        self.tools.show_tools(draft.tools)
        for field, text in zip(self._travel, draft.travel_mm, strict=True):
            field.setText(text)

    def save(self) -> None:
        """Keep the machine, or say what is wrong."""
        checked = check(self.draft(), taken=self._taken)
        if isinstance(checked, Complaint):
            self._complain(checked)
            return
        self._complain(None)
        try:
            self._save_machine(checked)
        except TipwrightError as error:
            self._said.setText(f"Not saved: {error.message}")
            return
        self.saved.emit(checked)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        for key in self._layouts.values():
            key.use_colours(colours)

    # Building -------------------------------------------------------------------------

    def _lay_out(self) -> None:
        inner = QFrame()
        inner.setObjectName("form_fields")
        grid = self._grid = QGridLayout(inner)
        grid.setContentsMargins(16, 14, 16, 14)
        grid.setHorizontalSpacing(2 * GAP)
        grid.setVerticalSpacing(4)
        grid.setColumnMinimumWidth(0, _LABEL_PX)
        grid.setColumnMinimumWidth(1, _FIELD_PX)
        grid.setColumnStretch(2, 1)
        for name, label in LABELS.items():
            self._add_row(grid, name, label)
        self._area = QScrollArea(self)
        self._area.setObjectName("form_area")
        self._area.setWidgetResizable(True)
        self._area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._area.setWidget(inner)
        panel = QFrame(self)
        panel.setProperty("look", "panel")
        around = QVBoxLayout(panel)
        around.setContentsMargins(2, 2, 2, 2)
        around.addWidget(self._area)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GAP)
        column.addWidget(self._title)
        column.addWidget(panel, 1)
        column.addLayout(self._make_keys())
        in_order(*self._controls(), *self._keys)

    def _make_keys(self) -> QHBoxLayout:
        save = button("save_machine", "Save", "Keeps the machine; a wrong field is named.")
        save.setProperty("look", "primary")
        save.clicked.connect(self.save)
        leave = button("leave_form", "Back", "Goes back; nothing is kept.  (Esc)")
        leave.clicked.connect(self.left)
        row = QHBoxLayout()
        row.setSpacing(2 * GAP)
        row.addWidget(self._said, 1)
        row.addWidget(leave)
        row.addWidget(save)
        self._keys = (leave, save)
        return row

    def _controls(self) -> list[QWidget]:
        """Return all fields in the order of the form."""
        made: list[QWidget] = []
        for name in LABELS:
            if name == "layout":
                made += self._layouts.values()
            elif name == "dialect":
                made.append(self.dialect)
            elif name == "tools":
                made += [self.tools.table, self.tools.add, self.tools.remove]
            elif name == "travel_mm":
                made += self._travel
            else:
                made.append(self._flags[name] if name in FLAGS else self._texts[name])
        return made

    def _add_row(self, grid: QGridLayout, name: str, label: str) -> None:
        row = grid.rowCount()
        words = QLabel(label)
        words.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        words.setContentsMargins(0, 7, 0, 0)
        grid.addWidget(words, row, 0)
        complaint = WrapLabel()
        complaint.setObjectName(f"{name}_complaint")
        complaint.hide()
        self._complaints[name] = complaint
        field = self._field(name, label)
        words.setBuddy(field)
        if name in ("layout", "tools"):
            help_text = WrapLabel(HELP[name], look="small")
            holder = QVBoxLayout()
            holder.setSpacing(4)
            holder.addWidget(help_text)
            holder.addWidget(field)
            grid.addLayout(holder, row, 1, 1, 2)
        else:
            help_text = WrapLabel(HELP[name], look="small")
            help_text.setContentsMargins(0, 8, 0, 0)
            grid.addWidget(field, row, 1, Qt.AlignmentFlag.AlignTop)
            grid.addWidget(help_text, row, 2)
        grid.addWidget(complaint, row + 1, 1, 1, 2)

    def _field(self, name: str, label: str) -> QWidget:
        if name == "layout":
            return self._layout_row()
        if name == "dialect":
            return self._dialect_box()
        if name == "tools":
            self.tools.add_wanted.connect(lambda: self.show_draft(with_tool(self.draft())))
            self.tools.remove_wanted.connect(
                lambda row: self.show_draft(without_tool(self.draft(), row))
            )
            return self.tools
        if name == "travel_mm":
            return self._travel_row()
        if name in FLAGS:
            box = Tick("yes")
            box.setObjectName(f"{name}_field")
            box.setAccessibleName(label)
            box.setToolTip(HELP[name])
            box.setMinimumHeight(32)
            self._flags[name] = box
            return box
        assert name == "name" or name in NUMBERS or name in WHOLE
        field = line_edit(f"{name}_field", label, HELP[name])
        self._texts[name] = field
        return field

    def _layout_row(self) -> QWidget:
        holder = QWidget()
        row = QHBoxLayout(holder)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(GAP)
        for key in self._layouts.values():
            key.clicked.connect(self._change_layout)
            row.addWidget(key)
        holder.setFocusProxy(self._layouts[Layout.TOOL_CHANGER])
        return holder

    def _dialect_box(self) -> Pulldown:
        self.dialect.setObjectName("dialect_field")
        self.dialect.setAccessibleName(LABELS["dialect"])
        self.dialect.setToolTip(HELP["dialect"])
        for name, dialect in DIALECTS.items():
            self.dialect.addItem(dialect.title, name)
        return self.dialect

    def _travel_row(self) -> QWidget:
        holder = QWidget()
        grid = QGridLayout(holder)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setSpacing(4)
        for row, axis in enumerate("XYZ"):
            grid.addWidget(QLabel(axis), row, 0)
            for column, end in enumerate(("lowest", "highest")):
                field = line_edit(
                    f"travel_{axis.lower()}_{end}",
                    f"Travel of {axis}, {end}, mm",
                    f"{end.capitalize()} {axis} that the display can show, in mm.",
                    end,
                )
                self._travel.append(field)
                grid.addWidget(field, row, column + 1)
        holder.setFocusProxy(self._travel[0])
        return holder

    # What happens ---------------------------------------------------------------------

    def _change_layout(self) -> None:
        chosen = next(layout for layout, key in self._layouts.items() if key.isChecked())
        if chosen is not self._layout:
            self.show_draft(with_layout(self.draft(), chosen))

    def _complain(self, complaint: Complaint | None) -> None:
        """Put the sentence at its field, and the cursor into it."""
        for name, label in self._complaints.items():
            mine = complaint is not None and complaint.field == name
            label.setText(f"! {complaint.sentence}" if complaint is not None and mine else "")
            label.setVisible(mine)
        for name, field in self._texts.items():
            _mark(field, complaint is not None and complaint.field == name)
        self._said.setText("" if complaint is None else "Not saved: see the field that is marked.")
        if complaint is not None:
            self._go_to(complaint)

    def _go_to(self, complaint: Complaint) -> None:
        name = complaint.field
        if name == "tools" and complaint.row is not None:
            self.tools.go_to(complaint.row, complaint.column or 0)
        elif name in self._texts:
            self._texts[name].setFocus()
            self._texts[name].selectAll()
        elif name == "travel_mm":
            self._travel[0].setFocus()
        label = self._complaints[name]
        self._grid.activate()
        self._area.ensureWidgetVisible(label, 0, 60)


def _mark(field: QLineEdit, doubtful: bool) -> None:
    look = "doubtful" if doubtful else ""
    if (field.property("look") or "") != look:
        field.setProperty("look", look)
        field.style().unpolish(field)
        field.style().polish(field)
