"""The window: the start page, or the page of one run with all that belongs to it."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import QByteArray, QCoreApplication, QEvent, QLockFile, Qt
from PySide6.QtGui import QCloseEvent, QGuiApplication, QKeyEvent
from PySide6.QtWidgets import QAbstractButton, QApplication, QMainWindow, QStackedWidget

from app.bench import MACHINES, BenchMachine, bench_profile
from app.cameras import list_cameras
from app.crash import write_report
from app.errors import RecordsError, TipwrightError
from app.job.profile import Profile
from app.logs import log_unexpected
from app.records import RunSummary, Store
from app.ui import keys
from app.ui.desk import Desk
from app.ui.handset.handset import Handset
from app.ui.intentions import SetSpeech, SetTone, ToStart
from app.ui.look.colours import Appearance, Colours
from app.ui.look.icons import app_icon
from app.ui.look.style import colours_for, dress
from app.ui.opener import Opener, Ready
from app.ui.preferences import Preferences
from app.ui.run_keys import bind, bind_keys
from app.ui.run_page import RunPage
from app.ui.sound import Sound
from app.ui.start import StartPage
from app.ui.state import DeskState, Weight
from app.ui.task.correction_words import spoken
from app.wiring.opening import OpenedRun, RunChoice, started_of
from app.wiring.recording import Recorder

_LOG = logging.getLogger(__name__)

TITLE = "Tipwright"
SMALLEST_PX = (1000, 660)
USUAL_PX = (1280, 800)

_NEXT_LOOK = {
    Appearance.SYSTEM: Appearance.LIGHT,
    Appearance.LIGHT: Appearance.DARK,
    Appearance.DARK: Appearance.SYSTEM,
}


@dataclass(slots=True, eq=False)
class _Run:
    """What belongs to the run that is open, and ends with it."""

    desk: Desk
    page: RunPage
    lock: QLockFile
    state: DeskState | None = None


class Window(QMainWindow):
    """Tipwright's window.

    Parameters
    ----------
    application
        Qt's; its look follows the preferences.
    folder
        Of the user's data.
    open_store
        Opens the records; it may raise `RecordsError`, and is asked again when a run
        is to be opened.
    """

    def __init__(
        self, application: QApplication, folder: Path, *, open_store: Callable[[], Store]
    ) -> None:
        super().__init__()
        self._application = application
        self._folder = folder
        self._open_store = open_store
        self._store: Store | None = None
        self._opener: Opener | None = None
        self._run: _Run | None = None
        self._start: StartPage | None = None
        self._preferences = Preferences(folder)
        self._sound = Sound(self)
        self._colours = self._dress()
        self._pages = QStackedWidget(self)
        self.setCentralWidget(self._pages)
        self.setWindowTitle(TITLE)
        self.setWindowIcon(app_icon())
        self.setMinimumSize(*SMALLEST_PX)
        self._take_geometry()
        bind(self, keys.LOOKS, self.change_looks)
        bind(self, keys.QUIT, self.close)
        application.styleHints().colorSchemeChanged.connect(self._follow_system)

    # -- pages --------------------------------------------------------------------------

    def show_start(self, sentence: str = "") -> None:
        """Show the start page, with a sentence about what just went wrong, if anything did."""
        self._end_run()
        self._end_start()
        problem = self._have_store()
        unfinished, machine = self._unfinished()
        page = StartPage(
            self._colours,
            machines=self._known_machines(),
            demo=tuple(bench_profile(name) for name in MACHINES),
            cameras=list_cameras(),
            unfinished=unfinished,
            unfinished_profile=machine,
            preferences=self._preferences,
            save_machine=self._save_machine,
            parent=self,
        )
        page.chosen.connect(self.open)
        self._start = page
        self._pages.addWidget(page)
        self._pages.setCurrentWidget(page)
        self.setWindowTitle(TITLE)
        page.setFocus()
        if sentence or problem:
            page.say(sentence or problem)

    def open(self, choice: RunChoice) -> None:
        """Open a run; the page of it comes when camera and records are there."""
        problem = self._have_store()
        if problem or self._opener is None:
            self._refuse_opening(problem)
            return
        if self._start is not None:
            self._start.set_opening(True)
        self._opener.open(choice)

    @property
    def page(self) -> RunPage | None:
        """The page of the run that is open."""
        return None if self._run is None else self._run.page

    @property
    def state(self) -> DeskState | None:
        """What is shown of the run that is open."""
        return None if self._run is None else self._run.state

    # -- the run ------------------------------------------------------------------------

    def _begin(self, ready: Ready) -> None:
        opened = ready.opened
        store = self._store
        if store is None:
            # The window was closed while the camera was still being opened.
            _let_go(opened)
            return
        lock, problem = self._lock_of(opened.run_id)
        if problem:
            _let_go(opened)
            self._refuse_opening(problem)
            return
        self._end_start()
        handset = None
        if opened.world is not None:
            handset = Handset(BenchMachine(opened.world), opened.profile, self._colours)
        desk = Desk(
            opened,
            make_recorder=lambda relay: Recorder(store, opened.run_id, relay),
            history=ready.history,
            copy=QGuiApplication.clipboard().setText,
            parent=self,
        )
        page = RunPage(self._colours, handset=handset, parent=self)
        self._run = _Run(desk=desk, page=page, lock=lock)
        self._join(desk, page)
        self._pages.addWidget(page)
        self._pages.setCurrentWidget(page)
        self.setWindowTitle(f"{opened.profile.name} – {TITLE}")
        page.setFocus()
        desk.start()

    def _lock_of(self, run_id: str) -> tuple[QLockFile, str]:
        """Return the lock of a run, and why it cannot be had, or nothing."""
        folder = self._folder / "open"
        lock = QLockFile(str(folder / f"{run_id}.lock"))
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            return lock, _cannot_write(folder, error.strerror or str(error))
        if lock.tryLock(0):
            return lock, ""
        if lock.error() is QLockFile.LockError.LockFailedError:
            return lock, (
                "This run is open in another window of Tipwright: go on there, or close it first."
            )
        return lock, _cannot_write(folder, "no file can be made there")

    def _join(self, desk: Desk, page: RunPage) -> None:
        desk.changed.connect(self._show_state)
        desk.picture_came.connect(self._show_picture)
        desk.left.connect(self._leave, Qt.ConnectionType.QueuedConnection)
        desk.switched.connect(self._switch_sound)
        desk.unexpected.connect(self._on_fault)
        page.wanted.connect(desk.do)
        page.retry.connect(desk.retry)
        page.header.handset_asked.connect(page.toggle_handset)
        page.header.looks_asked.connect(self.change_looks)
        page.header.help_asked.connect(page.toggle_keys)
        page.header.start_asked.connect(lambda: desk.do(ToStart()))
        bind_keys(page, state=desk.state, do=desk.do)

    def _show_state(self, state: DeskState) -> None:
        run = self._run
        if run is None:
            return
        is_first, run.state = run.state is None, state
        run.page.show_state(state)
        if is_first:
            self._switch_on_as_before(run.desk)
        if state.speech:
            self._sound.say(spoken(state))
        near = None if state.fix is None or not state.tone else state.fix.distance_mm
        self._sound.beep(near)

    def _switch_on_as_before(self, desk: Desk) -> None:
        """Switch speech and tone on where they were on in the last run."""
        if self._preferences.tone:
            desk.do(SetTone(on=True))
        if self._preferences.speech:
            desk.do(SetSpeech(on=True))

    def _show_picture(self) -> None:
        if self._run is None:
            return
        shown = self._run.desk.picture()
        if shown is not None:
            self._run.page.show_picture(shown)

    def _switch_sound(self, wanted: SetSpeech | SetTone) -> None:
        if isinstance(wanted, SetTone):
            self._preferences.tone = wanted.on
            return
        problem = self._sound.switch_speech(on=wanted.on)
        self._preferences.speech = wanted.on and not problem
        if problem and self._run is not None:
            self._run.desk.notice("speech", problem, weight=Weight.NOTE)
            self._run.desk.do(SetSpeech(on=False))

    def _leave(self) -> None:
        self.show_start()

    def _end_run(self) -> None:
        run, self._run = self._run, None
        if run is None:
            return
        self._sound.stop()
        run.desk.close()
        if run.page.handset is not None:
            run.page.handset.close()
        run.lock.unlock()
        self._pages.removeWidget(run.page)
        run.page.deleteLater()
        run.desk.deleteLater()

    # -- opening ------------------------------------------------------------------------

    def _have_store(self) -> str:
        """Open the records unless they are open; return why that cannot be, or nothing."""
        if self._store is not None:
            return ""
        try:
            self._store = self._open_store()
        except RecordsError as error:
            return error.message
        self._opener = Opener(self._store, self)
        self._opener.ready.connect(self._begin)
        self._opener.refused.connect(self._on_refused)
        return ""

    def _on_refused(self, error: Exception) -> None:
        if isinstance(error, TipwrightError):
            self._refuse_opening(error.message)
        else:
            self.tell_unexpected(error)

    def _on_fault(self, error: Exception) -> None:
        """Tell a fault of the run's threads; a run that cannot be read was never opened."""
        if self.state is None:
            self._on_refused(error)
        else:
            self.tell_unexpected(error)

    def _refuse_opening(self, sentence: str) -> None:
        if self._start is None:
            self.show_start(sentence)
        else:
            self._start.say(sentence)

    def _end_start(self) -> None:
        page, self._start = self._start, None
        if page is not None:
            page.close()
            self._pages.removeWidget(page)
            page.deleteLater()

    def _unfinished(self) -> tuple[RunSummary | None, Profile | None]:
        if self._store is None:
            return None, None
        try:
            run = self._store.last_unfinished()
            if run is None or run.run_id == self._preferences.left_run:
                return None, None
            return run, started_of(self._store, run.run_id).profile
        except RecordsError as error:
            _LOG.warning("no run can be offered: %s", error.message)
            return None, None

    def _known_machines(self) -> tuple[Profile, ...]:
        if self._store is None:
            return ()
        try:
            return self._store.machines()
        except RecordsError as error:
            _LOG.warning("machines cannot be listed: %s", error.message)
            return ()

    def _save_machine(self, profile: Profile) -> None:
        problem = self._have_store()
        if self._store is None:
            raise RecordsError(problem, code="records-disk")
        self._store.save_machine(profile)

    # -- looks --------------------------------------------------------------------------

    def change_looks(self) -> None:
        """Go on to the next look: as the system has it, light, dark."""
        self._preferences.appearance = _NEXT_LOOK[self._preferences.appearance]
        self._wear(self._dress())

    def _follow_system(self) -> None:
        if self._preferences.appearance is Appearance.SYSTEM:
            self._wear(self._dress())

    def _dress(self) -> Colours:
        colours = colours_for(self._preferences.appearance, self._application)
        dress(self._application, colours)
        return colours

    def _wear(self, colours: Colours) -> None:
        self._colours = colours
        if self._run is not None:
            self._run.page.use_colours(colours)
        if self._start is not None:
            self._start.use_colours(colours)

    # -- the unforeseen, keys, the end --------------------------------------------------

    def tell_unexpected(self, error: Exception) -> None:
        """Leave a report of what nobody foresaw, and say where it is."""
        log_unexpected(error)
        file = write_report(error, self._folder)
        where = "no file could be written about it" if file is None else f"{file} tells more"
        sentence = (
            f"Something happened that Tipwright was not made for ({type(error).__name__}). What "
            f"was recorded is kept; {where}, please report it."
        )
        if self._run is not None and self._run.state is not None:
            self._run.desk.notice("fault", sentence, weight=Weight.FAULT)
        elif self._start is not None:
            self._start.say(sentence)
        else:
            self.show_start(sentence)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Let Enter press the button that has the focus; Space belongs to the run."""
        focus = self.focusWidget()
        is_enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if is_enter and isinstance(focus, QAbstractButton) and focus.isEnabled():
            focus.click()
            return
        super().keyPressEvent(event)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Write what is to be written, let go of the devices, remember the place."""
        self._preferences.geometry = bytes(self.saveGeometry().data())
        self._end_run()
        self._end_start()
        if self._opener is not None:
            self._opener.close()
        if self._store is not None:
            self._store.close()
            self._store = None
        # A run that was opened meanwhile is still under way to this thread.
        QCoreApplication.sendPostedEvents(self, QEvent.Type.MetaCall.value)
        super().closeEvent(event)

    def _take_geometry(self) -> None:
        saved = self._preferences.geometry
        if not saved or not self.restoreGeometry(QByteArray(saved)):
            self.resize(*USUAL_PX)


def _let_go(opened: OpenedRun) -> None:
    """Close the devices of a run that nobody will go on with now."""
    opened.camera.close()
    if opened.world is not None:
        opened.world.close()


def _cannot_write(folder: Path, why: str) -> str:
    return (
        f"The folder {folder} cannot be written to ({why}), so the run cannot be opened. Make "
        "room or give yourself the right to write there, then open the run again."
    )
