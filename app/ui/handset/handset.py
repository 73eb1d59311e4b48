"""The bench's own panel, as a person sees it: display, wheel, keys."""

from __future__ import annotations

import time
from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QPainter, QPaintEvent, QWheelEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QStyle,
    QStyleOption,
    QVBoxLayout,
    QWidget,
)

from app.job.jogs import decimals_of
from app.job.profile import Profile
from app.ui.handset.driver import LIFT_MM, HandsetDriver, PanelMachine
from app.ui.handset.shell import shell_of, shell_sheet
from app.ui.handset.wheel import Handwheel
from app.ui.handset.words import (
    AXES,
    Readout,
    Turn,
    figure,
    first_step,
    home_question,
    next_step_of,
    state_words,
    step_words,
    steps_of,
    turned_on,
)
from app.ui.look.colours import Colours
from app.ui.look.style import GAP, figure_font, text_font

WIDTH_PX = 176

ASKED_FOR_MS = 3000
"""How long the question before homing stands."""

_KEYS_A_ROW = 5


class _Bridge(QObject):
    """Carries a readout from the driver's thread to the window's."""

    arrived = Signal(object)


class Handset(QWidget):
    """Stands in for the panel of a real machine; belongs to the bench, not to the job.

    Parameters
    ----------
    machine
        Taken over: only the panel's own thread, named "handset", calls it from now on.
    profile
        For tools, travel and the display's step.
    colours
        The window's; the panel stays dark in both sets.
    clock
        Seconds that only grow, for the pause that ends a count.
    """

    def __init__(
        self,
        machine: PanelMachine,
        profile: Profile,
        colours: Colours,
        parent: QWidget | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(parent)
        self._profile = profile
        self._clock = clock
        self._shell = shell_of(colours)
        self._steps = steps_of(profile.display_step_mm)
        self._step_mm = first_step(self._steps)
        self._turn: Turn | None = None
        self._readout = Readout(tool=profile.reference_tool)
        top_mm = profile.travel_mm[2][1] if profile.travel_mm else LIFT_MM
        self._lift_mm = min(LIFT_MM, top_mm)
        self.setObjectName("handset")
        self.setProperty("look", "handset")
        self.setAccessibleName(f"Panel of {profile.name} on the bench")
        self.setFixedWidth(WIDTH_PX)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding)
        self._asked = QTimer(self)
        self._asked.setSingleShot(True)
        self._asked.setInterval(ASKED_FOR_MS)
        self._asked.timeout.connect(self._show)
        self._build()
        self.use_colours(colours)
        self._show()
        self._bridge = _Bridge(self)
        self._bridge.arrived.connect(self._receive, Qt.ConnectionType.QueuedConnection)
        self._driver = HandsetDriver(machine, self._bridge.arrived.emit, lift_mm=self._lift_mm)

    def close(self) -> bool:
        """End the panel's thread and close the widget; a second call does nothing.

        Close the world first where a motion may be under way: it ends then at once.
        """
        self._asked.stop()
        self._driver.close()
        return super().close()

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._shell = shell_of(colours)
        self.setStyleSheet(shell_sheet(self._shell))
        self._wheel.use_shell(self._shell)

    # Building -------------------------------------------------------------------------

    def _build(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(12, 10, 12, 10)
        column.setSpacing(GAP)
        column.addWidget(self._title())
        column.addWidget(self._display())
        column.addLayout(self._axis_keys())
        self._wheel = Handwheel(self._shell)
        self._wheel.turned.connect(self._turned)
        column.addWidget(self._wheel, 1)
        self._step_key = self._key("handset_step", "", "Chooses what one click is worth.")
        self._step_key.clicked.connect(self._next_step)
        column.addWidget(self._step_key)
        column.addLayout(self._tool_keys())
        column.addLayout(self._home_keys())
        column.addStretch(0)

    def _title(self) -> QLabel:
        title = QLabel(self)
        title.setObjectName("handset_title")
        title.setProperty("look", "small")
        words = f"{self._profile.name}, the bench's panel"
        title.setFont(text_font(11))
        title.setText(
            title.fontMetrics().elidedText(words, Qt.TextElideMode.ElideRight, WIDTH_PX - 26)
        )
        title.setToolTip(
            f"{words}: it stands in for the panel of a real machine, and belongs to the bench, "
            "not to the job."
        )
        return title

    def _display(self) -> QFrame:
        frame = QFrame(self)
        frame.setObjectName("handset_display")
        grid = QGridLayout(frame)
        grid.setContentsMargins(8, 6, 8, 6)
        grid.setVerticalSpacing(1)
        self._figures: list[QLabel] = []
        for row, axis in enumerate(AXES):
            grid.addWidget(QLabel(axis, frame), row, 0)
            shown = QLabel(frame)
            shown.setObjectName(f"handset_{axis.lower()}")
            shown.setAccessibleName(f"{axis} on the machine's display")
            shown.setToolTip(f"{axis} in mm, as the firmware shows it for the active tool.")
            shown.setFont(figure_font(19))
            shown.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            grid.addWidget(shown, row, 1)
            self._figures.append(shown)
        self._state = QLabel(frame)
        self._state.setObjectName("handset_state")
        self._state.setAccessibleName("Active tool, homed or not")
        grid.addWidget(self._state, 3, 0, 1, 2)
        self._message = QLabel(frame)
        self._message.setObjectName("handset_message")
        self._message.setAccessibleName("What the machine says")
        self._message.setProperty("look", "small")
        self._message.setWordWrap(True)
        # Room for five lines: the longest sentence of the bench's firmwares.
        self._message.setFixedHeight(68)
        self._message.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self._bar = QFrame(frame)
        self._bar.setObjectName("handset_bar")
        self._bar.setFixedWidth(3)
        self._bar.hide()
        said = QHBoxLayout()
        said.setSpacing(6)
        said.addWidget(self._bar)
        said.addWidget(self._message, 1)
        grid.addLayout(said, 4, 0, 1, 2)
        grid.setColumnStretch(1, 1)
        return frame

    def _axis_keys(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(4)
        self._axes = QButtonGroup(self)
        self._axes.setExclusive(True)
        for number, axis in enumerate(AXES):
            key = self._key(
                f"handset_axis_{axis.lower()}",
                axis,
                f"The wheel drives {axis}. Turning the mouse's wheel here drives {axis} at once.",
                accessible=f"Axis {axis}",
            )
            key.setCheckable(True)
            key.setChecked(number == 0)
            self._axes.addButton(key, number)
            key.installEventFilter(self)
            row.addWidget(key)
        self._axes.idClicked.connect(self._show)
        return row

    def _tool_keys(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setSpacing(4)
        self._tools: dict[int, QPushButton] = {}
        for index, tool in enumerate(self._profile.tools):
            name = f"T{tool.number}"
            key = self._key(
                f"handset_tool_{tool.number}",
                name,
                f"Takes {name}, with the motion that the firmware makes of it.",
                accessible=f"Take {name}",
            )
            key.setCheckable(True)
            # Five share the panel's width, whatever the style thinks a button needs.
            key.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
            key.clicked.connect(lambda _checked=False, number=tool.number: self._take(number))
            grid.addWidget(key, index // _KEYS_A_ROW, index % _KEYS_A_ROW)
            self._tools[tool.number] = key
        return grid

    def _home_keys(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(4)
        self._home_key = self._key(
            "handset_home",
            "Home",
            f"Lifts Z to {self._lift_mm:g} and homes X, Y and Z. It asks once: press again "
            "within three seconds.",
        )
        self._home_key.clicked.connect(self._home)
        self._back_key = self._key(
            "handset_back",
            "Back",
            "Goes back to where the machine stood before it was homed: X and Y first, Z last.",
        )
        self._back_key.clicked.connect(self._go_back)
        row.addWidget(self._home_key, 3)
        row.addWidget(self._back_key, 2)
        return row

    def _key(self, name: str, text: str, tip: str, *, accessible: str = "") -> QPushButton:
        key = QPushButton(text, self)
        key.setObjectName(name)
        key.setAccessibleName(accessible or text or name)
        key.setToolTip(tip)
        # A click here must not take the focus from the job: Space sights, it does
        # not press the machine's key once more.
        key.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        return key

    # What the hand does ---------------------------------------------------------------

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Let the mouse's wheel over an axis key choose that axis and turn it."""
        if isinstance(event, QWheelEvent) and isinstance(watched, QPushButton):
            watched.setChecked(True)
            self._show()
            self._wheel.wheelEvent(event)
            return True
        return super().eventFilter(watched, event)

    @property
    def axis(self) -> str:
        """The axis that the wheel drives: X, Y or Z."""
        return AXES[self._axes.checkedId()]

    @property
    def step_mm(self) -> float:
        """What one click is worth."""
        return self._step_mm

    def _turned(self, detents: int) -> None:
        self._asked.stop()
        self._turn = turned_on(
            self._turn,
            axis=self.axis,
            detents=detents,
            step_mm=self._step_mm,
            now_s=self._clock(),
        )
        self._driver.jog(self.axis.lower(), detents, self._step_mm)
        self._show()

    def _next_step(self) -> None:
        self._step_mm = next_step_of(self._steps, self._step_mm)
        self._show()

    def _take(self, tool: int) -> None:
        self._turn = None
        self._asked.stop()
        self._driver.take(tool)
        self._show()

    def _go_back(self) -> None:
        self._turn = None
        self._driver.go_back()
        self._show()

    def _home(self) -> None:
        if not self._asked.isActive():
            self._asked.start()
        else:
            self._asked.stop()
            self._turn = None
            self._driver.home()
        self._show()

    # Showing --------------------------------------------------------------------------

    def _receive(self, readout: Readout) -> None:
        self._readout = readout
        self._show()

    def _show(self) -> None:
        readout, step = self._readout, self._profile.display_step_mm
        for number, label in enumerate(self._figures):
            _set_text(label, figure(readout, number, step))
        _set_text(self._state, state_words(readout))
        for number, key in self._tools.items():
            if key.isChecked() != (number == readout.tool):
                key.setChecked(number == readout.tool)
        asking = self._asked.isActive()
        self._show_message(asking)
        _set_text(self._home_key, "Home: sure?" if asking else "Home")
        words = f"Step {step_words(self._step_mm)}"
        if self._step_key.text() != words:
            self._step_key.setText(words)
            self._step_key.setAccessibleName(words)
        self._show_turn()

    def _show_message(self, asking: bool) -> None:
        readout = self._readout
        words = home_question(self._lift_mm) if asking else readout.fault or readout.doing
        _set_text(self._message, words)
        self._bar.setVisible(bool(readout.fault) or asking)
        if self._message.toolTip() != words:
            self._message.setToolTip(words)

    def _show_turn(self) -> None:
        turn = self._turn
        if turn is None or turn.axis != self.axis:
            self._wheel.say(self.axis, "")
            return
        decimals = decimals_of(self._profile.display_step_mm)
        self._wheel.say(turn.words(decimals), turn.clicks)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Let the style sheet paint the body."""
        option = QStyleOption()
        option.initFrom(self)
        painter = QPainter(self)
        self.style().drawPrimitive(QStyle.PrimitiveElement.PE_Widget, option, painter, self)
        painter.end()


def _set_text(widget: QLabel | QPushButton, words: str) -> None:
    if widget.text() != words:
        widget.setText(words)
