"""What each key does on the page of a run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QWidget

from app.job.sheet import ConfirmMirror, MendScale
from app.ui import intentions as want
from app.ui import keys
from app.ui.keys import Key
from app.ui.run_page import RunPage
from app.ui.state import DeskState
from app.ui.task.mending import picture_retype

CARDS = 9

Do = Callable[[want.Intention], None]


def bind_keys(page: RunPage, *, state: Callable[[], DeskState | None], do: Do) -> None:
    """Bind the keys of a run to its page.

    Parameters
    ----------
    page
        Keys act while the focus is anywhere inside it.
    state
        What is shown now; None before there is anything.
    do
        Carries an intention out.
    """
    for key, intention in (
        (keys.PROCEED, want.Proceed()),
        (keys.UNDO, want.Undo()),
        (keys.STRIKE, want.StrikeLast()),
        (keys.SAME, want.SameAsReference()),
        (keys.JOGGED, want.JogsMade()),
        (keys.READ, want.Acknowledge()),
        (keys.START, want.ToStart()),
    ):
        bind(page, key, partial(do, intention))
    bind(page, keys.STOP, lambda: _stop(page, do))
    bind(page, keys.TAKE, lambda: _take_pictures(state(), do))
    bind(page, keys.PLUS, lambda: _turn_plus(state(), do))
    bind(page, keys.YES, lambda: _answer(state(), do, mirrored=True))
    bind(page, keys.NO, lambda: _answer(state(), do, mirrored=False))
    bind(page, keys.AUTOMATIC, lambda: _turn(state(), do, want.SetAutomatic, "automatic"))
    bind(page, keys.SPEECH, lambda: _turn(state(), do, want.SetSpeech, "speech"))
    bind(page, keys.TONE, lambda: _turn(state(), do, want.SetTone, "tone"))
    bind(page, keys.MOVED, page.task.ask_camera_moved)
    bind(page, keys.COPY, page.copy_result)
    bind(page, keys.SAVE, page.save_result)
    bind(page, keys.ZOOM_IN, page.live.zoom_in)
    bind(page, keys.ZOOM_OUT, page.live.zoom_out)
    bind(page, keys.ZOOM_FIT, page.live.zoom_fit)
    bind(page, keys.HANDSET, page.toggle_handset)
    bind(page, keys.HELP, page.toggle_keys)
    for at in range(CARDS):
        key = Key(f"Alt+{at + 1}", "", "")
        bind(page, key, partial(_open_card, page, at, do))


def bind(owner: QWidget, key: Key, act: Callable[[], object]) -> QShortcut:
    """Let a key act wherever the focus is inside `owner`.

    A field that takes the key for itself (a digit, Ctrl+C on selected text) says so to
    Qt first and keeps it.
    """
    shortcut = QShortcut(QKeySequence(key.sequence), owner)
    shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
    shortcut.setAutoRepeat(False)
    shortcut.activated.connect(act)
    return shortcut


def _stop(page: RunPage, do: Do) -> None:
    """Close the topmost thing that is open; with nothing open, stop what is under way."""
    if not page.task.close_question() and not page.close_keys():
        do(want.Stop())


def _take_pictures(state: DeskState | None, do: Do) -> None:
    if state is not None and isinstance(state.step, MendScale):
        retype = picture_retype(state.step, state.snapshot.run)
        if retype is not None:
            do(retype)
        return
    do(want.TakePictures())


def _turn_plus(state: DeskState | None, do: Do) -> None:
    if state is not None and state.entry is not None:
        typed = replace(state.typed, last_jogs_plus=not state.typed.last_jogs_plus)
        do(want.TypedPlace(typed))


def _answer(state: DeskState | None, do: Do, *, mirrored: bool) -> None:
    if state is not None and isinstance(state.step, ConfirmMirror):
        do(want.AnswerMirror(mirrored))


def _turn(
    state: DeskState | None, do: Do, make: Callable[[bool], want.Intention], name: str
) -> None:
    if state is not None:
        do(make(not getattr(state, name)))


def _open_card(page: RunPage, at: int, do: Do) -> None:
    names = page.cards.keys()
    if at < len(names):
        do(want.OpenCard(names[at]))
