"""What of a result goes onto the clipboard, and when it may: no Qt."""

from __future__ import annotations

from dataclasses import dataclass

from app.export import paste_text
from app.export.text import moves_text, settings_text
from app.job.sheet import Done, EnterOffsets
from app.ui.keys import PROCEED, READ
from app.ui.state import DeskState


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultTexts:
    """The text to paste, whole and in its two parts; `moves` is empty where nothing moves."""

    all: str
    settings: str
    moves: str


def result_texts(state: DeskState) -> ResultTexts | None:
    """Return what may be copied now; None while nothing may (see `why_not`)."""
    return shown_texts(state) if not why_not(state) else None


def shown_texts(state: DeskState) -> ResultTexts | None:
    """Return the texts as the sheet shows them; None before all is sighted."""
    if state.stored is None:
        return None
    text, findings = state.stored.text, state.snapshot.findings
    return ResultTexts(
        all=paste_text(text, findings, simulated=state.simulated),
        settings=settings_text(text, findings, simulated=state.simulated),
        moves=moves_text(text, findings, simulated=state.simulated),
    )


def why_not(state: DeskState) -> str:
    """Return why nothing can be copied or saved now, in a sentence; empty when it can."""
    if state.stored is None or state.snapshot.solution is None:
        return "There are no offsets yet: not all tools are sighted."
    todo = []
    if needs_reading(state):
        todo.append(f"read the warnings ({READ.shown})")
    if not is_taken(state):
        todo.append(f"take the offsets ({PROCEED.shown})")
    return f"Before copying or saving, {' and '.join(todo)}." if todo else ""


def needs_reading(state: DeskState) -> bool:
    """Return whether there are warnings that were not acknowledged."""
    return bool(state.snapshot.findings) and not state.acknowledged


def is_taken(state: DeskState) -> bool:
    """Return whether the offsets were recorded as taken, and are still true."""
    return isinstance(state.step, EnterOffsets | Done)
