"""The line at the top: which machine, which camera, how sure so far, and what is about."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QToolButton, QWidget

from app.dialects.values import Layout
from app.job.snapshot import Snapshot
from app.ui import keys
from app.ui.keys import Key
from app.ui.look.colours import Colours
from app.ui.look.icons import icon
from app.ui.look.parts import ElidedLabel, StateBadge
from app.ui.look.states import State
from app.ui.look.style import GAP
from app.ui.state import DeskState

HEIGHT_PX = 40

LAYOUT_WORDS = {
    Layout.INDEPENDENT_CARRIAGES: "independent carriages",
    Layout.TOOL_CHANGER: "tool changer",
    Layout.FIXED_NOZZLES: "fixed nozzles",
    Layout.LIFTING_NOZZLE: "lifting nozzle",
}


def machine_words(snapshot: Snapshot, camera: str) -> str:
    """Return what stands beside the machine's name."""
    profile = snapshot.run.profile
    return f"{LAYOUT_WORDS[profile.layout]}, {len(profile.tools)} tools · camera: {camera}"


def uncertainty_words(snapshot: Snapshot) -> str:
    """Return the largest expanded uncertainty so far; empty before there is one."""
    if snapshot.solution is None:
        return ""
    us = [max(tool.expanded_mm[:2]) for tool in snapshot.solution.tools[1:]]
    return f"U {max(us) * 1e3:.0f} um (k = 2)" if us else ""


class Header(QWidget):
    """The line at the top of a run."""

    handset_asked = Signal()
    looks_asked = Signal()
    help_asked = Signal()
    start_asked = Signal()

    def __init__(
        self, colours: Colours, *, has_handset: bool, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setObjectName("header")
        self.setFixedHeight(HEIGHT_PX)
        self._colours = colours
        self._machine = ElidedLabel(look="title", parent=self)
        self._machine.setObjectName("machine_name")
        self._machine.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Preferred)
        self._details = ElidedLabel(look="muted", parent=self)
        self._details.setObjectName("machine_details")
        self._uncertainty = ElidedLabel(look="muted", parent=self)
        self._uncertainty.setObjectName("uncertainty")
        self._uncertainty.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Preferred)
        self._uncertainty.setToolTip("The largest expanded uncertainty of all tools so far")
        self._simulated = StateBadge(State.SIMULATED, colours, parent=self)
        row = QHBoxLayout(self)
        row.setContentsMargins(GAP + 4, 0, GAP, 0)
        row.setSpacing(GAP)
        row.addWidget(self._machine)
        row.addWidget(self._simulated)
        row.addWidget(self._details, 1)
        row.addWidget(self._uncertainty)
        self._buttons: list[tuple[QToolButton, str]] = []
        if has_handset:
            self._add(row, "handset_toggle", "bench", keys.HANDSET).clicked.connect(
                self.handset_asked
            )
        self._add(row, "looks", "half", keys.LOOKS).clicked.connect(self.looks_asked)
        self._add(row, "help", "help", keys.HELP).clicked.connect(self.help_asked)
        self._add(row, "to_start", "home", keys.START).clicked.connect(self.start_asked)
        self.use_colours(colours)

    def show_state(self, state: DeskState) -> None:
        """Show which run this is."""
        self._machine.setText(state.snapshot.run.profile.name)
        self._details.setText(machine_words(state.snapshot, state.camera_name))
        self._uncertainty.setText(uncertainty_words(state.snapshot))
        self._simulated.setVisible(state.simulated)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        self._simulated.use_colours(colours)
        for button, name in self._buttons:
            button.setIcon(icon(name, colours.text))

    def _add(self, row: QHBoxLayout, name: str, drawing: str, key: Key) -> QToolButton:
        button = QToolButton(self)
        button.setObjectName(name)
        button.setProperty("look", "quiet")
        words = key.words[:1].upper() + key.words[1:]
        button.setAccessibleName(words)
        button.setToolTip(f"{words} ({key.shown})")
        row.addWidget(button)
        self._buttons.append((button, drawing))
        return button
