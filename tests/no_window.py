"""For tests of commands: whoever opens a window there has gone wrong."""

from __future__ import annotations


def no_window(machine: str | None, seed: int) -> int:
    """Refuse to open a window."""
    raise AssertionError(f"a window was opened on {machine}, seed {seed}")
