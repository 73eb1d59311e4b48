"""The start page: what is chosen here begins a run, or goes on with one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QShowEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLayout,
    QLineEdit,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app.cameras import ListedCamera, list_cameras
from app.dialects.registry import dialect_named
from app.errors import TipwrightError
from app.job.facts import PositionMode
from app.job.profile import Profile
from app.records.profiles import read_profile
from app.records.summaries import RunSummary
from app.ui.keys import Key
from app.ui.look.colours import Colours
from app.ui.look.parts import KeyButton, WrapLabel
from app.ui.look.style import GAP
from app.ui.preferences import Preferences
from app.ui.start.cameras import CameraPanel
from app.ui.start.choice import (
    BENCH,
    CameraKind,
    CameraRow,
    MachineRow,
    Picked,
    camera_rows,
    first_camera,
    first_machine,
    kind_of,
    machine_rows,
    source_of,
    why_not,
)
from app.ui.start.form import MachineForm
from app.ui.start.machines import MachinePanel
from app.ui.start.parts import in_order
from app.ui.start.pictures import Image, one_picture
from app.ui.start.positions import PositionChoice
from app.ui.start.resume import ResumeCard
from app.ui.start.words import run_words
from app.wiring.opening import RunChoice

FIRST_DEMO = "demo/Plover"
"""The machine that somebody meets who has none of their own yet."""

WIDEST_PX = QSize(1400, 900)
SMALLEST_PX = QSize(1000, 640)

_ENTER = Key("Return", "Enter", "begin with what is chosen")


def local_now() -> datetime:
    """Return the present time in the zone of this computer."""
    return datetime.now().astimezone()


class StartPage(QWidget):
    """Machine, camera, how positions are told, and Start.

    Parameters
    ----------
    machines, demo
        The machines in the records, and those of the bench.
    cameras
        USB cameras as they are listed now.
    unfinished, unfinished_profile
        The newest run without an end, or None, and its machine as it was then.
    preferences
        The last choice; a new one is kept in it.
    save_machine
        Keeps a profile in the records; may raise `RecordsError`.
    look, list_again, now
        How to take one picture of a camera, list the cameras anew, tell the time.
    """

    chosen = Signal(object)
    """A `RunChoice`."""

    def __init__(
        self,
        colours: Colours,
        *,
        machines: Sequence[Profile],
        demo: Sequence[Profile],
        cameras: Sequence[ListedCamera],
        unfinished: RunSummary | None,
        preferences: Preferences,
        save_machine: Callable[[Profile], None],
        unfinished_profile: Profile | None = None,
        look: Callable[[str], Image] = one_picture,
        list_again: Callable[[], Sequence[ListedCamera]] = list_cameras,
        now: Callable[[], datetime] = local_now,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setObjectName("start_page")
        self._known = tuple(machines)
        self._demo = tuple(demo)
        self._listed = tuple(cameras)
        self._preferences = preferences
        self._keep = save_machine
        self._list_again = list_again
        self._now = now
        self._unfinished: RunSummary | None = None
        self._unfinished_profile: Profile | None = None
        self._wanted_mode = preferences.mode
        self._picked = Picked(machine=None, camera=None, address="", path="", mode=None)
        self._opening = False
        self._rows: tuple[MachineRow, ...] = ()
        self._camera_rows: tuple[CameraRow, ...] = ()
        self.resume = ResumeCard(colours, self)
        self.machine_panel = MachinePanel(colours, self)
        self.camera_panel = CameraPanel(colours, look, self)
        self.positions = PositionChoice(self)
        self.start = KeyButton("Start", _ENTER, colours, look="primary", parent=self)
        self.start.setObjectName("start")
        self.start.setFixedWidth(220)
        self.reason = WrapLabel(parent=self)
        self.reason.setObjectName("start_reason")
        self.form = MachineForm(colours, self._save, self)
        self._pages = QStackedWidget(self)
        self._lay_out()
        self._connect()
        self._remember_fields()
        self.set_machines(machines)
        self.set_unfinished(unfinished, unfinished_profile)

    # For whoever shows the page -------------------------------------------------------

    def set_machines(self, machines: Sequence[Profile]) -> None:
        """Show these machines of the records beside those of the demo."""
        self._known = tuple(machines)
        self._rows = machine_rows(self._known, self._demo)
        was = self._picked.machine.key if self._picked.machine else self._preferences.machine
        row = first_machine(self._rows, last=was, first_demo=FIRST_DEMO)
        self.machine_panel.show_machines(self._rows, row)
        self._take_machine(row)

    def set_unfinished(self, run: RunSummary | None, profile: Profile | None = None) -> None:
        """Offer to go on with a run, unless the person has left it before."""
        if run is not None and run.run_id == self._preferences.left_run:
            run = None
        self._unfinished, self._unfinished_profile = run, profile
        self.resume.setVisible(run is not None)
        self._show()

    def set_opening(self, on: bool) -> None:
        """While a run is being opened there is nothing to choose."""
        self._opening = on
        self._show()
        # As a whole: one by one, the focus would jump to the next key, such as Leave it.
        self._choosing.setEnabled(not on)
        if not on:
            self._focus_start()

    def say(self, sentence: str) -> None:
        """Tell why what was chosen could not be opened."""
        self.set_opening(False)
        self.reason.setText(sentence)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        for part in (self.resume, self.machine_panel, self.camera_panel, self.start, self.form):
            part.use_colours(colours)

    def close(self) -> bool:
        """End the thread that takes pictures and close; a second call does nothing."""
        self.camera_panel.close_cameras()
        return super().close()

    # Building -------------------------------------------------------------------------

    def _lay_out(self) -> None:
        self._choosing = QWidget(self)
        column = QVBoxLayout(self._choosing)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(12)
        column.addWidget(self.resume)
        panels = QHBoxLayout()
        panels.setSpacing(12)
        panels.addWidget(self.machine_panel, 1)
        panels.addWidget(self.camera_panel, 1)
        column.addLayout(panels, 1)
        column.addWidget(self._bottom())
        self._pages.addWidget(self._choosing)
        self._pages.addWidget(self.form)
        self._pages.setMaximumSize(WIDEST_PX)
        row = QHBoxLayout(self)
        row.setContentsMargins(16, 14, 16, 14)
        # A label that wraps asks for much height before it knows its width; the
        # window must not grow for that, since it would not shrink again.
        row.setSizeConstraint(QLayout.SizeConstraint.SetNoConstraint)
        row.addStretch(0)
        row.addWidget(self._pages, 1)
        row.addStretch(0)
        in_order(
            self.resume.go_on,
            self.resume.leave,
            *self.machine_panel.controls(),
            *self.camera_panel.controls(),
            *self.positions.controls(),
            self.start,
        )

    def _bottom(self) -> QFrame:
        panel = QFrame(self)
        panel.setObjectName("start_panel")
        panel.setProperty("look", "panel")
        row = QHBoxLayout(panel)
        row.setContentsMargins(16, 12, 16, 12)
        row.setSpacing(3 * GAP)
        row.addWidget(self.positions, 1)
        right = QVBoxLayout()
        right.setSpacing(GAP)
        right.addStretch(1)
        right.addWidget(self.reason)
        right.addWidget(self.start, 0, Qt.AlignmentFlag.AlignRight)
        row.addLayout(right, 1)
        return panel

    def _connect(self) -> None:
        self.machine_panel.picked.connect(self._pick_machine)
        self.machine_panel.new_wanted.connect(self._new_machine)
        self.machine_panel.edit_wanted.connect(self._edit_machine)
        self.machine_panel.file_wanted.connect(self._read_machine)
        self.camera_panel.picked.connect(self._pick_camera)
        self.camera_panel.edited.connect(self._edit_camera)
        self.camera_panel.again_wanted.connect(self._look_again)
        self.positions.picked.connect(self._pick_mode)
        self.start.clicked.connect(self._start)
        self.resume.go_on_wanted.connect(self._go_on)
        self.resume.leave_wanted.connect(self._leave)
        self.form.saved.connect(self._form_saved)
        self.form.left.connect(self._to_choosing)

    def _remember_fields(self) -> None:
        last = self._preferences.camera
        if kind_of(last) is CameraKind.NETWORK:
            self.camera_panel.address.setText(last)
        if kind_of(last) is CameraKind.FILE:
            self.camera_panel.path.setText(last.partition(":")[2])
        self._picked = replace(
            self._picked,
            address=self.camera_panel.address.text(),
            path=self.camera_panel.path.text(),
        )

    # What is picked -------------------------------------------------------------------

    def _pick_machine(self, key: str) -> None:
        self._take_machine(next((row for row in self._rows if row.key == key), None))

    def _take_machine(self, row: MachineRow | None) -> None:
        self._picked = replace(self._picked, machine=row)
        mode = self.positions.show_for(row.profile if row else None, self._wanted_mode)
        self._picked = replace(self._picked, mode=mode)
        self._show_cameras()

    def _show_cameras(self) -> None:
        machine, before = self._picked.machine, self._picked.camera
        self._camera_rows = camera_rows(self._listed, machine)
        # Titles may have changed with the machine, keys have not.
        kept = next((r for r in self._camera_rows if before and r.key == before.key), None)
        on_bench = machine is not None and machine.simulated
        came_last = machine is not None and machine.key == self._preferences.machine
        if on_bench and before is not None and before.kind is not CameraKind.BENCH:
            # From a real machine to one of the bench: its own camera goes with it.
            kept = self._camera_rows[0]
        chosen = kept or first_camera(
            self._camera_rows,
            last_source=self._preferences.camera if came_last or not on_bench else BENCH,
            last_name=self._preferences.camera_name,
        )
        self._picked = replace(self._picked, camera=chosen)
        self.camera_panel.show_cameras(self._camera_rows, chosen)
        self._show()

    def _pick_camera(self, key: str) -> None:
        row = next((row for row in self._camera_rows if row.key == key), None)
        self._picked = replace(self._picked, camera=row)
        self._show()

    def _edit_camera(self) -> None:
        self._picked = replace(
            self._picked,
            address=self.camera_panel.address.text(),
            path=self.camera_panel.path.text(),
        )
        self._show()

    def _look_again(self) -> None:
        self._listed = tuple(self._list_again())
        self._show_cameras()

    def _pick_mode(self, mode: PositionMode) -> None:
        self._wanted_mode = mode
        self._picked = replace(self._picked, mode=mode)
        self._show()

    # Machines -------------------------------------------------------------------------

    def _new_machine(self) -> None:
        self.machine_panel.close_file()
        self._pages.setCurrentWidget(self.form)
        self.form.begin_new(taken=self._names())

    def _edit_machine(self) -> None:
        machine = self._picked.machine
        if machine is None or machine.simulated:
            return
        self.machine_panel.close_file()
        self._pages.setCurrentWidget(self.form)
        self.form.begin_edit(machine.profile, taken=self._names())

    def _names(self) -> frozenset[str]:
        return frozenset(profile.name for profile in self._known)

    def _save(self, profile: Profile) -> None:
        self._keep(profile)
        others = [known for known in self._known if known.name != profile.name]
        known = sorted([*others, profile], key=lambda each: each.name)
        row = MachineRow(key=f"known/{profile.name}", profile=profile, simulated=False)
        self._picked = replace(self._picked, machine=row)
        self.set_machines(known)

    def _form_saved(self, profile: Profile) -> None:
        self._to_choosing()
        self.machine_panel.say(f"{profile.name} is kept.")

    def _to_choosing(self) -> None:
        self._pages.setCurrentWidget(self._choosing)
        self.machine_panel.list.setFocus()

    def _read_machine(self, path: str) -> None:
        if not path:
            self.machine_panel.say("Type the path of a profile, or look for it.")
            return
        try:
            profile = read_profile(Path(path).expanduser())
            dialect_named(profile.dialect)
            replaced = profile.name in self._names()
            self._save(profile)
        except TipwrightError as error:
            self.machine_panel.say(error.message)
            return
        except (RuntimeError, ValueError):
            self.machine_panel.say(f"{path} cannot be a path; check it.")
            return
        self.machine_panel.close_file()
        also = "; it takes the place of the one of this name" if replaced else ""
        self.machine_panel.say(f"{profile.name} was read and is kept{also}.")

    # Beginning ------------------------------------------------------------------------

    def _why_not(self) -> str:
        if self._opening:
            return "The run is being opened ..."
        if self.camera_panel.taking:
            return "Pictures of the cameras are being taken; a moment."
        return why_not(self._picked)

    def _start(self) -> None:
        machine, mode = self._picked.machine, self._picked.mode
        if self._why_not() or machine is None or mode is None:
            return
        source = source_of(self._picked)
        self._remember(machine, source, mode)
        self.chosen.emit(
            RunChoice(
                profile=machine.profile, simulated=machine.simulated, camera=source, mode=mode
            )
        )

    def _remember(self, machine: MachineRow, source: str, mode: PositionMode) -> None:
        self._preferences.machine = machine.key
        self._preferences.camera = source
        camera = self._picked.camera
        self._preferences.camera_name = camera.title if camera else ""
        self._preferences.mode = mode

    def _go_on(self) -> None:
        run, profile = self._unfinished, self._profile_of_run()
        if run is None or profile is None or self._why_not_on():
            return
        mode = self._picked.mode or PositionMode.SHOWN
        source = self._source_for(run)
        self.chosen.emit(
            RunChoice(
                profile=profile,
                simulated=run.simulated,
                camera=source,
                mode=mode,
                resume=run.run_id,
            )
        )

    def _source_for(self, run: RunSummary) -> str:
        machine = self._picked.machine
        if run.simulated and (machine is None or not machine.simulated):
            return BENCH
        return source_of(self._picked)

    def _profile_of_run(self) -> Profile | None:
        run = self._unfinished
        if run is None or self._unfinished_profile is not None:
            return self._unfinished_profile
        pool = self._demo if run.simulated else self._known
        return next((profile for profile in pool if profile.name == run.machine), None)

    def _why_not_on(self) -> str:
        """Return why the unfinished run cannot go on now; empty when it can."""
        run, profile = self._unfinished, self._profile_of_run()
        if run is None:
            return ""
        if profile is None:
            return f"{run.machine} is not among the machines any more: read it from its file first."
        if self._opening or self.camera_panel.taking:
            return self._why_not()
        machine = self._picked.machine
        if run.simulated and (machine is None or not machine.simulated):
            return ""
        if not run.simulated and (machine is None or machine.simulated):
            return f"Choose {run.machine} and its camera below first."
        camera = self._picked.camera
        as_it_was = replace(self._picked, machine=machine, mode=PositionMode.SHOWN)
        return why_not(as_it_was) if camera is None or source_of(self._picked) == "" else ""

    def _leave(self) -> None:
        if self._unfinished is not None:
            self._preferences.left_run = self._unfinished.run_id
        self.set_unfinished(None)
        self._focus_start()

    # Showing --------------------------------------------------------------------------

    def _show(self) -> None:
        why = self._why_not()
        self.start.setEnabled(not why)
        self.start.set_hint(why or "Begins a run with this machine and this camera.")
        self.reason.setText(why)
        if self._unfinished is not None:
            words = run_words(self._unfinished, now=self._now())
            self.resume.show_run(words, self._why_not_on())

    def minimumSizeHint(self) -> QSize:
        """Return the size at which everything is still shown whole."""
        return SMALLEST_PX

    def showEvent(self, event: QShowEvent) -> None:
        """Put the focus where Space begins at once."""
        super().showEvent(event)
        if self._pages.currentWidget() is self._choosing:
            self._focus_start()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Begin by Enter or Space from anywhere on the page; leave the form by Esc."""
        focus = self.focusWidget()
        enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if enter and isinstance(focus, QPushButton):
            # Outside a dialog Qt gives Enter to no button; people expect it all the same.
            focus.click()
            return
        if self._pages.currentWidget() is self.form:
            if event.key() == Qt.Key.Key_Escape:
                self._to_choosing()
            return
        space = event.key() == Qt.Key.Key_Space and not isinstance(focus, QLineEdit)
        if enter or space:
            self._start()
            return
        super().keyPressEvent(event)

    def _focus_start(self) -> None:
        if self.resume.isVisible() and self.resume.go_on.isEnabled():
            self.resume.go_on.setFocus()
        elif self.start.isEnabled():
            self.start.setFocus()
        else:
            self.machine_panel.list.setFocus()
