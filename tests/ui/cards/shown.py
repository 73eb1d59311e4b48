"""States of the window, each worked out once: they are frozen, so tests may share them."""

from __future__ import annotations

from functools import cache

from app.ui.state import DeskState
from tests.ui.states import STATES


@cache
def shown(name: str) -> DeskState:
    """Return the state of this name."""
    return STATES[name]()
