"""The step's page where a position is asked for, and where one has to be put right."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from app.job.by_hand import PlaceEntry, Typed
from app.job.jogs import decimals_of
from app.job.sheet import MendScale, SightScale, SightTool
from app.ui import keys
from app.ui.intentions import JogsMade, SameAsReference, StrikeOut, TakePictures, TypedPlace
from app.ui.look.colours import Colours
from app.ui.look.parts import KeyButton, WrapLabel
from app.ui.look.style import GAP, SMALL_PX, text_font
from app.ui.state import DeskState
from app.ui.task.fields import AxisField, CoordinateField
from app.ui.task.mending import Mend, mends
from app.ui.task.pages import Page, button
from app.ui.task.rows import FlowRow, TickRow
from app.ui.task.words import number_of, take_words


class PlacePage(Page):
    """Where the machine is: fields, what the picture says of them, and ways to fill them."""

    done = Signal()
    """Enter was pressed in the last field."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        self._typed = Typed()
        self._asked: object = None
        self._fields = {axis: AxisField(axis, colours, self) for axis in "XYZ"}
        self._grid = grid = QGridLayout()
        grid.setSpacing(GAP)
        for at, field in enumerate(self._fields.values()):
            grid.addWidget(field, 0, at)
            field.field.textEdited.connect(self._edited)
            field.field.entered.connect(lambda a=field.axis: self._on_from(a))
            grid.setColumnStretch(at, 1)
        self._doubt = WrapLabel(parent=self)
        self._doubt.setObjectName("doubt")
        self._ways = FlowRow(self)
        self._make_ways()
        self.column.addLayout(grid)
        self.column.addWidget(self._doubt)
        self.column.addWidget(self._ways)

    @property
    def fields(self) -> tuple[CoordinateField, ...]:
        """The fields in the order of Tab."""
        return tuple(field.field for field in self._fields.values())

    def show_state(self, state: DeskState) -> None:
        """Show what is typed, and what the picture says of it."""
        entry = state.entry
        if entry is None:
            return
        self._typed = state.typed
        decimals = decimals_of(state.snapshot.run.profile.display_step_mm)
        asked = {axis.axis: axis for axis in entry.axes}
        for axis, field in self._fields.items():
            field.setVisible(axis in asked)
            self._grid.setColumnStretch(self._grid.indexOf(field), int(axis in asked))
            if axis in asked:
                text = getattr(state.typed, axis.lower())
                field.show_text(text, asked[axis], decimals=decimals, as_jogs=entry.as_jogs)
        self._doubt.setText(entry.doubt or "")
        self._doubt.setVisible(bool(entry.doubt))
        self._show_ways(state, entry, decimals)
        if state.step != self._asked:
            self._asked = state.step
            if not state.typed.x:
                self._fields["X"].field.setFocus(Qt.FocusReason.OtherFocusReason)

    def _show_ways(self, state: DeskState, entry: PlaceEntry, decimals: int) -> None:
        take = take_words(entry, decimals)
        self._take.set_words(take or "Take")
        self._take.setVisible(bool(take))
        step, reference = state.step, state.snapshot.run.profile.reference_tool
        has_reference = isinstance(step, SightTool) and state.snapshot.target_px is not None
        self._same.setVisible(has_reference and not entry.as_jogs)
        if isinstance(step, SightTool):
            self._same.set_hint(f"Fill in what the display showed at tool {reference}")
        # At a tool the jogs follow the picture: once made, hardly any are left to fill in.
        has_plan = isinstance(state.step, SightScale) and state.step.plan is not None
        self._made.setVisible(has_plan)
        self._plus.setChecked(state.typed.last_jogs_plus)
        self._ways.arrange()

    def _make_ways(self) -> None:
        self._take = self._way("take_pictures", "Take", keys.TAKE, "Fill in what the picture says")
        self._take.clicked.connect(lambda: self.wanted.emit(TakePictures()))
        self._same = self._way(
            "same_as_reference",
            "Same as the reference",
            keys.SAME,
            "The head stands where the reference was sighted: fill in what the display shows then",
        )
        self._same.clicked.connect(lambda: self.wanted.emit(SameAsReference()))
        self._made = self._way(
            "jogs_made",
            "Jogs made",
            keys.JOGGED,
            "The jogs that were asked for were made: fill in where that leads",
        )
        self._made.clicked.connect(lambda: self.wanted.emit(JogsMade()))
        self._plus = TickRow("Last jogs +X +Y", self.colours, key=keys.PLUS)
        self._plus.setObjectName("last_jogs_plus")
        self._plus.setFont(text_font(SMALL_PX))
        self._plus.setToolTip(
            "On: the last jog of X and of Y was a plus, so backlash stays out. "
            f"Off: it was not, or nobody knows.  ({keys.PLUS.shown})"
        )
        self._ways.add(self._plus)
        self._plus.clicked.connect(
            lambda on: self.wanted.emit(TypedPlace(replace(self._typed, last_jogs_plus=on)))
        )

    def _way(self, name: str, words: str, key: keys.Key, hint: str) -> KeyButton:
        made = button(name, words, self.colours, key=key, hint=hint)
        make_small(made)
        self._ways.add(made)
        return made

    def _edited(self, _text: str) -> None:
        x, y, z = (field.text() for field in self.fields)
        shown_z = "" if self._fields["Z"].isHidden() else z
        self.wanted.emit(TypedPlace(replace(self._typed, x=x, y=y, z=shown_z)))

    def _on_from(self, axis: str) -> None:
        axes = [a for a, field in self._fields.items() if not field.isHidden()]
        after = axes[axes.index(axis) + 1 :]
        if after:
            self._fields[after[0]].field.setFocus(Qt.FocusReason.TabFocusReason)
        else:
            self.done.emit()


class MendPage(Page):
    """An entry that disagrees with the picture, and what can be done about it."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(colours, parent)
        self._mends: tuple[Mend, ...] = ()
        self._at = 0
        self._other = button("mend_next", "", colours, hint="Another entry could be wrong instead")
        self._other.clicked.connect(self._show_another)
        self._take = button(
            "mend_take",
            "Take",
            colours,
            key=keys.TAKE,
            hint="Put what the picture says in the place of what was typed",
        )
        self._take.clicked.connect(lambda: self.wanted.emit(self._mend.retype))
        self._type = button("mend_type", "Type another", colours, hint="Type the right position")
        self._type.setCheckable(True)
        self._type.clicked.connect(self._open_fields)
        self._strike = button(
            "mend_strike", "Strike it out", colours, hint="Strike the entry out; it is asked again"
        )
        self._strike.clicked.connect(lambda: self.wanted.emit(StrikeOut(self._mend.number)))
        ways = FlowRow(self)
        for way in (self._take, self._type, self._strike, self._other):
            ways.add(way)
        self._ways = ways
        self._inline = self._make_inline()
        self.column.addWidget(ways)
        self.column.addWidget(self._inline)

    def show_state(self, state: DeskState) -> None:
        """Show the entries that disagree; the likeliest first."""
        if not isinstance(state.step, MendScale):
            return
        found = mends(state.step, state.snapshot.run)
        if found != self._mends:
            self._mends, self._at = found, 0
            self._show_present()

    @property
    def _mend(self) -> Mend:
        return self._mends[self._at]

    def _show_present(self) -> None:
        if not self._mends:
            return
        self._take.set_words(self._mend.take_words)
        self._strike.set_words(f"Strike the {self._mend.name} out")
        self._type.setChecked(False)
        self._inline.hide()
        following = self._mends[(self._at + 1) % len(self._mends)]
        self._other.set_words(f"Or the {following.name} is wrong")
        self._other.setVisible(len(self._mends) > 1)
        places = self._mend.decimals
        reads = self._mend.reads
        for field, value in zip(self._fields, (reads.x, reads.y), strict=True):
            field.setText(f"{value:.{places}f}")
        self._judge()
        self._ways.arrange()

    def _show_another(self) -> None:
        self._at = (self._at + 1) % len(self._mends)
        self._show_present()

    def _open_fields(self, on: bool) -> None:
        self._inline.setVisible(on)
        if on:
            self._fields[0].setFocus(Qt.FocusReason.OtherFocusReason)

    def _make_inline(self) -> QWidget:
        whole = QWidget(self)
        self._fields = (CoordinateField(whole), CoordinateField(whole))
        self._use = button(
            "mend_use", "Use these", self.colours, hint="Put this position in the entry's place"
        )
        self._use.clicked.connect(self._use_typed)
        row = QHBoxLayout()
        row.setSpacing(GAP)
        for axis, field in zip("XY", self._fields, strict=True):
            field.setObjectName(f"mend_{axis.lower()}_field")
            field.setAccessibleName(f"{axis} of the entry")
            field.setToolTip(f"What the display showed for {axis} at that entry, in mm")
            field.textEdited.connect(self._judge)
            row.addWidget(field)
        self._fields[0].entered.connect(lambda: _hand_on(self._fields[1]))
        self._fields[1].entered.connect(self._use_typed)
        column = QVBoxLayout(whole)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GAP - 2)
        column.addWidget(WrapLabel("X and Y as the display showed them:", look="small"))
        column.addLayout(row)
        column.addWidget(self._use)
        return whole

    def _judge(self) -> None:
        values = [number_of(field.text()) for field in self._fields]
        for field, value in zip(self._fields, values, strict=True):
            field.set_doubtful(value is None)
        usable = None not in values
        self._use.setEnabled(usable)
        self._use.set_hint(
            "Put this position in the entry's place" if usable else "X and Y have to be numbers"
        )

    def _use_typed(self) -> None:
        x, y = (number_of(field.text()) for field in self._fields)
        if x is not None and y is not None:
            self.wanted.emit(self._mend.typed(x, y))


def make_small(part: QWidget) -> None:
    """Give a button less room around smaller words."""
    part.setStyleSheet("font-size: 12px; padding: 2px 5px; min-height: 18px;")


def _hand_on(field: QLineEdit) -> None:
    field.setFocus(Qt.FocusReason.TabFocusReason)
