"""The task panel: what the program wants next, in one sentence above one button."""

from __future__ import annotations

from itertools import pairwise

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QSizePolicy,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app.job.sheet import (
    ConfirmMirror,
    Done,
    EnterOffsets,
    Export,
    HomeFirst,
    MendScale,
    Prepare,
    SightScale,
    SightTool,
)
from app.ui import keys
from app.ui.intentions import (
    Proceed,
    SetAutomatic,
    SetSpeech,
    SetTone,
    Stop,
    StrikeLast,
    Undo,
)
from app.ui.look.colours import Colours
from app.ui.look.icons import IconName
from app.ui.look.parts import KeyButton, WrapLabel
from app.ui.look.states import State
from app.ui.look.style import GAP
from app.ui.state import DeskState
from app.ui.task.pages import (
    CameraPage,
    DonePage,
    EnterPage,
    ExportPage,
    HomePage,
    MirrorPage,
    Page,
    PreparePage,
    StrikePage,
    button,
    column_scroll,
    recolour,
)
from app.ui.task.place_page import MendPage, PlacePage
from app.ui.task.rows import SmallKey, ThinBar, WordStrip, set_look
from app.ui.task.words import CAMERA_QUESTION, panel_sentence, progress_words, strip_words

_TIGHT_PX = 400
"""Below this height the sentence is set smaller, so that all below it has room."""

_LONG_LETTERS = 80
"""More than this above the button is set smaller in a tight panel."""

_LONG_SENTENCE = 110
"""A longer sentence is set as running text in a tight panel."""

_LEAST_WIDTH_PX = 240
_LEAST_HEIGHT_PX = 240
_MARGIN_PX = 11
_TOP_PX = 12


class TaskPanel(QWidget):
    """The lower part of the right column. Emits what the person wants."""

    wanted = Signal(object)

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._colours = colours
        self._state: DeskState | None = None
        self._asks_camera = False
        self.setObjectName("task_panel")
        self.setAccessibleName("What comes next")
        self.setProperty("look", "panel")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self._make_pages()
        self._make_parts()
        self._lay_out()
        self._order_tabs()

    def show_state(self, state: DeskState) -> None:
        """Show this state."""
        if self._state is not None and state.step != self._state.step:
            self._asks_camera = False
        self._state = state
        self._sentence.setText(CAMERA_QUESTION if self._asks_camera else panel_sentence(state))
        self._size_sentence()
        page = self._page_of(state)
        # What goes is hidden before what comes is shown, so that the column never holds both.
        for other in (*self._pages, self._prepare):
            if other is not page:
                other.hide()
        page.show_state(state)
        page.show()
        self._scroll.setVisible(not isinstance(state.step, Prepare) or self._asks_camera)
        self._head.setVisible(not self._scroll.isVisibleTo(self))
        self._head.setText(panel_sentence(state))
        self._show_strip(state)
        self._show_action(state)
        self._show_row(state)
        self._saving.setVisible(state.saving)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self._colours = colours
        recolour(self, colours)

    def ask_camera_moved(self) -> None:
        """Ask in the step's place what happened to the camera; what its key does."""
        self._ask_camera(True)

    def close_question(self) -> bool:
        """Close that question, as Esc does; return whether it was open."""
        was_open = self._asks_camera
        self._ask_camera(False)
        return was_open

    def hasHeightForWidth(self) -> bool:
        """Return False: the column gives the height, and what does not fit scrolls."""
        return False

    def minimumSizeHint(self) -> QSize:
        """Return the least room in which the step can be read and the button pressed.

        Not the sum of what is inside, which changes with the step and would make the
        window grow and shrink.
        """
        return QSize(_LEAST_WIDTH_PX, _LEAST_HEIGHT_PX)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Choose the sentence's size, and keep the tiny word in its corner."""
        super().resizeEvent(event)
        self._size_sentence()
        self._place_saving()

    def _size_sentence(self) -> None:
        """Set the sentence as large as leaves room for what is below it."""
        if self.height() >= _TIGHT_PX:
            look = "sentence"
        else:
            look = "title" if len(self._sentence.text()) <= _LONG_SENTENCE else "running"
        set_look(self._sentence, look)

    def _ask_camera(self, on: bool) -> None:
        self._asks_camera = on
        if self._state is not None:
            self.show_state(self._state)

    def _page_of(self, state: DeskState) -> Page:
        if self._asks_camera:
            return self._camera
        match state.step:
            case Prepare():
                return self._prepare
            case SightScale() | SightTool():
                return self._place
            case MendScale(doubtful=doubtful):
                return self._mend if doubtful else self._strike_page
            case ConfirmMirror():
                return self._mirror
            case HomeFirst():
                return self._home
            case Export():
                return self._export
            case EnterOffsets():
                return self._enter
            case Done():
                return self._done

    def _show_strip(self, state: DeskState) -> None:
        words = () if self._asks_camera else strip_words(state)
        self._strip.set_small(self.height() < _TIGHT_PX and sum(map(len, words)) > _LONG_LETTERS)
        warns = state.refused is not None or bool(state.blocked)
        self._strip.say("\n".join(words), State.WARNING if warns else State.NEXT)

    def _show_action(self, state: DeskState) -> None:
        runs = state.burst is not None
        self._action.setCurrentIndex(1 if runs else 0)
        if state.burst is not None:
            self._progress.setText(progress_words(state.burst))
            self._bar.set_share(state.burst.taken / max(state.burst.wanted, 1))
            self._bar.setAccessibleName(progress_words(state.burst))
        self._action.setVisible((runs or bool(state.button)) and not self._asks_camera)
        self._proceed.set_words(state.button or "Nothing to do now")
        self._proceed.setEnabled(bool(state.button) and not state.blocked)
        self._proceed.set_hint(state.blocked)

    def _show_row(self, state: DeskState) -> None:
        self._row.setVisible(not isinstance(state.step, Prepare))
        self._auto.setChecked(state.automatic)
        self._speech.setChecked(state.speech)
        self._tone.setChecked(state.tone)
        run = state.snapshot.run
        self._strike.setEnabled(run.last_counting() is not None)
        self._moved.setChecked(self._asks_camera)

    def _make_pages(self) -> None:
        c = self._colours
        self._prepare, self._place, self._mend = PreparePage(c), PlacePage(c), MendPage(c)
        self._strike_page, self._mirror, self._home = StrikePage(c), MirrorPage(c), HomePage(c)
        self._enter, self._done, self._camera = EnterPage(c), DonePage(c), CameraPage(c)
        self._export = ExportPage(c)
        self._pages: tuple[Page, ...] = (
            self._place,
            self._mend,
            self._strike_page,
            self._mirror,
            self._home,
            self._export,
            self._enter,
            self._done,
            self._camera,
        )
        for page in (*self._pages, self._prepare):
            page.wanted.connect(self.wanted)
        self._place.done.connect(self._proceed_from_field)
        self._camera.closed.connect(self.close_question)

    def _make_parts(self) -> None:
        c = self._colours
        self._sentence = WrapLabel(look="sentence")
        self._sentence.setStyleSheet('QLabel[look="running"] { font-weight: 600; }')
        self._sentence.setObjectName("sentence")
        self._head = WrapLabel(look="title", parent=self)
        self._head.setObjectName("head")
        self._strip = WordStrip(State.WARNING, c, parent=self)
        self._strip.setObjectName("strip")
        self._proceed = KeyButton("", keys.PROCEED, c, look="primary", parent=self)
        self._proceed.setObjectName("proceed")
        self._proceed.setAutoDefault(True)
        self._proceed.clicked.connect(lambda: self.wanted.emit(Proceed()))
        self._saving = QLabel("saving", self)
        self._saving.setObjectName("saving")
        self._saving.setProperty("look", "small")
        self._saving.setStyleSheet("font-size: 10px;")
        self._saving.hide()
        self._make_row()

    def _make_row(self) -> None:
        c = self._colours
        self._undo = SmallKey("Undo", keys.UNDO, c, hint="Take the last thing back")
        self._strike = SmallKey(
            "Strike out", keys.STRIKE, c, hint="Strike the last sighting out: it no longer counts"
        )
        self._auto = SmallKey(
            "Auto",
            keys.AUTOMATIC,
            c,
            name="Automatic",
            hint="Sight by itself once the picture has been steady for a second",
            checkable=True,
        )
        self._speech = SmallKey(
            "Speech",
            keys.SPEECH,
            c,
            icon=IconName.SPEAKER,
            hint="Say the correction aloud",
            checkable=True,
        )
        self._tone = SmallKey(
            "Tone",
            keys.TONE,
            c,
            icon=IconName.BELL,
            hint="Beep the faster the closer the bore is to the target",
            checkable=True,
        )
        self._moved = SmallKey(
            "Camera",
            keys.MOVED,
            c,
            name="The camera was moved",
            icon=IconName.CAMERA,
            hint="The camera was moved, refocused or zoomed",
            checkable=True,
        )
        for part, name in (
            (self._undo, "undo"),
            (self._strike, "strike_last"),
            (self._auto, "automatic"),
            (self._speech, "speech"),
            (self._tone, "tone"),
            (self._moved, "camera_question"),
        ):
            part.setObjectName(name)
        self._undo.clicked.connect(lambda: self.wanted.emit(Undo()))
        self._strike.clicked.connect(lambda: self.wanted.emit(StrikeLast()))
        self._auto.clicked.connect(lambda on: self.wanted.emit(SetAutomatic(on)))
        self._speech.clicked.connect(lambda on: self.wanted.emit(SetSpeech(on)))
        self._tone.clicked.connect(lambda on: self.wanted.emit(SetTone(on)))
        self._moved.clicked.connect(self._ask_camera)

    def _lay_out(self) -> None:
        inside = QWidget()
        inner = QVBoxLayout(inside)
        inner.setContentsMargins(0, 0, 0, 0)
        inner.setSpacing(GAP)
        inner.addWidget(self._sentence)
        self._prepare.hide()
        for page in self._pages:
            page.hide()
            inner.addWidget(page)
        inner.addStretch(1)
        self._scroll = column_scroll("step", "What belongs to the step", inside)
        column = QVBoxLayout(self)
        column.setContentsMargins(_MARGIN_PX, _TOP_PX, _MARGIN_PX, 4)
        column.setSpacing(GAP - 2)
        column.addWidget(self._head)
        column.addWidget(self._prepare, 1)
        column.addWidget(self._scroll, 1)
        column.addWidget(self._strip)
        column.addWidget(self._make_action())
        column.addWidget(self._lay_out_row())

    def _lay_out_row(self) -> QWidget:
        self._row = QWidget(self)
        row = QHBoxLayout(self._row)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2)
        for part in (self._undo, self._strike, self._auto):
            row.addWidget(part)
        row.addStretch(1)
        for part in (self._speech, self._tone, self._moved):
            row.addWidget(part)
        return self._row

    def _make_action(self) -> QWidget:
        c = self._colours
        self._action = QStackedWidget(self)
        self._action.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        burst = QWidget()
        self._progress = QLabel()
        self._progress.setObjectName("progress")
        self._bar = ThinBar(c)
        self._bar.setObjectName("progress_bar")
        self._bar.setToolTip("How many of the sighting's pictures are there")
        stop = button("stop", "Stop", c, key=keys.STOP, hint="Stop the sighting")
        stop.clicked.connect(lambda: self.wanted.emit(Stop()))
        words = QVBoxLayout()
        words.setSpacing(4)
        words.addStretch(1)
        words.addWidget(self._progress)
        words.addWidget(self._bar)
        words.addStretch(1)
        row = QHBoxLayout(burst)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(GAP)
        row.addLayout(words, 1)
        row.addWidget(stop)
        self._action.addWidget(self._proceed)
        self._action.addWidget(burst)
        return self._action

    def _order_tabs(self) -> None:
        chain: list[QWidget] = [*self._place.fields, self._proceed]
        for first, second in pairwise(chain):
            QWidget.setTabOrder(first, second)

    def _proceed_from_field(self) -> None:
        if self._proceed.isEnabled():
            self.wanted.emit(Proceed())

    def _place_saving(self) -> None:
        self._saving.adjustSize()
        self._saving.move(self.width() - self._saving.width() - _MARGIN_PX, 1)
